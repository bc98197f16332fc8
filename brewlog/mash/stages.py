"""Stages of a brew day, and the rests of its mash matched with the plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from brewlog.logbook.records import Brew, Rest
from brewlog.mash.control import mash_levels, tell_control
from brewlog.mash.levels import Level, match_levels
from brewlog.mash.marks import Marks, find_marks
from brewlog.mash.samples import MAX_GAP, Samples, first_within, known_samples, settled_within, smooth

MASH_OUT_TEMP = 74.5
"""A last rest this hot or hotter whose purpose nobody wrote down is a mash-out. [degC] common practice, no source"""


@dataclass(frozen=True, slots=True)
class Stage:
    """One stretch of a brew day."""

    kind: str
    """`heat-up`, `mash-in`, `rest`, `ramp`, `mash-out`, `lift`, `boil` or `cooling`. `lift` lasts from the moment the
    grain leaves the wort to the boil (draining, rinsing, heating up); `ramp` from a change of the target to the
    controlling sensor's arrival."""
    start: float
    """[s]"""
    end: float
    """[s]"""
    found: bool
    """True: its start was found in the trace; False: recorded."""
    rest: int | None = None
    """Number of the planned rest, for `rest`, `mash-in`, `mash-out` and the `ramp` that leads to it."""


@dataclass(frozen=True, slots=True)
class RestSpan:
    """A rest as it ran."""

    rest: int
    """Its number in the plan; counted through where there is no plan."""
    purpose: str | None
    """As planned; `mash-out` is filled in for a last rest at 74.5 degC or more without a purpose."""
    temp: float
    """Rest temperature: planned, else the controller's target. [degC]"""
    change: float
    """When the target was changed to this rest; NaN for the first rest of the day, to which no ramp leads. [s]"""
    start: float
    """The controlling sensor first came within 0.5 K, or as recorded. [s]"""
    end: float
    """The next change of target, or the lift. [s]"""
    time: float | None
    """Planned length. [min]"""
    headroom: float | None
    """[K]"""
    found: bool
    """True: the start was found in the trace; False: recorded."""

    @property
    def counts(self) -> bool:
        """Whether the rest counts towards the brew's hold: all but mash-in and mash-out do."""
        return self.purpose not in ("mash-in", "mash-out")


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


def _starts(asked: list[AskedRest], recorded: Sequence[float]) -> list[float]:
    """The recorded `rest` event of each rest, NaN where there is none: the first between its change and its end."""
    found = []
    for one in asked:
        inside = [time for time in recorded if one.since <= time < one.end]
        found.append(inside[0] if inside else np.nan)
    return found


def match_rests(brew: Brew, mash: pd.DataFrame | None = None) -> tuple[RestSpan, ...]:
    """Rests of a brew as they ran, matched with the plan by temperature and order.

    A rest that was skipped, or that the controlling sensor never reached, has no span; a rest that nobody planned has
    none either, unless there is no plan at all: then each logged target is a rest. Recorded `rest` events win over
    what the trace shows. Without a logged target the changes are found where a temperature leaves its plateau.

    Parameters
    ----------
    brew : Brew
    mash : pandas.DataFrame, optional
        Reconstructed bed temperature, columns `elapsed` [s] and `mash_temp` [degC]; used as the controlling sensor
        where the controller followed a bed probe that was not logged.

    Returns
    -------
    tuple of RestSpan
        In order of time; empty without a trace.

    Notes
    -----
    A rest runs from the moment the controlling sensor first comes within 0.5 K of the rest temperature to the next
    change of target or the lift. For the first rest, falling through the rest temperature while the grain is stirred in
    is no arrival: the sensor must stay within 1 K for ten minutes. Where it is not known which sensor controlled, the
    base stands in for it, else the bed.
    """
    trace = brew.trace
    if trace is None or not len(trace):
        return ()
    return _match(brew, find_marks(brew), trace, mash)


def control_samples(brew: Brew, trace: pd.DataFrame, mash: pd.DataFrame | None) -> tuple[np.ndarray, np.ndarray]:
    """Samples of the controlling sensor; empty where it is known but was not logged."""
    sensor = tell_control(brew)[0]
    if sensor is None:
        sensor = "base" if known_samples(brew, "base_temp", trace)[0].size else "mash"
    elapsed, values = known_samples(brew, f"{sensor}_temp", trace)
    if sensor == "mash" and not elapsed.size and mash is not None:
        good = mash["mash_temp"].notna()
        return mash.loc[good, "elapsed"].to_numpy(dtype=float), mash.loc[good, "mash_temp"].to_numpy(dtype=float)
    return elapsed, values


