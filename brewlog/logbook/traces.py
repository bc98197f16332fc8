"""Trace files of one brew day to one frame of channels."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from brewlog.logbook.cleaning import clean, tell_faults
from brewlog.logbook.clocks import Zones
from brewlog.logbook.layout import CHANNELS
from brewlog.logbook.merging import Part, merge_parts
from brewlog.logbook.order import OWN, Told
from brewlog.logbook.parts import TraceSource, read_part
from brewlog.logbook.problems import Say
from brewlog.logbook.records import TraceFault
from brewlog.logbook.resets import is_unset
from brewlog.logbook.telling import Teller

DAYS_APART = 2
"""A trace that many days from the date of its brew may still be of that brew. [day]"""
FAR_APART = 200
"""So many days apart one of the two is wrong. [day]"""
_USES = "; the order of the brews, and what changed from one to the next, rest on it"
FEWEST = 10
"""A trace of fewer rows shows nothing of a day."""
BRIEF = 600.0
"""A trace of a shorter time is but a piece of a day. [s]"""


@dataclass(frozen=True)
class TraceData:
    """A trace as read."""

    frame: pd.DataFrame | None
    """Columns `elapsed` [s], `time` where a clock was logged, then channels."""
    faults: tuple[TraceFault, ...]
    zero: float | None
    """Clock time of the first row since 1970, as UTC where offsets were logged; None where no clock was logged. [s]"""
    zoned: bool = False
    offset: float | None = None
    """Local time minus UTC, where it was logged. [s]"""
    elapsed_zero: float = 0.0
    """The file's own elapsed time of the first row. [s]"""
    dated: bool = True
    """False where the clock tells the time of day only; `zero` then counts from midnight."""
    zones: Zones = ()
    """From when on which local time minus the clock holds, where it changes during the day. [s]"""
    utc: bool = False
    """True where the clock is in UTC by its notation alone."""
    own: pd.DataFrame | None = None
    """`elapsed` and columns of the brewer's own, where they were asked for."""
    brief: bool = False
    """True where the trace is too short for a day, which was said."""


def load_trace(source: TraceSource, say: Say) -> TraceData:
    """Read, clean and merge the files of one trace.

    Parameters
    ----------
    source : TraceSource
    say : callable
        Takes each `Problem`.

    Returns
    -------
    TraceData
    """
    told: list[tuple[Teller, Told]] = []
    parts = []
    for file in source.files:
        tell = Teller(file.relative_to(source.root).as_posix(), say)
        part = read_part(source, file, tell, told)
        if part is not None:
            parts.append(part)
    if not parts:
        return TraceData(None, (), None)
    whole = merge_parts([_marked(part, number) for number, part in enumerate(parts)])
    frame, key = whole.frame, whole.key
    zero = float(frame[key].iloc[0])
    lines, owner = frame["line"].to_numpy(dtype=int), frame["part"].to_numpy(dtype=int)
    names = [name for name in frame.columns if name.startswith(OWN)]
    own = frame[names].rename(columns=lambda name: name.removeprefix(OWN)) if names else None
    frame = frame.drop(columns=["line", "part", *names])
    elapsed_zero = whole.elapsed_zero
    if key == "clock":
        frame.insert(0, "elapsed", frame["clock"] - zero)
        if whole.dated:
            frame.insert(1, "time", _clock_column(frame["clock"], whole))
        frame = frame.drop(columns="clock")
    else:
        elapsed_zero = zero
        frame["elapsed"] -= zero
    elapsed = frame["elapsed"].to_numpy(dtype=float)
    if own is not None:
        own.insert(0, "elapsed", elapsed, allow_duplicates=True)
    for fault in clean(frame, source.follows):
        row = min(int(np.searchsorted(elapsed, fault.start)), len(elapsed) - 1)
        part = parts[owner[row]]
        written = part.written.get(fault.channel or "", fault.channel)
        told.append((part.tell, Told(fault, int(lines[row]), fault.action == "left out", written)))
    tell_faults(told)
    frame.attrs["units"] = {"elapsed": "s"} | {n: c.unit for n, c in CHANNELS.items() if n in frame}
    if "power_watt" in frame:
        frame.attrs["units"]["power_watt"] = "W"
    found = tuple(sorted((one.fault for _, one in told), key=lambda fault: fault.start))
    clock = zero if key == "clock" else None
    if whole.clock_zero is not None and key == "elapsed":
        clock = whole.clock_zero + zero
    data = TraceData(
        frame, found, clock, whole.zoned, whole.offset, elapsed_zero, whole.dated, whole.zones, whole.utc, own
    )
    _tell_other_day(data, source, parts[0])
    return replace(data, brief=_tell_brief(frame, parts[0], source.test))


def _tell_brief(frame: pd.DataFrame, part: Part, test: bool) -> bool:
    """Note a trace in which nothing of a day can be seen; whether it is one."""
    count, span = len(frame), float(frame["elapsed"].iloc[-1])
    brief = count < FEWEST or (span < BRIEF and not test)
    if brief:
        rows = f"{count} {'row' if count == 1 else f'rows over {span / 60:.3g} min'}"
        wish = "the rows of a whole test" if test else "the rows of a whole day"
        cost = "hardly anything can be seen in it" + ("" if test else "; events are kept as they are")
        part.tell.note(None, None, rows, wish, cost)
    return brief


def _tell_other_day(data: TraceData, source: TraceSource, part: Part) -> None:
    """Say where a clock tells another day than the brewer's table; a day of another season is one of the two's slip."""
    if data.zero is None or not data.dated or source.date is None:
        return
    day = pd.Timestamp(data.zero + (data.offset or 0.0), unit="s").date()
    apart, line, column = abs((day - source.date).days), int(part.frame["line"].iloc[0]), part.written.get("time")
    if apart > FAR_APART and not is_unset(data.zero):
        table, uses = ("water_tests.csv", "") if source.test else ("brews.csv", _USES)
        wish = f"{source.date}, the date in {table}, or near it"
        part.tell.problem(line, column, f"times of {day}, {apart} days away", wish, f"that date is kept{uses}")
    elif apart > DAYS_APART:
        wish = f"{source.date}, the date in the table, or near it"
        part.tell.note(line, column, f"times of {day}", wish, "the trace is kept as it is")


def _marked(part: Part, number: int) -> Part:
    return replace(part, frame=part.frame.assign(part=number))


def _clock_column(seconds: pd.Series, whole: Part) -> pd.Series:
    return pd.to_datetime((seconds * 1000).round().astype("int64"), unit="ms", utc=whole.zoned)
