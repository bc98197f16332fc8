"""Elapsed times as people and programs write them to seconds: `1:02:30`, `0 days 00:00:30`, `30 s`, `PT1H2M`."""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np

from brewlog.logbook.cell_units import number_and_unit
from brewlog.logbook.order import usual_step
from brewlog.quantities import parse_unit

_COLONS = re.compile(r"(?:(\d{1,4}) ?d(?:ays?)?,? ?)?(?:(\d{1,4}):)?(\d{1,5}):(\d{1,2}(?:[.,]\d{1,9})?)")
_LETTERS = re.compile(
    r"(?:PT)?(?:(\d{1,4}) ?d(?:ays?)?)? ?(?:(\d{1,4}) ?h(?:ours?|rs?)?)? ?(?:(\d{1,5}) ?m(?:in(?:ute)?s?)?)? ?"
    r"(?:(\d{1,6}(?:\.\d{1,9})?) ?s(?:ec(?:ond)?s?)?)?",
    re.IGNORECASE,
)
LONGEST = 40
"""Longest text that is looked at. [characters]"""
_HOURS_IF_STEP = 300.0
"""Two parts are hours and minutes where minutes and seconds would make rows that far apart at most. [s]"""


def durations(texts: Iterable[str]) -> np.ndarray:
    """Seconds of some elapsed times; NaN for what is none.

    Two numbers with a colon are hours and minutes where that leaves rows less than 5 min apart, else minutes and
    seconds.

    Examples
    --------
    >>> durations(["0:00:30", "0 days 00:01:00", "90 s", "2 min", "PT3M", "1h 02m", "x"]).tolist()
    [30.0, 60.0, 90.0, 120.0, 180.0, 3720.0, nan]
    >>> durations(["00:00", "00:30", "01:00"]).tolist()
    [0.0, 30.0, 60.0]
    """
    whole, pairs = [], []
    for text in texts:
        seconds, pair = _one(text.strip())
        whole.append(seconds)
        pairs.append(pair)
    two, three = np.array(pairs, dtype=float), np.array(whole, dtype=float)
    known = two[np.isfinite(two)]
    # hours and minutes of a brew day would be hours apart if they were minutes and seconds, or the other way round
    if len(known) and known.max() < 24 * 60.0 and usual_step(known) * 60 < _HOURS_IF_STEP:
        two = two * 60
    return np.where(np.isfinite(three), three, two)


def duration(text: str) -> float | None:
    """Seconds of one elapsed time with hours, minutes and seconds, or with letters; None for anything else.

    Examples
    --------
    >>> duration("1:10:00"), duration("1h 10m"), duration("1:10")
    (4200.0, 4200.0, None)
    """
    seconds = _one(text.strip())[0]
    return seconds if np.isfinite(seconds) else None


def _one(text: str) -> tuple[float, float]:
    """Seconds of one text, or those of its two parts read as minutes and seconds; NaN for the other."""
    if not text or len(text) > LONGEST:
        return np.nan, np.nan
    if found := _COLONS.fullmatch(text):
        days, hours, minutes = (float(part or 0) for part in found.groups()[:3])
        seconds = 60 * minutes + float(found[4].replace(",", "."))
        if found[1] is None and found[2] is None:
            return np.nan, seconds
        return 86400 * days + 3600 * hours + seconds, np.nan
    if (found := _LETTERS.fullmatch(text)) and any(found.groups()):
        days, hours, minutes, seconds = (float(part or 0) for part in found.groups())
        return 86400 * days + 3600 * hours + 60 * minutes + seconds, np.nan
    pair = number_and_unit(text, None)
    if pair is not None and len(pair[0]) == 1:
        try:
            return float(parse_unit(pair[1], "s")(pair[0][0])), np.nan
        except ValueError:
            pass
    return np.nan, np.nan
