"""Columns of times of a trace file to seconds: clock, elapsed time, or both."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from brewlog.logbook.channels import DATE, Found
from brewlog.logbook.clocks import Clock, are_times_of_day, read_clock
from brewlog.logbook.order import usual_step
from brewlog.logbook.series import filled_among, tell_bad, to_numbers
from brewlog.logbook.sheets import Teller
from brewlog.logbook.tables import MANY, OWN_COLUMN
from brewlog.quantities import parse_unit

TIMES = ("elapsed", "time", DATE)
"""Columns that tell when a row was logged."""
AGREE = 5.0
"""How far clock and elapsed time of one row may differ over a file. [s]"""


def read_times(
    times: list[Found], body: pd.DataFrame, lines: np.ndarray, line: int, comma: bool | None, tell: Teller
) -> tuple[str, np.ndarray, Clock | None, float] | None:
    """Kind of times, the times, the clock, and the elapsed time at the clock's first row."""
    elapsed = next((f for f in times if f.channel == "elapsed"), None)
    clock = next((f for f in times if f.channel == "time"), None)
    date = next((f for f in times if f.channel == DATE), None)
    if date is not None:
        clock, body = _with_date(date, clock, elapsed is None, body, line, tell)
        if clock is None and elapsed is None:
            return None
    if elapsed is None and clock is not None and _runs_from_zero(body[clock.header.place], comma):
        elapsed, clock = Found(clock.header, "elapsed", clock.unit), None
        wish = "clock times, or the name 'elapsed'"
        cost = f"read as elapsed time in {elapsed.unit or 's'}"
        tell.note(line, elapsed.header.written, "numbers that begin near zero", wish, cost)
    runs = None if elapsed is None else _elapsed(elapsed, body[elapsed.header.place], lines, line, comma, tell, clock)
    read = None if clock is None else _clock(clock, body[clock.header.place], lines, comma, tell, runs is not None)
    if read is None:
        return None if runs is None else ("elapsed", runs, None, 0.0)
    if runs is None:
        return "clock", read.seconds, read, 0.0
    # both: the elapsed time knows nothing of summer time, the clock says when it began
    apart = read.seconds - runs
    known = apart[np.isfinite(apart)]
    if not len(known) or np.abs(known - np.median(known)).max() > AGREE or not read.dated:
        rises = len(known) and bool((np.diff(runs[np.isfinite(runs)]) >= 0).all())
        if rises or not read.dated:
            return "elapsed", runs, None, 0.0
        return "clock", read.seconds, read, 0.0
    zero = float(np.median(known))
    first = float(runs[np.isfinite(runs)].min())
    return "clock", np.where(np.isfinite(runs), runs + zero, read.seconds), read, first


def _with_date(
    date: Found, clock: Found | None, alone: bool, body: pd.DataFrame, line: int, tell: Teller
) -> tuple[Found | None, pd.DataFrame]:
    """Clock of a file with a column of dates: the date before the time of day, or date and time in that column."""
    days = body[date.header.place].fillna("").astype(str).str.strip()
    if clock is None:
        if alone and days.str.contains(":", regex=False).mean() > 0.5:
            tell.note(line, date.header.written, date.header.written, "the name 'time'", "read as time")
            return Found(date.header, "time", date.unit), body
        if alone:
            wish, cost = "a column 'time' or 'elapsed'", "this trace is left out"
            tell.problem(line, date.header.written, "dates without times", wish, cost)
        else:
            tell.note(line, date.header.written, date.header.written, "the name of a channel", OWN_COLUMN)
        return None, body
    times = body[clock.header.place].fillna("").astype(str).str.strip()
    if not are_times_of_day(times):
        tell.note(line, date.header.written, date.header.written, "one column of times", OWN_COLUMN)
        return clock, body
    written = f"{date.header.written} and {clock.header.written}"
    whole = (days + " " + times).where((days != "") & (times != ""), "")
    read = read_clock(whole)
    if read is None or not read.dated:
        wish, like = "dates such as 2024-05-31", next((day for day in days if day), "")
        tell.problem(line, date.header.written, like, wish, "this column is left out, the times of day are used")
        return clock, body
    tell.note(line, written, written, "one column of ISO 8601 times", "read as one clock")
    joined = Found(replace(clock.header, written=written), "time", None)
    body = body.copy()
    body[clock.header.place] = whole
    return joined, body


