"""The moments that divide a brew day: mash-in, lift, boil and its end; recorded, or else found in the trace."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from brewlog.logbook.records import Brew
from brewlog.mash.levels import set_levels
from brewlog.mash.samples import MAX_GAP, Samples, known_samples, smooth

BOIL_SETTING = 90.0
"""A target this high asks for the boil. [degC]"""

OFF_SETTING = 40.0
"""A target this low after mash-in means that the controller was sent home. [degC]"""

GRAIN_DROP = 1.0
"""Cold grain pulls the water down by at least this within five minutes. [K]"""


STRIKE_MISS = 3.0
"""The mash settles no further than this above the first rest. [K]"""

BEGINS_MASHING = 1.5
"""A trace that begins this close to the first rest begins with the mash. [K]"""


@dataclass(frozen=True, slots=True)
class Marks:
    """Moments of one brew day, NaN where the day shows no such moment."""

    mash_in: float
    """[s]"""
    mash_out: float
    """Start of the heating to mash-out, where it is recorded; never searched for. [s]"""
    lift: float
    """The grain leaves the wort. [s]"""
    boil: float
    """The wort starts to boil. [s]"""
    boil_end: float
    """[s]"""
    fill: float
    """The wort leaves the kettle, where it is recorded; never searched for. [s]"""
    found: frozenset[str]
    """Which of them were found in the trace rather than recorded."""


def _drop(elapsed: np.ndarray, values: np.ndarray, before: float, floor: float) -> float:
    """Start of the first fall by `GRAIN_DROP` within five minutes from 40 degC or more, to `floor` or below; or NaN."""
    if elapsed.size < 3:
        return np.nan
    even = smooth(elapsed, values, 30.0)
    ends = np.searchsorted(elapsed, elapsed + 300.0, side="right")
    for k in np.flatnonzero((even >= 40.0) & (elapsed < before)):
        lowest = k + int(even[k : ends[k]].argmin())
        if even[k] - even[lowest] >= GRAIN_DROP and even[lowest] <= floor:
            top = k + int(np.flatnonzero(even[k : lowest + 1] >= even[k : lowest + 1].max() - 0.2)[-1])
            return float(elapsed[top])
    return np.nan


def _rise(elapsed: np.ndarray, values: np.ndarray) -> float:
    """A probe put from the room into the mash: last sample below 40 degC before a climb above 50 in five minutes."""
    for k in np.flatnonzero((values[:-1] < 40.0) & (values[1:] >= 40.0)):
        if (values[(elapsed > elapsed[k]) & (elapsed <= elapsed[k] + 300.0)] > 50.0).any():
            return float(elapsed[k])
    return np.nan


def _find_mash_in(brew: Brew, data: dict[str, Samples], lift: float) -> float:
    temps = data["base_temp"] if data["base_temp"][0].size else data["mash_temp"]
    first_rest = brew.rests[0].temp if brew.rests else np.nan
    before = lift if np.isfinite(lift) else np.inf
    levels = [level for level in set_levels(*data["set_temp"]) if OFF_SETTING < level.temp < BOIL_SETTING]
    lowest = first_rest if np.isfinite(first_rest) else min((level.temp for level in levels), default=np.inf)
    if temps[0].size and abs(temps[1][0] - lowest) <= BEGINS_MASHING:
        return float(temps[0][0])  # the logger was started with the mash
    place = _drop(temps[0], temps[1], before, lowest + STRIKE_MISS)  # later the base falls after each ramp
    if np.isfinite(place):
        return place
    if data["mash_temp"][0].size > 1:
        place = _rise(*data["mash_temp"])
        if np.isfinite(place):
            return place
    for one, other in pairwise(levels):
        if 0.3 < one.temp - other.temp < 15.0:
            return other.start
    if temps[0].size and temps[1][0] > 40.0:
        return float(temps[0][0])
    near = np.abs(temps[1] - first_rest) <= 1.0  # nowhere, where no rest is planned
    return float(temps[0][near.argmax()]) if near.any() else np.nan


def _find_lift(brew: Brew, data: dict[str, Samples], after: float) -> float:
    after = after if np.isfinite(after) else -np.inf
    for level in set_levels(*data["set_temp"]):
        high, off = level.temp >= BOIL_SETTING, level.temp <= OFF_SETTING
        if level.start > after and (high or (off and np.isfinite(after))):
            # some time since the row before: what happened in between is no longer the mash
            before = data["set_temp"][0][data["set_temp"][0] < level.start]
            return float(before[-1]) if before.size and level.start - before[-1] <= MAX_GAP else level.start
    top = max((rest.temp for rest in brew.rests), default=78.0)
    for channel in ("base_temp", "wort_temp"):
        elapsed, values = data[channel]
        if elapsed.size < 3:
            continue
        even = smooth(elapsed, values, 60.0)
        hot = np.flatnonzero((even >= BOIL_SETTING) & (elapsed > after))
        if hot.size:
            low = np.flatnonzero((even[: hot[0]] <= top + 1.0) & (elapsed[: hot[0]] > after))
            return float(elapsed[low[-1]]) if low.size else np.nan
    return np.nan


def _find_boil(data: dict[str, Samples], after: float) -> tuple[float, float]:
    """Start and end of the stretch within a kelvin of the hottest the wort got, where that is 92 degC or more."""
    for channel in ("base_temp", "wort_temp"):
        elapsed, values = data[channel]
        keep = elapsed > after if np.isfinite(after) else np.full(elapsed.size, True)
        elapsed, values = elapsed[keep], values[keep]
        if elapsed.size < 3:
            continue
        even = smooth(elapsed, values, 120.0)
        if even.max() < 92.0:
            continue
        high = np.sort(even)[-max(1, even.size // 20)]
        hot = np.flatnonzero(even >= high - 1.0)
        ended = hot[-1] < elapsed.size - 1 and even[-1] < high - 3.0
        return float(elapsed[hot[0]]), float(elapsed[hot[-1]]) if ended else np.nan
    return np.nan, np.nan


def find_marks(brew: Brew) -> Marks:
    """Moments that divide a brew day; recorded events win over what the trace shows.

    Without a trace only recorded events are known. What is neither recorded nor visible is NaN.

    Parameters
    ----------
    brew : Brew

    Returns
    -------
    Marks

    Notes
    -----
    Not recorded, mash-in is the start of a trace that begins within 1.5 K of the first rest; else where the water
    (40 degC or more) begins to fall by a kelvin or more within five minutes, to no more than 3 K above the first rest,
    as it does when cold grain comes in; else where a probe comes out of the room into the mash, or where the target
    steps down from strike to rest temperature. The lift is the last row before the target jumps to 90 degC or more (or
    the controller is switched off), else the last moment at mash temperatures before the wort heats up to the boil.
    The boil is the stretch within a kelvin of the hottest the wort got.

    Examples
    --------
    >>> find_marks(Brew("1")).found
    frozenset()
    """
    first: dict[str, float] = {}
    for event in brew.events:
        first.setdefault(event.event, event.elapsed)
    marks = {
        "mash_in": first.get("mash-in", np.nan),
        "mash_out": first.get("mash-out", np.nan),
        "lift": first.get("lift", np.nan),
        "boil": first.get("boil", np.nan),
        "boil_end": first.get("boil end", np.nan),
        "fill": first.get("fill", np.nan),
    }
    found = set()
    trace = brew.trace
    if trace is not None and len(trace):
        channels = ("base_temp", "mash_temp", "wort_temp", "set_temp")
        data = {channel: known_samples(brew, channel, trace) for channel in channels}
        if np.isnan(marks["lift"]):
            marks["lift"] = _find_lift(brew, data, np.nanmax([marks["mash_in"], marks["mash_out"], -np.inf]))
            found.add("lift")
        if np.isnan(marks["mash_in"]):
            marks["mash_in"] = _find_mash_in(brew, data, marks["lift"])
            found.add("mash_in")
            if "lift" in found and marks["lift"] < marks["mash_in"]:
                marks["lift"] = _find_lift(brew, data, marks["mash_in"])
        boil, boil_end = _find_boil(data, np.nanmax([marks["lift"], marks["mash_in"], -np.inf]))
        for name, value in (("boil", boil), ("boil_end", boil_end)):
            if np.isnan(marks[name]) and not (name == "boil_end" and value < marks["boil"]):
                marks[name] = value
                found.add(name)
    return Marks(**marks, found=frozenset(name for name in found if np.isfinite(marks[name])))
