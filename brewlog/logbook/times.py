"""Columns of times of a trace file to seconds: clock, elapsed time, or both."""

from __future__ import annotations

from datetime import date as Date

import numpy as np
import pandas as pd

from brewlog.logbook.channels import DATE, Found
from brewlog.logbook.clock_forms import Order
from brewlog.logbook.clocks import Clock, read_clock, zone_name
from brewlog.logbook.date_columns import with_date
from brewlog.logbook.durations import durations
from brewlog.logbook.order import usual_step
from brewlog.logbook.problems import MANY
from brewlog.logbook.series import filled_among, tell_bad, tell_groups, to_numbers
from brewlog.logbook.telling import Teller
from brewlog.quantities import parse_unit

TIMES = ("elapsed", "time", DATE)
"""Columns that tell when a row was logged."""
ISO_TIME = "an ISO 8601 time"
"""What is expected of times in any other form."""
AGREE = 5.0
"""How far clock and elapsed time of one row may differ over a file. [s]"""
SHORTEST, LONGEST = 600.0, 5 * 86400.0
"""A brew day without a unit of time that would be shorter or longer is asked about. [s]"""
STANDS = 0.2
"""An elapsed time that grows by less than that share of the clock's does not run. [1]"""
FEW = 20
"""Rows that a day has at least for that."""


def read_times(
    times: list[Found],
    body: pd.DataFrame,
    lines: np.ndarray,
    line: int,
    comma: bool | None,
    day: Date | None,
    tell: Teller,
    order: Order | None = None,
) -> tuple[str, np.ndarray, Clock | None, float] | None:
    """Kind of times, the times, the clock, and what the other kind shows where these are zero.

    For a clock that is at its first row.

    Parameters
    ----------
    times : list of Found
    body : pandas.DataFrame
        Cells by place.
    lines : numpy.ndarray of int
    line : int
        Of the header.
    comma : bool or None
        Whether the file writes a decimal comma.
    day : date or None
        Of the brew, as its table has it.
    tell : Teller
    order : callable, optional
        Tells which comes first in the logbook's other dates, day or month.

    Returns
    -------
    tuple of str, numpy.ndarray, Clock or None, and float; or None
        `clock` or `elapsed`; None, and a problem, where there are no times.
    """
    elapsed = next((f for f in times if f.channel == "elapsed"), None)
    clock = next((f for f in times if f.channel == "time"), None)
    date = next((f for f in times if f.channel == DATE), None)
    if date is not None:
        clock, body = with_date(date, clock, elapsed is None, body, line, day, tell, order)
        if clock is None and elapsed is None:
            return None
    if comma and clock is not None and not pd.api.types.is_numeric_dtype(body[clock.header.place]):
        cells = body[clock.header.place].fillna("").astype(str)
        body = body.copy()
        body[clock.header.place] = cells.str.replace(r"(?<=\d),(?=\d+$)", ".", regex=True)
    if elapsed is None and clock is not None and _runs_from_zero(body[clock.header.place], comma):
        elapsed, clock = Found(clock.header, "elapsed", clock.unit), None
        wish = "clock times, or the name 'elapsed'"
        cost = f"read as elapsed time in {elapsed.unit or 's'}"
        tell.note(line, elapsed.header.written, "numbers that begin near zero", wish, cost)
    runs = None if elapsed is None else _elapsed(elapsed, body[elapsed.header.place], lines, line, comma, tell, clock)
    read = None if clock is None else _clock(clock, body[clock.header.place], lines, day, tell, runs is not None, order)
    if read is None:
        return None if runs is None else ("elapsed", runs, None, 0.0)
    if runs is None or clock is None or elapsed is None:
        return "clock", read.seconds, read, 0.0
    for found, seconds, other in ((clock, read.seconds, elapsed), (elapsed, runs, clock)):
        cost = f"{other.header.written} of this row is used"
        tell_bad(found.header, body[found.header.place], seconds, lines, "a time", cost, tell)
    lost = np.flatnonzero(~np.isfinite(read.seconds) & ~np.isfinite(runs))
    if len(lost):
        rows = f"{len(lost)} {'rows' if len(lost) > 1 else 'row'} without a time"
        tell.problem(int(lines[lost[0]]), clock.header.written, rows, "a time in every row", "left out")
    return _both(clock, elapsed, read, runs, lines, tell)


def _both(
    clock: Found, elapsed: Found, read: Clock, runs: np.ndarray, lines: np.ndarray, tell: Teller
) -> tuple[str, np.ndarray, Clock | None, float]:
    """Clock and elapsed time of one file: elapsed time knows nothing of summer time, the clock says when it began."""
    apart = read.seconds - runs
    known = np.flatnonzero(np.isfinite(apart))
    if not len(known):
        return "elapsed", runs, None, 0.0
    zero = float(np.median(apart[known]))
    off = known[np.abs(apart[known] - zero) > AGREE]
    if not len(off) and read.dated:
        return "clock", np.where(np.isfinite(runs), runs + zero, read.seconds), read, float(np.nanmin(runs))
    ran = runs[known]
    rises = bool((np.diff(ran) >= 0).all()) and np.ptp(ran) > STANDS * np.ptp(read.seconds[known])
    taken = elapsed if rises or not read.dated else clock
    if len(off):
        jump = np.abs(np.diff(apart[known]))
        first = int(known[np.argmax(jump) + 1]) if jump.max() > AGREE else int(off[0])
        found = f"{clock.header.written} and {elapsed.header.written} that part by up to {np.ptp(apart[known]):.4g} s"
        cost = f"{taken.header.written} is used"
        tell.note(int(lines[first]), None, found, "clock and elapsed time that agree", cost)
    return ("elapsed", runs, read, zero) if taken is elapsed else ("clock", read.seconds, read, 0.0)


