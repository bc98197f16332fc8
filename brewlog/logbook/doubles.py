"""Events of a brew day that were recorded twice: which one counts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from brewlog.logbook.problems import Problem, Say
from brewlog.logbook.rows import Row

Placed = tuple[float, Row]
"""Time since the first row of the trace, and the row. [s]"""
IN_ORDER = ("mash-in", "mash-out", "lift", "boil", "boil end")
"""Events that follow each other once on every brew day."""
ALIKE = 60.0
"""An event that is out of order by less is not told from one in order. [s]"""
_AGAIN = (("rest",), ("heat-up",), ("fill",), ("pump off", "pump on"))
"""Events that may happen again on a day, each kind by itself; hops of two kinds may join at one time."""
SOON = 120.0
"""Such an event again after less time, with nothing of its kind between, was recorded twice. [s]"""


def column_of(row: Row) -> str:
    """Column that the time of an event was taken from."""
    return "elapsed" if row.values.get("elapsed") is not None else "time"


def without_doubles(placed: Sequence[Placed], say: Say) -> list[Placed]:
    """Events that count, in the order of the rows; of each that was recorded twice, one.

    Of an event that a day has once the first counts that is not at odds with the order of the others, else the first.
    Of the others the first counts.

    Parameters
    ----------
    placed : sequence of (float, Row)
        Time [s] and row of each event of one brew.
    say : callable
        Takes each `Problem`.
    """
    drop: set[int] = set()
    by_time = sorted(placed, key=lambda one: one[0])
    for event in IN_ORDER:
        again = [one for one in by_time if _event(one) == event]
        if len(again) > 1:
            counted = next((one for one in again if _in_order(one, by_time)), again[0])
            for other in again:
                if other is not counted:
                    drop.add(id(other[1]))
                    _tell(other, counted, f"every {event} of a day once", say)
    for kind in _AGAIN:
        last: Placed | None = None
        for one in by_time:
            if _event(one) not in kind:
                continue
            if last is not None and _event(last) == _event(one) and one[0] - last[0] < SOON:
                drop.add(id(one[1]))
                _tell(one, last, f"every {_event(one)} once", say)
                continue
            last = one
    return [one for one in placed if id(one[1]) not in drop]


def _event(one: Placed) -> str:
    return str(one[1].values["event"])


def _in_order(one: Placed, by_time: Iterable[Placed]) -> bool:
    """True where an event lies behind all that come before it and before all that come behind."""
    rank = IN_ORDER.index(_event(one))
    for other in by_time:
        place = IN_ORDER.index(_event(other)) if _event(other) in IN_ORDER else rank
        if (place < rank and other[0] > one[0] + ALIKE) or (place > rank and other[0] < one[0] - ALIKE):
            return False
    return True


def _tell(other: Placed, counted: Placed, wish: str, say: Say) -> None:
    (time, row), (at, kept), event = other, counted, _event(other)
    apart = f"{abs(time - at):g} s {'before' if time < at else 'after'}" if time != at else "the same as"
    found = f"{event} at {time:g} s, {apart} {event} at {at:g} s in line {kept.line}"
    cost = f"line {kept.line} counts, this one is left out"
    say(Problem("events.csv", row.line, column_of(row), found, wish, cost, "note"))
