"""Stages of a brew day, and the rests of its mash matched with the plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from brewlog.logbook.records import Brew
from brewlog.mash.asked import AskedRest, asked_rests
from brewlog.mash.control import tell_control
from brewlog.mash.marks import Marks, find_marks
from brewlog.mash.samples import first_within, known_samples, settled_within


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
