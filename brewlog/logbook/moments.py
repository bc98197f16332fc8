"""Events of a brew day: clock times and elapsed times to seconds since the first row of the trace."""

from __future__ import annotations

import numpy as np

from brewlog.logbook.clocks import read_moment
from brewlog.logbook.headers import shown
from brewlog.logbook.problems import Problem, Say
from brewlog.logbook.records import Event
from brewlog.logbook.tables import Row
from brewlog.logbook.traces import TraceData

DAY = 86400.0
_WISH = "a time such as 2024-05-31T09:30:00"
_LOST = "this event is left out"


def moments(rows: list[Row], label: str, data: TraceData, say: Say) -> tuple[Event, ...]:
    """Events of a brew in order of time; those without a place in time are reported and left out.

    Parameters
    ----------
    rows : list of Row
        Rows of events.csv of this brew.
    label : str
    data : TraceData
        The brew's trace; its clock gives clock times their place.
    say : callable
        Takes each `Problem`.

    Returns
    -------
    tuple of Event
    """
    found = []
    for row in rows:
        elapsed = _elapsed(row, data, say)
        if elapsed is not None:
            found.append(Event(label, row.values["event"], elapsed, row.own))
    return tuple(sorted(found, key=lambda event: event.elapsed))


def _elapsed(row: Row, data: TraceData, say: Say) -> float | None:
    elapsed, clock = row.values.get("elapsed"), row.values.get("time")

    def problem(found: str, expected: str, column: str = "time", severity: str = "problem", cost: str = _LOST) -> None:
        say(Problem("events.csv", row.line, column, shown(found), expected, cost, severity))  # type: ignore[arg-type]

    if elapsed is not None:
        place = float(elapsed) - data.elapsed_zero
        if data.frame is not None and not _within(place, data):
            problem(f"{elapsed:g} s", "a time within the brew's trace", "elapsed", "note", "it is kept as it is")
        return place
    if clock is None:
        problem("no time", "`time` or `elapsed`")
        return None
    when = read_moment(str(clock))
    if when is None or not len(when.seconds) or bool(np.isnan(when.seconds[0])):
        problem(str(clock), _WISH)
        return None
    if data.frame is None:
        problem(str(clock), "a trace of this brew", "time", "note", "the event has no place in time")
        return None
    if data.zero is None:
        problem(str(clock), "a trace with clock times, or `elapsed`")
        return None
    seconds = float(when.seconds[0])
    local = data.offset or 0.0
    if not data.dated:  # the trace tells times of day only
        place = (seconds + (when.offset or 0.0) - data.zero) % DAY
        if place > DAY - 2 * 3600.0:
            place -= DAY
    elif not when.dated:  # a time of day: on the day of the trace, by its clock
        if when.read_as != "times of day":
            problem(str(clock), _WISH)
            return None
        start = data.zero + (local if data.zoned else 0.0)
        place = (seconds - start % DAY) % DAY
        if place > DAY - 2 * 3600.0:
            place -= DAY  # shortly before the first row
    elif when.zoned == data.zoned:
        place = seconds - data.zero
    elif data.zoned:  # the wall clock of the day
        place = seconds - local - data.zero
    else:
        place = seconds + (when.offset or 0.0) - data.zero
    if not _within(place, data):
        problem(str(clock), "a time within the brew's trace")
        return None
    return place


def _within(place: float, data: TraceData) -> bool:
    """True within a day of the trace: a tank may be filled the next morning."""
    if data.frame is None:
        return False
    return -DAY < place < float(data.frame["elapsed"].iloc[-1]) + 2 * DAY
