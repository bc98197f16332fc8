"""The rests of a mash as they were asked for: planned rests matched with the changes of the controller's target."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from brewlog.logbook.records import Brew, Rest
from brewlog.mash.control import mash_levels
from brewlog.mash.levels import Level, match_levels
from brewlog.mash.marks import Marks
from brewlog.mash.samples import MAX_GAP, Samples, known_samples, smooth

MASH_OUT_TEMP = 74.5
"""A last rest this hot or hotter whose purpose nobody wrote down is a mash-out. [degC] common practice, no source"""


def tidy_purpose(purpose: str | None) -> str | None:
    """One spelling of `mash-in` and `mash-out`; other words as they are.

    Examples
    --------
    >>> tidy_purpose("Mash out"), tidy_purpose("protein")
    ('mash-out', 'protein')
    """
    if purpose is None or not purpose.strip():
        return None
    word = purpose.strip().lower().replace("_", "-").replace(" ", "-")
    return {"mashin": "mash-in", "mashout": "mash-out"}.get(word, word if word in ("mash-in", "mash-out") else purpose)


def purposes(rests: Sequence[Rest]) -> list[str | None]:
    """Purpose of each rest; a last one at 74.5 degC or more that has none is taken as a mash-out."""
    words = [tidy_purpose(rest.purpose) for rest in rests]
    if words and words[-1] is None and len(words) > 1 and rests[-1].temp >= MASH_OUT_TEMP:
        words[-1] = "mash-out"
    return words


@dataclass(frozen=True, slots=True)
class AskedRest:
    """A rest as it was asked for: its target and the stretch between two changes of target."""

    rest: Rest
    purpose: str | None
    since: float
    """[s]"""
    change: float
    """As `since`; NaN for the first rest of the day. [s]"""
    end: float
    """[s]"""


def _departure(one: Level, other: Level, sensor: Samples, power: Samples) -> float:
    """When the sensor left one level for the other, or a little before, when the power went up for it."""
    sign = np.sign(other.temp - one.temp) or 1.0
    elapsed, values = sensor
    between = (elapsed >= one.start) & (elapsed <= other.start)
    times, even = elapsed[between], smooth(elapsed[between], values[between], 60.0)
    settled = (times >= one.start + 0.4 * (one.end - one.start)) & (times <= one.end)
    if not settled.any():
        return one.end
    low = np.flatnonzero(sign * (even - np.median(even[settled])) <= 0.3)
    left = float(times[low[-1]]) if low.size else one.end
    return _power_up(one, left, power) if sign > 0 else left


def _power_up(one: Level, left: float, power: Samples) -> float:
    """Last moment of low power in the five minutes before `left`, where low and high can be told apart; else `left`."""
    times, values = power
    if times.size < 5:
        return left
    even = smooth(times, values, 60.0, "mean")
    holding = even[(times >= one.start + 0.4 * (left - one.start)) & (times <= left - MAX_GAP)]
    heating = even[(times >= left) & (times <= left + 120.0)]
    if holding.size < 3 or heating.size < 2 or np.median(heating) <= 2 * np.median(holding):
        return left
    limit = (np.median(holding) + np.median(heating)) / 2
    low = np.flatnonzero((even < limit) & (times <= left) & (times >= left - MAX_GAP))
    return float(times[low[-1]]) if low.size else left


def asked_rests(brew: Brew, marks: Marks, trace: pd.DataFrame) -> list[AskedRest]:
    """Rests that were asked for, reached or not, in order of time, with the changes of target on both sides."""
    levels, logged = mash_levels(brew, marks, trace)
    rests, words = brew.rests, purposes(brew.rests)
    if rests:
        pairs = match_levels(levels, rests)
    elif logged:
        rests = tuple(Rest(brew.label, k + 1, level.temp) for k, level in enumerate(levels))
        words = purposes(rests)
        pairs = {k: k for k in range(len(levels))}
    else:
        return []
    starts, ends = [level.start for level in levels], [level.end for level in levels]
    if not logged:
        base = known_samples(brew, "base_temp", trace)
        sensor = base if base[0].size else known_samples(brew, "mash_temp", trace)  # the base moves first
        power = known_samples(brew, "power" if "power" in trace else "power_watt", trace)
        for k in range(1, len(levels)):
            starts[k] = ends[k - 1] = _departure(levels[k - 1], levels[k], sensor, power)
        if levels:
            starts[0] = marks.mash_in if np.isfinite(marks.mash_in) else starts[0]
            ends[-1] = marks.lift if np.isfinite(marks.lift) else ends[-1]
    asked: list[AskedRest] = []
    for k, j in pairs.items():
        out = np.isfinite(marks.mash_out)
        change, end = starts[k], ends[k]
        if words[j] == "mash-out" and out and not logged:
            change = marks.mash_out
        if words[j] != "mash-out" and out and change < marks.mash_out:
            end = min(end, marks.mash_out)
        asked.append(AskedRest(rests[j], words[j], change, change if asked else np.nan, end))
    return asked
