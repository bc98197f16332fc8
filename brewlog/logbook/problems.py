"""What the reader says about a logbook: problems and notes, each with its place."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

Severity = Literal["problem", "note"]
MANY = 3
"""Things of one kind that are reported one by one; more are reported together."""


@dataclass(frozen=True, slots=True)
class Problem:
    """Something in a file that could not be read, or that was read in a way the brewer may not have meant."""

    file: str
    """Path relative to the logbook, with forward slashes."""
    line: int | None
    """Line in the file, the header being line 1; None where the file as a whole is meant."""
    column: str | None
    """Column as the brewer wrote it; None where the row or file as a whole is meant."""
    found: str
    expected: str
    cost: str
    """What is lost by it (`problem`) or what was read in its place (`note`)."""
    severity: Severity = "problem"
    """`problem`: could not be read. `note`: was read, in a way that the brewer may not have meant."""

    def __str__(self) -> str:
        place = self.file
        if self.line is not None:
            place += f", line {self.line}"
        if self.column is not None:
            place += f", column {self.column}"
        return f"{place}: found {self.found!r}, expected {self.expected}; {self.cost}."

    def to_dict(self) -> dict[str, Any]:
        """Return the fields as a plain dictionary, ready for JSON."""
        return asdict(self)


def some_of(names: Sequence[str], kind: str) -> str:
    """Some things of a kind in words: how many, and the first ones by name.

    Examples
    --------
    >>> some_of(["7"], "brew"), some_of(["1", "2", "3", "4", "5"], "brew")
    ('brew 7', '5 brews (1, 2, 3 and 2 more)')
    """
    if len(names) == 1:
        return f"{kind} {names[0]}"
    more = f" and {len(names) - MANY} more" if len(names) > MANY else ""
    return f"{len(names)} {kind}s ({', '.join(names[:MANY])}{more})"


Say = Callable[[Problem], None]
"""Takes each problem and note as it is found."""