def _match(brew: Brew, marks: Marks, trace: pd.DataFrame, mash: pd.DataFrame | None) -> tuple[RestSpan, ...]:
    asked = asked_rests(brew, marks, trace)
    recorded = _starts(asked, [event.elapsed for event in brew.events if event.event == "rest"])
    sensor = control_samples(brew, trace, mash)
    begin = marks.mash_in if np.isfinite(marks.mash_in) else -np.inf
    last = float(trace["elapsed"].iloc[-1])
    stop = marks.lift if np.isfinite(marks.lift) else last
    spans = []
    for one, event in zip(asked, recorded, strict=True):
        end = min(one.end, stop)
        arrive = first_within if np.isfinite(one.change) or np.isnan(marks.mash_in) else settled_within
        start = event if np.isfinite(event) else arrive(*sensor, one.rest.temp, max(one.since, begin), end)
        if np.isfinite(start) and start < end:
            rest = one.rest
            spans.append(
                RestSpan(
                    rest.rest,
                    one.purpose,
                    rest.temp,
                    one.change,
                    float(start),
                    float(end),
                    rest.time,
                    rest.headroom,
                    not np.isfinite(event),
                )
            )
    return tuple(spans)


def _mash_stages(spans: Sequence[RestSpan], marks: Marks) -> list[Stage]:
    stages = []
    first_is_mash_in = bool(spans) and spans[0].purpose == "mash-in"
    if np.isfinite(marks.mash_in) and spans and spans[0].start > marks.mash_in and not first_is_mash_in:
        stages.append(Stage("mash-in", marks.mash_in, spans[0].start, "mash_in" in marks.found))
    for span in spans:
        kind = span.purpose if not span.counts and span.purpose else "rest"
        start = span.start
        if kind == "mash-in" and np.isfinite(marks.mash_in) and np.isnan(span.change):
            start = marks.mash_in
        elif np.isfinite(span.change) and span.change < span.start:
            by_hand = span.purpose == "mash-out" and span.change == marks.mash_out
            stages.append(Stage("ramp", span.change, span.start, not by_hand, span.rest))
        stages.append(Stage(kind, start, span.end, span.found, span.rest))
    return stages


def find_stages(brew: Brew) -> tuple[Stage, ...]:
    """Stages of a brew day in order of time, recorded or found in the trace.

    Empty without a trace. Stages that cannot be seen are left out; stretches between two levels that belong to no rest
    are in no stage.

    Parameters
    ----------
    brew : Brew

    Returns
    -------
    tuple of Stage

    Notes
    -----
    See `find_marks` for mash-in, lift and boil, and `match_rests` for the rests.
    """
    trace = brew.trace
    if trace is None or not len(trace):
        return ()
    marks = find_marks(brew)
    first, last = float(trace["elapsed"].iloc[0]), float(trace["elapsed"].iloc[-1])
    stages = []
    heat_up = next((event.elapsed for event in brew.events if event.event == "heat-up"), np.nan)
    if np.isfinite(marks.mash_in) and marks.mash_in > first:
        recorded = np.isfinite(heat_up) and heat_up < marks.mash_in
        stages.append(Stage("heat-up", heat_up if recorded else first, marks.mash_in, not recorded))
    stages += _mash_stages(_match(brew, marks, trace, None), marks)
    boil = marks.boil if np.isfinite(marks.boil) else last
    if np.isfinite(marks.lift) and marks.lift < boil:
        stages.append(Stage("lift", marks.lift, boil, "lift" in marks.found))
    boil_end = marks.boil_end if np.isfinite(marks.boil_end) else last
    if np.isfinite(marks.boil) and marks.boil < boil_end:
        stages.append(Stage("boil", marks.boil, boil_end, "boil" in marks.found))
    if np.isfinite(marks.boil_end) and marks.boil_end < last:
        stages.append(Stage("cooling", marks.boil_end, last, "boil_end" in marks.found))
    return tuple(sorted(stages, key=lambda stage: stage.start))
