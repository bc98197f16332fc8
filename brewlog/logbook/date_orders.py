"""Which comes first in dates such as 3/4/2025, day or month: what all dates of one column tell together."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from brewlog.logbook.text import lines_in_words
from brewlog.logbook.values import DATE_FORMATS, parse_date

_RIVALS = (
    (r"\d\.\d", ("day.month.year",)),
    (r"\d/\d", ("day/month/year", "month/day/year")),
    (r"\d-\d", ("day-month-year", "month-day-year")),
    (r"\d/\d", ("year/month/day",)),
    (r"\d\.\d", ("year.month.day",)),
    (r"[^\W\d_]", ("day month year",)),
    (r"[^\W\d_]", ("month day, year",)),
)
"""Ways to write a date that can be taken for each other, behind what each of them holds."""
FEW = 0.1
"""Dates of the other order that are slips, of all; one always is. [1]"""
CLEAR = 3
"""An order that so many times more dates tell than the other one is that of the column."""
ISO = "an ISO 8601 date such as 2024-05-31"


@dataclass(frozen=True, slots=True)
class Notation:
    """How the dates of one notation are read."""

    names: tuple[str, ...]
    """Orders that it can have."""
    order: str | None
    """The one it has; None where the dates do not tell."""
    count: int
    """Dates that are read."""
    wish: str
    """What is expected of its dates where the order is not told."""

    def date(self, cell: str) -> date | None:
        """Date of a cell; None where it is of another notation or order."""
        return parse_date(cell, DATE_FORMATS[self.order]) if self.order is not None else None

    def expected(self, cell: str) -> str | None:
        """What is expected of a cell that has no date by the order; None where it is of another notation."""
        ways = [day for name in self.names if (day := parse_date(cell, DATE_FORMATS[name]))]
        if not ways or self.order is None:
            return self.wish if ways else None
        others = f"{self.count} other dates" if self.count > 1 else "the other date"
        return f"{self.order}, the order of {others} (perhaps {ways[0]})"


def notations(cells: Sequence[str], lines: Sequence[int]) -> list[Notation]:
    """Notations of the dates of a column, each with its order.

    An order holds where no date contradicts it, or few do: one or a tenth of all, and a third of those that tell it.

    Parameters
    ----------
    cells : sequence of str
    lines : sequence of int

    Returns
    -------
    list of Notation

    Examples
    --------
    >>> [one.order for one in notations(["3/4/2023", "25/4/2023"], [2, 3])], notations(["3/4/2023"], [2])[0].order
    (['day/month/year'], None)
    >>> dates = ["6/15/2024", "7/13/2024", "8/10/2024", "9/14/2024", "19/4/2025"]
    >>> told = notations(dates, range(2, 7))[0]
    >>> told.order, told.expected(dates[4])
    ('month/day/year', 'month/day/year, the order of 4 other dates (perhaps 2025-04-19)')
    """
    rows = list(zip(cells, lines, strict=True))
    found = (_notation(names, [row for row in rows if re.search(sign, row[0])]) for sign, names in _RIVALS)
    return [one for one in found if one is not None]


def is_clear(most: int, few: int, count: int) -> bool:
    """True where so few of some dates contradict the order of the most that they are slips."""
    return few <= max(1, FEW * count) and most >= CLEAR * few


def _notation(names: tuple[str, ...], rows: Sequence[tuple[str, int]]) -> Notation | None:
    """The notation of some orders; None where no cell has it."""
    ways = [({n: day for n in names if (day := parse_date(cell, DATE_FORMATS[n]))}, line) for cell, line in rows]
    ways = [(days, line) for days, line in ways if days]
    if not ways:
        return None
    alone = {name: [line for days, line in ways if set(days) == {name}] for name in names}
    told = sorted((name for name in names if alone[name]), key=lambda name: -len(alone[name]))
    if not told:
        same = all(len(set(days.values())) == 1 for days, _ in ways)
        return Notation(names, names[0] if same else None, len(ways), f"{ISO}; it could be {' or '.join(names)}")
    most, few = len(alone[told[0]]), sum(len(alone[name]) for name in told[1:])
    split = ", ".join(f"{name} in {lines_in_words(alone[name])}" for name in told)
    return Notation(
        names,
        told[0] if is_clear(most, few, len(ways)) else None,
        len(ways) - few,
        f"{ISO}, or one order: dates are {split}",
    )
