"""Which sensor the controller acted on during the mash, and what it did while its probe was silent."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from brewlog.logbook.records import Brew
from brewlog.mash.levels import Level, match_levels, planned_levels, plateaus, set_levels
from brewlog.mash.marks import BOIL_SETTING, Marks, find_marks
from brewlog.mash.samples import known_samples

AT_SETTING = 0.6
"""A sensor that stands within this of the target while holding may be the one that is controlled. [K]"""

CLEARLY_NEARER = 0.2
"""By how much it must be nearer to the target than the other sensor. [K]"""

SILENT = 60.0
"""A bed probe without a reading for longer than this has dropped out. [s]"""


@dataclass(frozen=True, slots=True)
class Dropout:
    """A stretch of the rests in which the bed probe was silent."""

    start: float
    """Last reading before it. [s]"""
    end: float
    """First reading after it. [s]"""
    followed: str | None
    """`base` where the base came to the target and stood there meanwhile: the controller acted on it. None where the
    trace cannot tell."""


def mash_levels(brew: Brew, marks: Marks, trace: pd.DataFrame | None = None) -> tuple[tuple[Level, ...], bool]:
    """Levels between mash-in and lift, and whether they come from the logged target.

    Without a logged target they are plateaus of the sensor that is recorded as controlling, else of the base, else of
    the bed.
    """
    trace = brew.trace if trace is None else trace
    if trace is None:
        return (), False
    start = marks.mash_in if np.isfinite(marks.mash_in) else -np.inf
    end = marks.lift if np.isfinite(marks.lift) else np.inf
    setting = known_samples(brew, "set_temp", trace)
    levels, logged = set_levels(*setting), setting[0].size > 0
    if not logged:
        levels = _levels_of_sensors(brew, trace, start, end)
    inside = [Level(one.temp, max(one.start, start), min(one.end, end)) for one in levels]
    return tuple(one for one in inside if one.end - one.start >= 60.0 and 25.0 < one.temp < BOIL_SETTING), logged


def _levels_of_sensors(brew: Brew, trace: pd.DataFrame, start: float, end: float) -> tuple[Level, ...]:
    order = ["base_temp", "mash_temp"]
    if brew.heater_follows == "mash" and known_samples(brew, "mash_temp", trace)[0].size:
        order = ["mash_temp"]
    for channel in order:
        elapsed, values = known_samples(brew, channel, trace)
        keep = (elapsed >= start) & (elapsed <= end)
        if keep.sum() > 2:
            elapsed, values = elapsed[keep], values[keep]
            # a bed nears its rest so slowly that a ramp's end looks like a plateau; the plan tells them apart
            guided = planned_levels(elapsed, values, brew.rests) if channel == "mash_temp" else ()
            return guided or plateaus(elapsed, values)
    return ()


def _holding(brew: Brew, marks: Marks, trace: pd.DataFrame) -> list[tuple[float, float, float]]:
    """Target, start and end of the settled part (the last three fifths) of each level."""
    levels, logged = mash_levels(brew, marks, trace)
    if logged:
        targets = {k: level.temp for k, level in enumerate(levels)}
    else:
        targets = {k: brew.rests[j].temp for k, j in match_levels(levels, brew.rests).items()}
    return [
        (target, levels[k].start + 0.4 * (levels[k].end - levels[k].start), levels[k].end)
        for k, target in targets.items()
        if levels[k].end - levels[k].start >= 300.0
    ]


def _distance(elapsed: np.ndarray, values: np.ndarray, holding: list[tuple[float, float, float]]) -> float:
    parts = [values[(elapsed >= start) & (elapsed <= end)] - target for target, start, end in holding]
    medians = [float(np.median(part)) for part in parts if part.size >= 3]
    return float(np.median(medians)) if medians else np.nan


def _ramp_cue(brew: Brew, marks: Marks, trace: pd.DataFrame) -> str | None:
    """Sensor told from the ramps: the base runs far past the target only where the controller waits for the bed."""
    levels, logged = mash_levels(brew, marks, trace)
    base_times, base = known_samples(brew, "base_temp", trace)
    mash_times, mash = known_samples(brew, "mash_temp", trace)
    if not logged or not base.size or not mash.size:
        return None
    bed = np.interp(base_times, mash_times, mash)
    past = []
    for one, level in pairwise(levels):
        waiting = (base_times >= level.start) & (base_times <= level.end) & (bed < level.temp - 0.7)
        if level.temp - one.temp >= 2.0 and waiting.sum() >= 5:
            past.append(float(np.quantile(base[waiting] - level.temp, 0.9)))
    if not past:
        return None
    return "mash" if np.median(past) >= 2.0 else "base" if np.median(past) <= 1.0 else None


def tell_control(brew: Brew) -> tuple[str | None, str | None, str]:
    """Controlling sensor, where that is known from, and why it is not known (empty where it is).

    See `control_sensor`.
    """
    if brew.heater_follows in ("base", "mash"):
        return brew.heater_follows, "recorded", ""
    trace = brew.trace
    if trace is None:
        return None, None, "neither recorded in brews.csv (heater_follows) nor is there a trace that could tell"
    marks = find_marks(brew)
    holding = _holding(brew, marks, trace)
    off = {name: _distance(*known_samples(brew, f"{name}_temp", trace), holding) for name in ("base", "mash")}
    base, mash = off["base"], off["mash"]
    if np.isnan(base) and np.isnan(mash):
        return None, None, "not recorded, and no rest with its target and a sensor is in the trace"
    if np.isfinite(base) and np.isfinite(mash):
        near, far = sorted(off, key=lambda name: abs(off[name]))
        if abs(off[near]) <= AT_SETTING and abs(off[far]) - abs(off[near]) >= CLEARLY_NEARER:
            return near, "trace", ""
        ramp = _ramp_cue(brew, marks, trace)
        if ramp:
            return ramp, "trace", ""
        where = f"base and bed stand {base:+.1f} K and {mash:+.1f} K from the target"
        return None, None, f"while holding, {where}: neither is clearly on it"
    name, value = ("base", base) if np.isfinite(base) else ("mash", mash)
    other = "mash" if name == "base" else "base"
    # to keep the bed warm the base must be the warmer one: a base above the target, or a bed below it, may only
    # stand where it does because the other sensor is on the target
    towards = value if name == "base" else -value
    if -AT_SETTING <= towards <= CLEARLY_NEARER:
        return name, "trace", ""
    if AT_SETTING < towards < 5.0:
        return other, "trace", ""
    return None, None, f"not recorded; the only sensor logged stands {value:+.1f} K from the target while holding"


def control_sensor(brew: Brew) -> tuple[str | None, str | None]:
    """Sensor that the controller acted on during the mash, and where that is known from.

    Recorded in brews.csv (`heater_follows`) it is taken as recorded. Else it is told from the trace: the sensor that
    stands at the target while holding. Where neither or both do, it is not known. The sensor that was not logged is
    named where the one that was logged stands clearly off the target, on the side that the heat flow from base to bed
    demands.

    Parameters
    ----------
    brew : Brew

    Returns
    -------
    sensor : str or None
        `base` or `mash`; None where it cannot be told.
    source : str or None
        `recorded` or `trace`.

    Notes
    -----
    The distance of a sensor is the median over the rests of the median of reading minus target over the last three
    fifths of each rest. The nearer sensor is named if it is within 0.6 K and at least 0.2 K nearer than the other.
    Where that does not tell, the ramps do: under mash control the base runs 2 K or more past a target
    that the bed has not reached, under base control no more than 1 K.

    Examples
    --------
    >>> control_sensor(Brew("1", heater_follows="mash"))
    ('mash', 'recorded')
    >>> control_sensor(Brew("2"))
    (None, None)
    """
    return tell_control(brew)[:2]


def dropouts(brew: Brew, start: float, end: float) -> tuple[Dropout, ...]:
    """Stretches between `start` and `end` in which the bed probe was silent for more than a minute.

    Marked `base` where the controller turned to the base sensor meanwhile: in the second half of the stretch the base
    stands within 0.3 K of the target, and did not in the ten minutes before. Shorter or unclear stretches are not
    marked. A trace without a bed probe has none.

    Parameters
    ----------
    brew : Brew
    start, end : float
        [s]

    Returns
    -------
    tuple of Dropout
    """
    trace = brew.trace
    if trace is None:
        return ()
    elapsed, _ = known_samples(brew, "mash_temp", trace)
    edges = np.concatenate([[start], elapsed[(elapsed > start) & (elapsed < end)], [end]])
    if edges.size == 2:
        return ()
    base_times, base = known_samples(brew, "base_temp", trace)
    set_times, setting = known_samples(brew, "set_temp", trace)
    return tuple(
        Dropout(float(low), float(high), _followed(low, high, base_times, base, set_times, setting))
        for low, high in pairwise(edges)
        if high - low > SILENT
    )


def _followed(
    low: float, high: float, base_times: np.ndarray, base: np.ndarray, set_times: np.ndarray, setting: np.ndarray
) -> str | None:
    if set_times.size == 0 or base_times.size == 0 or high - low < 2 * SILENT:
        return None
    target = setting[np.clip(np.searchsorted(set_times, base_times, side="right") - 1, 0, None)]
    off = base - target
    during = off[(base_times > (low + high) / 2) & (base_times < high)]
    before = off[(base_times > low - 600.0) & (base_times < low)]
    if during.size < 2 or before.size < 2:
        return None
    return "base" if abs(np.median(during)) <= 0.3 < abs(np.median(before)) else None
