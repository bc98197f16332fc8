"""Events of a brew day: clock times and elapsed times to seconds since the first row of the trace."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date as Date
from datetime import datetime, timedelta

import numpy as np

from brewlog.logbook.clocks import read_moment
from brewlog.logbook.doubles import ALIKE, IN_ORDER, Placed, column_of, without_doubles
from brewlog.logbook.headers import shown
from brewlog.logbook.problems import Problem, Say, Severity
from brewlog.logbook.records import Event
from brewlog.logbook.rows import Row
from brewlog.logbook.traces import TraceData

HOUR, DAY = 3600.0, 86400.0
BEFORE, NEAR = 600.0, HOUR
"""An event that long before its trace, or after it, is noted. [s]"""
_WISH = "a time such as 2024-05-31T09:30:00"
_LOST, _KEPT = "this event is left out", "it is kept as it is"


def moments(rows: Sequence[Row], label: str, data: TraceData, say: Say) -> tuple[Event, ...]:
    """Events of a brew in order of time; those without a place in time are reported and left out.

    Parameters
    ----------
    rows : sequence of Row
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
    placed: list[Placed] = []
    told = {"brief"} if data.brief else set()
    for row in rows:
        elapsed = _Place(row, data, say, told).elapsed()
        if elapsed is not None:
            placed.append((elapsed, row))
    placed = without_doubles(placed, say)
    _tell_order(placed, say)
    found = [Event(label, row.values["event"], elapsed, row.own) for elapsed, row in placed]
    return tuple(sorted(found, key=lambda event: event.elapsed))


def _tell_order(placed: Sequence[Placed], say: Say) -> None:
    """Note events before what comes before them: those that are at odds with most others, until the rest can be."""
    left = [(time, row) for time, row in placed if row.values["event"] in IN_ORDER]
    while True:
        first: dict[str, Placed] = {}
        for time, row in left:
            first[row.values["event"]] = min(first.get(row.values["event"], (time, row)), (time, row), key=_time)
        rank = IN_ORDER.index
        odds = [
            ((late, before), (time, row))
            for time, row in left
            for event, (late, before) in first.items()
            if rank(event) < rank(row.values["event"]) and time < late - ALIKE
        ]
        if not odds:
            return
        count = Counter(id(row) for pair in odds for _, row in pair)
        # of two that contradict each other the later one of the day is named
        worst = max((pair[::-1] for pair in odds), key=lambda pair: max(count[id(row)] for _, row in pair))
        (time, row), (other, beside) = worst if count[id(worst[0][1])] >= count[id(worst[1][1])] else worst[::-1]
        side = "before" if time < other else "after"
        found = f"{row.values['event']} at {time:g} s, {side} {beside.values['event']} at {other:g} s"
        wish = f"{', '.join(IN_ORDER)} in this order"
        say(Problem("events.csv", row.line, column_of(row), found, wish, _KEPT, "note"))
        left = [(when, event) for when, event in left if event is not row]


def _time(pair: Placed) -> float:
    return pair[0]