def _runs_from_zero(cells: pd.Series, comma: bool | None) -> bool:
    """True for numbers that are no clock times of any kind but rise from the start of the day."""
    texts = cells.fillna("").astype(str)
    if read_clock(texts.iloc[:: max(1, len(texts) // 200)].reset_index(drop=True)) is not None:
        return False
    numbers = to_numbers(cells, comma)
    known = numbers[np.isfinite(numbers)]
    return len(known) > 0.5 * len(cells) and read_clock(texts) is None and bool(np.abs(known).max() < 1e7)


def _elapsed(
    found: Found, cells: pd.Series, lines: np.ndarray, line: int, comma: bool | None, tell: Teller, clock: Found | None
) -> np.ndarray | None:
    try:
        scale = parse_unit(found.unit or "s", "s")
    except ValueError:
        cost = "the clock times are used" if clock else "this trace is left out"
        tell.problem(line, found.header.written, f"unit {found.unit}", "a unit that converts to s", cost)
        return None
    wish = f"a number in {scale.unit}"
    seconds = np.asarray(scale(to_numbers(cells, comma)), dtype=float)
    odd = filled_among(cells, np.flatnonzero(~np.isfinite(seconds)))
    if 2 * len(odd) > len(cells):
        read = durations(str(cells.iloc[k]) for k in odd)
        seconds[odd] = read
        if np.isfinite(read).any():
            last = int(odd[np.isfinite(read)][-1])
            cost = f"read as {seconds[last]:g} s, and so on in this column"
            tell.note(int(lines[last]), found.header.written, str(cells.iloc[last]), wish, cost)
    if not np.isfinite(seconds).any():
        cost = "the clock times are used" if clock else "this trace is left out"
        like = str(cells.iloc[int(odd[0])]) if len(odd) else "no times"
        tell.problem(int(lines[int(odd[0])]) if len(odd) else line, found.header.written, like, wish, cost)
        return None
    if 2 * len(odd) <= len(cells):
        tell_groups(found.header, cells, seconds, lines, comma, tell)
    if clock is None:
        _tell_timeless(found, cells, seconds, lines, wish, tell)
    if 2 * len(odd) <= len(cells):
        _tell_span(found, seconds, line, tell)
    return seconds


def _tell_span(found: Found, seconds: np.ndarray, line: int, tell: Teller) -> None:
    """Note a day that would be oddly short or long if its elapsed times were seconds, as nothing else is written."""
    known = seconds[np.isfinite(seconds)]
    span = float(np.ptp(known))
    brief = len(known) >= FEW and span < SHORTEST and usual_step(known) < 0.1 * SHORTEST / FEW
    if brief or span > LONGEST:
        lasts = f"{span / 60:.3g} min" if brief else f"{span / 86400:.3g} days"
        wish, unit = f"a brew day, or another unit in the header: {found.header.name} [min]", found.unit or "s"
        tell.note(line, found.header.written, f"times over {lasts} if they are in {unit}", wish, f"read in {unit}")


def _clock(
    found: Found,
    cells: pd.Series,
    lines: np.ndarray,
    day: Date | None,
    tell: Teller,
    spare: bool,
    order: Order | None,
) -> Clock | None:
    texts = cells.fillna("").astype(str)
    zone = zone_name(text for text in texts if text)
    clock = read_clock(texts if zone is None else texts.str.strip().str.removesuffix(zone), day, order)
    first = next((k for k, text in enumerate(texts) if text.strip()), 0)
    wish = "times such as 2024-05-31T09:30:00"
    swapped = clock is not None and clock.read_as is not None and "swapped" in clock.read_as
    if clock is None or not np.isfinite(clock.seconds).any():
        cost = "the elapsed times are used" if spare else "this trace is left out"
        tell.problem(int(lines[first]), found.header.written, texts.iloc[first] or "no times", wish, cost)
        return None
    if clock.read_as:
        cost = f"read as {clock.read_as}"
        if swapped:
            cost = f"read as {clock.read_as.split(';')[0]}; day and month could be swapped, so the date is not used"
        tell.note(int(lines[first]), found.header.written, texts.iloc[first], ISO_TIME, cost)
    if zone is not None:
        cost = "read as the time of the place"
        tell.note(
            int(lines[first]), found.header.written, f"times in {zone}", "an offset such as +01:00, or none", cost
        )
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
