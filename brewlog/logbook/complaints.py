"""Everything that is said about a logbook's tables: many of a kind are counted, likely names are suggested."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import replace
from typing import Any

from brewlog.logbook import values
from brewlog.logbook.headers import shown
from brewlog.logbook.problems import Problem, Severity

MOST_HINTS = 200
"""Unknown labels of one file for which the nearest known one is looked for."""
MOST_ALIKE = 40
"""Problems of one column that are told one by one; the rest is counted."""


class Complaints:
    """Collects problems and notes."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []
        self.hints: dict[str, dict[str, str]] = {}
        self.said: Counter[tuple[Any, ...]] = Counter()
        self.more: dict[tuple[Any, ...], Problem] = {}

    def say(self, problem: Problem) -> None:
        """Keep a problem; of many alike in one column, the first ones and a count."""
        kind = (problem.file, problem.column, problem.severity)
        self.said[kind] += 1
        if self.said[kind] <= MOST_ALIKE:
            self.problems.append(problem)
        else:
            self.more.setdefault(kind, problem)

    def counted(self) -> tuple[Problem, ...]:
        """All problems, those that were only counted at the end."""
        rest = [
            replace(first, found=f"{self.said[kind] - MOST_ALIKE} more in this column", cost="each costs the same")
            for kind, first in self.more.items()
        ]
        return (*self.problems, *rest)

    def lost(self) -> bool:
        """True where anything could not be read."""
        return any(problem.severity == "problem" for problem in self.problems)

    def hint(self, label: str, known: Collection[str], file: str) -> str:
        """The nearest known label, for the first labels of a file that are not known."""
        hints = self.hints.setdefault(file, {})
        if label not in hints:
            near = values.nearest(label, known) if len(hints) < MOST_HINTS else None
            hints[label] = f" (perhaps {near!r})" if near else ""
        return hints[label]

    def complain(
        self,
        file: str,
        line: int | None,
        column: str | None,
        found: str,
        expected: str,
        cost: str,
        severity: Severity = "problem",
    ) -> None:
        """Say a problem or a note."""
        self.say(Problem(file, line, column, shown(found), expected, cost, severity))
