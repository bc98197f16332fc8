"""Says problems and notes of one file."""

from __future__ import annotations

from dataclasses import dataclass

from brewlog.logbook.headers import shown
from brewlog.logbook.problems import Problem, Say


@dataclass(frozen=True)
class Teller:
    """Says problems and notes of one file."""

    file: str
    say: Say

    def problem(self, line: int | None, column: str | None, found: str, expected: str, cost: str) -> None:
        """Say what could not be read."""
        self.say(Problem(self.file, line, column, shown(found), expected, cost))

    def note(self, line: int | None, column: str | None, found: str, expected: str, cost: str) -> None:
        """Say what was read in a way the brewer may not have meant."""
        self.say(Problem(self.file, line, column, shown(found), expected, cost, "note"))