@dataclass(frozen=True)
class _Place:
    """Place in time of one event."""

    row: Row
    data: TraceData
    say: Say
    told: set[str]
    """What is said once for all events of a brew."""

    def elapsed(self) -> float | None:
        """Since the first row of the trace; None, and a problem, where it is not known. [s]"""
        elapsed, clock = self.row.values.get("elapsed"), self.row.values.get("time")
        if elapsed is not None:
            place = float(elapsed) - self.data.elapsed_zero
            if clock is not None:
                self._compare(str(clock), place, float(elapsed))
            brief = "brief" in self.told  # said of the trace, once for all events
            if self.data.frame is not None and not brief and not self._inside(place, BEFORE, NEAR):
                self._say(f"{elapsed:g} s", "a time within the brew's trace", _KEPT, "note", "elapsed")
            return place
        if clock is None:
            self._say("no time", "`time` or `elapsed`", _LOST)
            return None
        return self._by_clock(str(clock))

    def _compare(self, text: str, place: float, elapsed: float) -> None:
        """Say where the clock time of an event is none, or is another than its elapsed time."""
        when = read_moment(text, self._day())
        if when is None or not len(when.seconds) or bool(np.isnan(when.seconds[0])):
            self._say(text, _WISH, "`elapsed` is used")
        elif self.data.zero is not None:
            at = self._places(float(when.seconds[0]), when.offset, when.zoned, when.dated)[0]
            if abs(at - place) > ALIKE:
                self._say(text, "a time that agrees with `elapsed`", f"{elapsed:g} s is used", "note")

    def _day(self) -> Date | None:
        """Day of the trace by its own clock; None where that tells none."""
        if self.data.zero is None or not self.data.dated:
            return None
        return (datetime(1970, 1, 1) + timedelta(seconds=self.data.zero + (self.data.offset or 0.0))).date()

    def _by_clock(self, text: str) -> float | None:
        data = self.data
        when = read_moment(text, self._day())
        if when is None or not len(when.seconds) or bool(np.isnan(when.seconds[0])):
            self._say(text, _WISH, _LOST)
            return None
        if not when.dated and when.read_as != "times of day":
            self._say(text, _WISH, _LOST)
            return None
        if data.frame is None:
            self._say(text, "a trace of this brew", "the event has no place in time", "note")
            return None
        if data.zero is None:
            self._say(text, "a trace with clock times, or `elapsed`", _LOST)
            return None
        unplaced = data.utc and not when.zoned  # where the wall clock of the place stood is not known
        if unplaced and "utc" not in self.told:
            self.told.add("utc")
            wish = "an offset behind the time, such as +01:00, as the trace is in UTC"
            self._say(text, wish, "taken as UTC, and so on for this brew", "note")
        if when.zoned and when.offset == 0 and not data.zoned and "wall" not in self.told:
            self.told.add("wall")
            wish = "the clock on the wall, as the trace has no offsets"
            self._say(text, wish, "taken for that, and so on for this brew", "note")
        places = self._places(float(when.seconds[0]), when.offset, when.zoned, when.dated)
        if unplaced and not self._inside(places[0], BEFORE, NEAR):
            self._say(text, "a time within the brew's trace, which is in UTC", _LOST)
            return None
        if not self._inside(places[0], DAY, 2 * DAY):  # a tank may be filled the next morning
            self._say(text, "a time within the brew's trace", _LOST)
            return None
        if len(places) > 1:
            wish = "an offset behind a time that the day has twice"
            self._say(text, wish, f"read as {places[0]:g} s, it could be {places[1]:g} s", "note")
        elif not self._inside(places[0], BEFORE, NEAR) and "brief" not in self.told:
            self._say(text, "a time within the brew's trace", _KEPT, "note")
        return places[0]

    def _places(self, seconds: float, offset: float | None, zoned: bool, dated: bool) -> list[float]:
        """Ways to place a clock time, likeliest first."""
        data = self.data
        zero = data.zero or 0.0
        if not data.dated or not dated:  # a time of day, on the day of the trace
            first = zero + (data.zones[0][1] if data.zones else data.offset or 0.0)
            wall = seconds + (offset or 0.0)
            place = (wall - first) % DAY
            wall = first + (place - DAY if place > DAY - 2 * HOUR else place)
        elif zoned and data.zoned:
            return [seconds - zero]
        else:
            wall = seconds + (offset or 0.0)
        return [time - zero for time in self._by_wall(wall)]

    def _by_wall(self, wall: float) -> list[float]:
        """Times by the trace's clock at which the clock on the wall showed some time."""
        zones = self.data.zones or ((0.0, self.data.offset or 0.0),)
        starts = [-np.inf, *(start for start, _ in zones[1:]), np.inf]
        ways = [(wall - offset, k) for k, (_, offset) in enumerate(zones)]
        fits = [time for time, k in ways if starts[k] <= time < starts[k + 1]]
        return fits or [ways[0][0]]

    def _inside(self, place: float, before: float, after: float) -> bool:
        if self.data.frame is None:
            return False
        return -before < place < float(self.data.frame["elapsed"].iloc[-1]) + after

    def _say(self, found: str, expected: str, cost: str, severity: Severity = "problem", column: str = "time") -> None:
        self.say(Problem("events.csv", self.row.line, column, shown(found), expected, cost, severity))
