"""Columns of clock times to seconds: ISO 8601, usual other forms, serial dates and epoch numbers."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

FORMATS = (
    "%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M", "%d.%m.%y %H:%M:%S", "%d.%m.%y %H:%M", "%Y/%m/%d %H:%M:%S",
    "%Y/%m/%d %H:%M", "%d/%m/%Y %H:%M:%S", "%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M:%S", "%m/%d/%Y %H:%M",
    "%m/%d/%Y %I:%M:%S %p", "%m/%d/%Y %I:%M %p", "%d/%m/%Y %I:%M:%S %p", "%d/%m/%Y %I:%M %p",
)  # fmt: skip
SERIAL_ZERO = pd.Timestamp("1899-12-30")


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


def read_clock(cells: pd.Series) -> Clock | None:
    """Times of a column of cells; None where no one way to read them fits.

    Parameters
    ----------
    cells : pandas.Series of str

    Returns
    -------
    Clock or None
    """
    texts = cells.str.strip()
    filled = texts[texts != ""]
    if filled.empty:
        return None
    numbers = pd.to_numeric(filled, errors="coerce")
    if numbers.notna().mean() > 0.9:
        return _numbers(texts)
    if filled.str.fullmatch(r"\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?").mean() > 0.9:
        parts = texts.where(texts.str.count(":") == 2, texts + ":00")
        seconds = pd.to_timedelta(parts, errors="coerce").dt.total_seconds().to_numpy(dtype=float)
        return Clock(_over_midnight(seconds), False, False, "times of day")
    texts = texts.str.replace(r"[T ]24:00(:00)?", " 24:00:00", regex=True)
    late = texts.str.contains(" 24:00:00", regex=False)
    texts = texts.str.replace(" 24:00:00", " 00:00:00", regex=False)
    zone = filled.str.contains(r"(?:Z|[+-]\d{2}:?\d{2})$", regex=True)
    zoned = bool(zone.mean() > 0.5)
    iso = pd.to_datetime(texts, format="ISO8601", errors="coerce", utc=zoned)
    form = None
    if iso.notna().sum() < 0.5 * len(filled):
        fits = {}
        for candidate in FORMATS:
            times = pd.to_datetime(texts, format=candidate, errors="coerce")
            if times.notna().sum() >= 0.99 * len(filled):
                fits[candidate] = times
        if not fits:
            return None
        # day and month may be swapped: a brew day lasts hours, so the shortest span is right; a tie is no answer
        spans = {name: times.max() - times.min() for name, times in fits.items()}
        form = min(spans, key=lambda name: spans[name])
        if len({fits[name].iloc[0] for name in fits}) > 1 and list(spans.values()).count(spans[form]) > 1:
            return Clock(_seconds(fits[form], late), False, False, f"{_words(form)}; day and month could be swapped")
        iso = fits[form]
    return Clock(_seconds(iso, late), zoned, True, None if form is None else _words(form))


def _numbers(texts: pd.Series) -> Clock | None:
    numbers = pd.to_numeric(texts, errors="coerce").to_numpy(dtype=float)
    middle = float(np.nanmedian(numbers))
    if 1e8 < middle < 1e11:
        return Clock(numbers, True, True, "seconds since 1970")
    if 1e11 < middle < 1e14:
        return Clock(numbers / 1000.0, True, True, "milliseconds since 1970")
    if 20000 < middle < 80000:
        zero = SERIAL_ZERO.timestamp()
        return Clock(np.round(numbers * 86400.0, 1) + zero, False, True, "a spreadsheet's serial dates")
    return None


def _seconds(times: pd.Series, late: pd.Series) -> np.ndarray:
    values = times.dt.tz_localize(None) if times.dt.tz is not None else times
    seconds = values.to_numpy(dtype="datetime64[ns]").astype("int64") / 1e9
    seconds = np.where(times.isna(), np.nan, seconds)
    return seconds + np.where(late.fillna(False), 86400.0, 0.0)


def _over_midnight(seconds: np.ndarray) -> np.ndarray:
    steps = np.diff(seconds, prepend=seconds[:1])
    return seconds + 86400.0 * np.cumsum(np.nan_to_num(steps) < -43200.0)


def _words(form: str) -> str:
    names = {
        "%d": "day",
        "%m": "month",
        "%Y": "year",
        "%y": "year",
        "%H": "hour",
        "%I": "hour",
        "%M": "minute",
        "%S": "second",
        "%p": "AM/PM",
    }
    return re.sub(r"%[A-Za-z]", lambda match: names[match[0]], form)
