"""A column of dates in a trace: alone, or beside one of times of day."""

from __future__ import annotations

from dataclasses import replace
from datetime import date as Date

import pandas as pd

from brewlog.logbook.channels import Found
from brewlog.logbook.clock_forms import Order
from brewlog.logbook.clocks import are_times_of_day, read_clock
from brewlog.logbook.tables import OWN_COLUMN
from brewlog.logbook.telling import Teller


def with_date(
    date: Found,
    clock: Found | None,
    alone: bool,
    body: pd.DataFrame,
    line: int,
    day: Date | None,
    tell: Teller,
    order: Order | None,
) -> tuple[Found | None, pd.DataFrame]:
    """Clock of a file with a column of dates: the date before the time of day, or date and time in that column.

    Parameters
    ----------
    date : Found
    clock : Found or None
        Column of clock times, where there is one.
    alone : bool
        True where there are no elapsed times either.
    body : pandas.DataFrame
        Cells by place.
    line : int
        Of the header.
    day : date or None
        Of the brew, as its table has it.
    tell : Teller
    order : callable or None
        Tells which comes first in the logbook's other dates, day or month.

    Returns
    -------
    tuple of Found or None, and pandas.DataFrame
        None, and a problem, where there are no times.
    """
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
    read = read_clock(whole, day, order)
    if read is None or not read.dated:
        wish, like = "dates such as 2024-05-31", next((text for text in days if text), "")
        if read is not None:
            wish += "; day and month could be swapped"
        tell.problem(line, date.header.written, like, wish, "this column is left out, the times of day are used")
        return clock, body
    tell.note(line, written, written, "one column of ISO 8601 times", "read as one clock")
    joined = Found(replace(clock.header, written=written), "time", None)
    body = body.copy()
    body[clock.header.place] = whole
    return joined, body
