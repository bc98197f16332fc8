"""Columns of clock times to seconds: ISO 8601, usual other forms, serial dates and epoch numbers."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date as Date
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from brewlog.logbook.clock_forms import SWAPPABLE, Order, other_forms, words_of

_PARTED = re.compile(r",(?= \d{1,2}:\d{2})")
_COMPACT = re.compile(r"(?:19|20)\d{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])(?:[01]\d|2[0-3])[0-5]\d(?:[0-5]\d)?")
SERIAL_ZERO = pd.Timestamp("1899-12-30").timestamp()
_OFFSET = re.compile(r".*(?::\d{2}|T\d{4}(?:\d{2})?)(?:\.\d{1,9})? ?(Z|z|[+-]\d{2}:?(?:\d{2})?)")
_MIDNIGHT = re.compile(r"[T ]+24:00(?::00(?:\.0+)?)?")
_TIME_OF_DAY = re.compile(r"\d{1,2}:\d{2}(:\d{2}([.,]\d{1,9})?)?( ?[AaPp][Mm])?")
_POINTED = re.compile(r"(?:[01]?\d|2[0-4])\.[0-5]\d\.[0-5]\d")
FEWEST_POINTED = 5
"""Fewer texts such as `09.03.24` tell nothing of what they are."""
EARLY, SHORTEST, LONGEST_STEP = 3600.0, 600.0, 900.0
"""Fractions of a day begin later than this, last longer, and lie no further apart, or are elapsed times. [s]"""
_EPOCHS = (
    (1e8, 1e11, 1.0, "seconds"),
    (1e11, 1e14, 1e3, "milliseconds"),
    (1e14, 1e17, 1e6, "microseconds"),
    (1e17, 1e20, 1e9, "nanoseconds"),
)


Zones = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Clock:
    """Times of the rows of one file."""

    seconds: np.ndarray
    """Since 1970, in UTC where offsets were written, else by the wall clock; NaN where a cell could not be read. [s]"""
    zoned: bool
    """True where offsets were written."""
    dated: bool
    """False where only the time of day was written."""
    read_as: str | None = None
    """What was read in place of ISO 8601."""
    offset: float | None = None
    """Local time minus UTC of the first row, where offsets were written. [s]"""
    zones: Zones = ()
    """Where offsets change from row to row: from when each holds, in `seconds`, and local time minus UTC. [s]"""
    utc: bool = False
    """True where the times are in UTC by their notation alone, which tells nothing of the place."""


LONGEST_NUMBER = 60
"""Longest text that is looked at as a number. [characters]"""


def floats_of(cells: pd.Series) -> np.ndarray:
    """Floats of some texts; NaN for what is no plain number.

    Examples
    --------
    >>> floats_of(pd.Series(["1.5", "x", "9" * 400]))
    array([1.5, nan, nan])
    """
    try:
        numbers = pd.to_numeric(cells, errors="coerce").to_numpy(dtype=float)
    except OverflowError:  # raised for whole numbers of hundreds of digits, whatever `errors` says
        short = pd.Series([cell if len(str(cell)) <= LONGEST_NUMBER else "" for cell in cells], dtype=object)
        numbers = pd.to_numeric(short, errors="coerce").to_numpy(dtype=float)
    return np.where(np.isfinite(numbers), numbers, np.nan)


def read_clock(cells: pd.Series, day: Date | None = None, order: Order | None = None) -> Clock | None:
    """Times of a column of cells; None where no one way to read them fits.

    Parameters
    ----------
    cells : pandas.Series of str
    day : date, optional
        On which the times lie, or near it; it decides where day and month could be swapped.
    order : callable, optional
        Tells which comes first in the logbook's other dates; it decides where the day does not.

    Returns
    -------
    Clock or None

    Examples
    --------
    >>> clock = read_clock(pd.Series(["2024-05-31T09:00:00+02:00", "2024-05-31T07:00:10Z"]))
    >>> np.diff(clock.seconds).tolist(), clock.offset
    ([10.0], 7200.0)
    """
    texts = pd.Series([_plain(text) for text in cells], dtype=object)
    filled = [text for text in texts if text]
    if not filled:
        return None
    sample = filled[:: max(1, len(filled) // 200)]
    numbers = floats_of(pd.Series(sample, dtype=object))
    if sum(_COMPACT.fullmatch(text) is not None for text in sample) > 0.5 * len(sample):
        form = "%Y%m%d%H%M%S"[: len(sample[0]) - 2]
        times = pd.to_datetime(texts, format=form, errors="coerce")
        return Clock(
            _seconds(times, np.zeros(len(texts), dtype=bool)), False, True, "year to minute without signs between"
        )
    if np.isfinite(numbers).mean() > 0.5:
        return _numbers(floats_of(texts))
    if _are_pointed(sample):
        texts = texts.str.replace(".", ":", n=2, regex=False)
        sample = [text.replace(".", ":", 2) for text in sample]
    if are_times_of_day(sample):
        return Clock(_over_midnight(_of_day(texts)), False, False, "times of day")
    late = np.array(["24:00" in text for text in texts])
    if late.any():
        for k in np.flatnonzero(late).tolist():
            texts[k], late[k] = _MIDNIGHT.subn(" 00:00:00", texts[k])
    offsets = [_OFFSET.fullmatch(text) for text in texts]
    written = sum(found is not None for found in offsets)
    zoned = written > 0.5 * len(filled)
    # among times of one kind those of the other are no answer: their place in time is not known
    texts = texts.where(pd.Series([bool(found) == zoned for found in offsets]), "")
    iso = pd.to_datetime(texts, format="ISO8601", errors="coerce", utc=zoned)
    read_as = None
    local: Any = 0.0
    if iso.notna().sum() < 0.5 * len(filled):
        if zoned:  # an offset behind a time of another form
            texts = pd.Series(
                [t[: m.start(1)].strip() if m else t for t, m in zip(texts, offsets, strict=True)], dtype=object
            )
            sample = [text for text in texts if text][:: max(1, len(filled) // 200)]
            local = np.array([_offset(found[1]) if found else 0.0 for found in offsets])
        fitted = other_forms(texts, sample, day, order)
        if fitted is None:
            return None
        form, iso, said = fitted
        read_as = f"{words_of(form)}{said}"
        if said == SWAPPABLE and not zoned:
            return Clock(_seconds(iso, late), False, False, read_as)
    seconds = _seconds(iso, late) - local
    if not zoned:
        return Clock(seconds, False, True, read_as)
    behind = [found[1] if found else None for found in offsets]
    first = next(text for text in behind if text)
    utc = all(text in ("Z", "z") for text in set(behind) if text)
    return Clock(seconds, True, True, read_as, _offset(first), _changes(seconds, behind), utc)


def _are_pointed(sample: list[str]) -> bool:
    """True for times of day such as `09.30.05`; dates such as `09.03.24` would not change from row to row."""
    fits = sum(_POINTED.fullmatch(text) is not None for text in sample)
    return len(sample) >= FEWEST_POINTED and fits > 0.5 * len(sample) and len(set(sample)) > 0.5 * len(sample)


def are_times_of_day(texts: Iterable[str]) -> bool:
    """True where most of some texts are times of day without a date."""
    filled = [text for text in texts if text]
    sample = filled[:: max(1, len(filled) // 200)]
    return sum(_TIME_OF_DAY.fullmatch(text) is not None for text in sample) > 0.5 * len(sample)


_ZULU = re.compile(r"(.*:\d{2}(?:\.\d{1,9})?) ?(?:UTC|GMT)")
_WEEKDAY = re.compile(r"(?:mon|tue|wed|thu|fri|sat|sun)[a-z]{0,6}\.?,? +", re.IGNORECASE)
_ZONE_NAME = re.compile(r"(.*\d:\d{2}(?::\d{2}(?:\.\d{1,9})?)?) ?(?!AM|PM|am|pm)([A-Z][A-Za-z]{1,4})")
_COMMA = re.compile(r"(:\d{2}),(\d{1,9})(?=$|[ Zz+-])")


def _plain(text: str) -> str:
    """A time without blanks around it, its fraction behind a point, UTC as Z (ISO 8601 allows comma and point)."""
    text = text.strip()
    if len(text) > 60:
        return text
    if text[12:13] == ":" and text[10:11] in (" ", "T") and text[11:12].isdigit():
        text = f"{text[:11]}0{text[11:]}"  # 2024-05-31 9:30 beside 10:30
    if "," in text:
        text = _COMMA.sub(r"\1.\2", text)
    if text[-1:] in ("M", "m") and text[-3:-2].isdigit():
        text = f"{text[:-2]} {text[-2:]}"  # 9:30AM
    if ", " in text:
        text = _PARTED.sub("", text, count=1)  # 2024-05-31, 9:30
    if text[:1].isalpha():
        text = _WEEKDAY.sub("", text, count=1)
    if text[-1:] in "CT" and (found := _ZULU.fullmatch(text)):
        return f"{found[1]}Z"
    return text


def zone_name(texts: Iterable[str]) -> str | None:
    """Name of a time zone behind every one of some times, such as CET; None where there is none, or several.

    Such a name has no one meaning, and none is needed within a day.

    Examples
    --------
    >>> zone_name(["2024-05-31 09:30:00 CEST"]), zone_name(["2024-05-31 09:30:00"]), zone_name(["9:30 PM"])
    ('CEST', None, None)
    """
    names = set()
    for text in texts:
        found = _ZONE_NAME.fullmatch(text.strip()) if len(text) <= 60 else None
        if found is None:
            return None
        names.add(found[2])
    name = names.pop() if len(names) == 1 else None
    return None if name in ("UTC", "GMT") else name


def _changes(seconds: np.ndarray, written: list[str | None]) -> Zones:
    """From when each of several offsets holds."""
    if len({text for text in written if text}) < 2:
        return ()
    known = sorted((float(s), _offset(text)) for s, text in zip(seconds, written, strict=True) if text and s == s)
    return tuple((s, o) for k, (s, o) in enumerate(known) if not k or o != known[k - 1][1])


def read_moment(text: str, day: Date | None = None) -> Clock | None:
    """A single time, as `read_clock` reads a column of them; `day` decides where day and month could be swapped."""
    try:
        when = datetime.fromisoformat(text.strip())
    except ValueError:
        return read_clock(pd.Series([text], dtype=object), day)
    if len(text.strip()) <= 10:
        return None  # a date alone is no moment
    zone = when.utcoffset()
    seconds = (when.replace(tzinfo=None) - datetime(1970, 1, 1)).total_seconds()
    offset = None if zone is None else zone.total_seconds()
    return Clock(np.array([seconds - (offset or 0.0)]), zone is not None, True, None, offset)


def _numbers(numbers: np.ndarray) -> Clock | None:
    middle = float(np.nanmedian(numbers))
    for low, high, factor, name in _EPOCHS:
        if low < middle < high:
            return Clock(numbers / factor, True, True, f"{name} since 1970", 0.0, utc=True)
    if 20000 < middle < 80000:
        seconds = np.round(numbers * 86400.0, 1) + SERIAL_ZERO
        return Clock(seconds, False, True, "a spreadsheet's serial dates")
    known = np.round(numbers[np.isfinite(numbers)] * 86400.0, 1)
    if known.min() >= EARLY and known.max() < 2 * 86400.0 and SHORTEST <= np.ptp(known) <= 86400.0:
        step = float(np.median(np.diff(known)))
        if 0 < step <= LONGEST_STEP:
            return Clock(np.round(numbers * 86400.0, 1), False, False, "times of day, as a spreadsheet counts them")
    return None


def _of_day(texts: pd.Series) -> np.ndarray:
    """Seconds since midnight of times of day; NaN for anything else."""
    seconds = np.full(len(texts), np.nan)
    for k, text in enumerate(texts):
        if len(text) > 24 or not _TIME_OF_DAY.fullmatch(text):
            continue
        half = text[-2:].lower() if text[-1:] in "mM" else ""
        parts = [float(part) for part in text.lower().strip("apm ").replace(",", ".").split(":")]
        hour = parts[0] % 12 + 12 * (half == "pm") if half else parts[0]
        if hour <= 24 and parts[1] < 60 and (len(parts) < 3 or parts[2] < 61):
            seconds[k] = 3600.0 * hour + 60.0 * parts[1] + (parts[2] if len(parts) > 2 else 0.0)
    return seconds


def _offset(text: str) -> float:
    if text in "Zz":
        return 0.0
    digits = text[1:].replace(":", "").ljust(4, "0")
    seconds = 3600.0 * int(digits[:2]) + 60.0 * int(digits[2:])
    return -seconds if text[0] == "-" else seconds


def _seconds(times: pd.Series, late: np.ndarray) -> np.ndarray:
    values = times.dt.tz_localize(None) if times.dt.tz is not None else times
    seconds = values.to_numpy(dtype="datetime64[ns]").astype("int64") / 1e9
    return np.where(times.isna(), np.nan, seconds) + np.where(late, 86400.0, 0.0)


def _over_midnight(seconds: np.ndarray) -> np.ndarray:
    known = np.flatnonzero(np.isfinite(seconds))
    days = np.cumsum(np.diff(seconds[known], prepend=seconds[known][:1]) < -43200.0)
    result = seconds.copy()
    result[known] += 86400.0 * days
    return result