def _runs_from_zero(cells: pd.Series, comma: bool | None) -> bool:
    """True for numbers that are no clock times of any kind but rise from the start of the day."""
    texts = cells.fillna("").astype(str)
    numbers = to_numbers(cells, comma)
    known = numbers[np.isfinite(numbers)]
    return len(known) > 0.5 * len(cells) and read_clock(texts) is None and bool(np.abs(known).max() < 1e7)


def _durations(cells: pd.Series) -> np.ndarray | None:
    """Seconds of elapsed times such as `1:02:30` or `62:30`; None where the cells are none."""
    parts = [str(cell).strip().split(":") for cell in cells.fillna("")]
    good = [len(one) in (2, 3) and all(part.replace(".", "", 1).isdecimal() for part in one) for one in parts]
    if sum(good) < 0.5 * len(parts):
        return None
    numbers = [[float(part) for part in one] if fine else [] for one, fine in zip(parts, good, strict=True)]
    three = np.array([3600 * n[0] + 60 * n[1] + n[2] if len(n) == 3 else np.nan for n in numbers])
    two = np.array([60 * n[0] + n[1] if len(n) == 2 else np.nan for n in numbers])
    # hours and minutes of a brew day would be hours apart if they were minutes and seconds, or the other way round
    if np.isfinite(two).any() and np.nanmax(two) < 24 * 60.0 and usual_step(two[np.isfinite(two)]) * 60 < 300:
        two = two * 60
    return np.where(np.isfinite(three), three, two)


def _elapsed(
    found: Found, cells: pd.Series, lines: np.ndarray, line: int, comma: bool | None, tell: Teller, clock: Found | None
) -> np.ndarray | None:
    try:
        scale = parse_unit(found.unit or "s", "s")
    except ValueError:
        cost = "the clock times are used" if clock else "this trace is left out"
        tell.problem(line, found.header.written, f"unit {found.unit}", "a unit that converts to s", cost)
        return None
    numbers = to_numbers(cells, comma)
    if not np.isfinite(numbers).any():
        durations = _durations(cells)
        if durations is not None:
            wish, last = f"a number in {scale.unit}", int(np.flatnonzero(np.isfinite(durations))[-1])
            cost = f"read as {durations[last]:g} s, and so on in this column"
            tell.note(int(lines[last]), found.header.written, str(cells.iloc[last]), wish, cost)
            return durations
        if clock is None:
            wish = f"a number in {scale.unit}"
            tell.problem(int(lines[0]), found.header.written, str(cells.iloc[0]), wish, "this trace is left out")
        return None
    if clock is None:
        _tell_timeless(found, cells, numbers, lines, f"a number in {scale.unit}", tell)
    return np.asarray(scale(numbers), dtype=float)


def _clock(
    found: Found, cells: pd.Series, lines: np.ndarray, comma: bool | None, tell: Teller, spare: bool
) -> Clock | None:
    texts = cells.fillna("").astype(str)
    if comma:
        texts = texts.str.replace(r"(?<=\d),(?=\d+$)", ".", regex=True)
    clock = read_clock(texts)
    first = next((k for k, text in enumerate(texts) if text.strip()), 0)
    wish = "times such as 2024-05-31T09:30:00"
    swapped = clock is not None and clock.read_as is not None and "swapped" in clock.read_as
    if clock is None or not np.isfinite(clock.seconds).any():
        if not spare:
            tell.problem(int(lines[first]), found.header.written, texts.iloc[first], wish, "this trace is left out")
        return None
    if clock.read_as:
        cost = f"read as {clock.read_as}"
        if swapped:
            cost = f"read as {clock.read_as.split(';')[0]}; day and month could be swapped, so the date is not used"
        tell.note(int(lines[first]), found.header.written, texts.iloc[first], "an ISO 8601 time", cost)
    if not spare:
        _tell_timeless(found, cells, clock.seconds, lines, "a time such as 2024-05-31T09:30:00", tell)
    return clock


def _tell_timeless(
    found: Found, cells: pd.Series, times: np.ndarray, lines: np.ndarray, wish: str, tell: Teller
) -> None:
    """Rows without a time that can be read."""
    cost = "this row is left out"
    tell_bad(found.header, cells, times, lines, wish, cost, tell)
    lacking = np.flatnonzero(~np.isfinite(times))
    empty = np.setdiff1d(lacking, filled_among(cells, lacking))
    for k in empty[:MANY]:
        tell.problem(int(lines[k]), found.header.written, "no time", wish, cost)
    if len(empty) > MANY:
        text = f"{len(empty) - MANY} more rows without a time"
        tell.problem(int(lines[empty[MANY]]), found.header.written, text, wish, "each such row is left out")
