"""How tightly the rests of a brew were held."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from brewlog.logbook.records import Brew
from brewlog.mash.control import Dropout, dropouts, mash_levels, tell_control
from brewlog.mash.levels import match_levels
from brewlog.mash.marks import Marks, find_marks
from brewlog.mash.measures import moments, probe_hold_sd, reconstructed_hold_sd, share_within
from brewlog.mash.probe import bed_samples
from brewlog.mash.samples import ARRIVAL_BAND, MAX_GAP, first_within, known_samples, time_weights
from brewlog.mash.stages import AskedRest, RestSpan, asked_rests, control_samples, match_rests, purposes
from brewlog.quantities import unit_of

LEAST_SEEN = 0.5
"""A brew's tightness needs the bed to be known for at least this share of its rests. [1]"""

MASH_OUT_TIME = 300.0
"""A mash-out was reached when the bed was within 1 K of it for this long. [s]"""

MEASURES = (
    "hold_rms",
    "hold_rms_sd",
    "hold_bias",
    "hold_sd",
    "within_half",
    "within_one",
    "overshoot",
    "lateness",
    "ramp_time",
    "ramp_rate",
    "lead",
    "seen",
)
"""Measures of one rest, in the order of the columns."""

_NO_BED = "no probe in the bed was logged and no reconstructed temperature was given (the base sensor is not the bed)"


def _is_known(value: Any) -> bool:
    return isinstance(value, str) or (value is not None and bool(np.isfinite(value)))


def _shown(value: Any, unit: str | None) -> str:
    return value if isinstance(value, str) else f"{value:.3g} {'' if unit in (None, '1') else unit}".rstrip()


@dataclass(frozen=True)
class Hold:
    """How tightly the rests of one brew were held."""

    brew: str
    rests: pd.DataFrame
    """One row per planned rest (index `rest`): `purpose`, `temp` [degC], `start`, `end` [s], then the measures; a rest
    that did not run, or in which the bed was not seen, has NaN."""
    overall: pd.Series
    """The brew's values over all rests but mash-in and mash-out, and `mash_time`, `mash_out`, `hold_from`."""
    reasons: Mapping[str, str]
    """Why a value of `overall` is missing, by name; `rest 2` and so on for rests without values."""
    units: Mapping[str, str]
    control: str | None = None
    """Sensor that the controller acted on."""
    control_from: str | None = None
    """`recorded` or `trace`."""
    dropouts: tuple[Dropout, ...] = ()
    """Stretches of the rests in which the bed probe was silent for more than a minute."""
    notes: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """The brew's values, then the rests, as plain Python values ready for JSON; missing is None."""

        def plain(value: Any) -> Any:
            if isinstance(value, str) or value is None:
                return value
            return float(value) if np.isfinite(value) else None

        rests = [
            {"rest": int(str(number)), **{str(key): plain(value) for key, value in row.items()}}
            for number, row in self.rests.iterrows()
        ]
        overall = {str(key): plain(value) for key, value in self.overall.items()}
        return {"brew": self.brew, **overall, "rests": rests, "reasons": dict(self.reasons), "units": dict(self.units)}

    def summary(self) -> str:
        """One row per rest, the brew's values below, then what is missing and why, and the numbered notes."""
        shown = ["purpose", "temp", "hold_rms", "hold_rms_sd", "hold_bias", "within_half", "lateness", "lead", "seen"]
        header = {name: f"{name} [{self.units[name]}]" for name in shown if self.units.get(name) not in (None, "", "1")}
        lines = [f"brew {self.brew}: rests as held, control by {self.control or 'a sensor not known'}"]
        lines.append(self.rests[shown].rename(columns=header).to_string(float_format="{:.2f}".format, na_rep="-"))
        known = [
            f"{name} {_shown(value, self.units.get(str(name)))}"
            for name, value in self.overall.items()
            if _is_known(value)
        ]
        lines.append("over the rests but mash-in and mash-out: " + ", ".join(known))
        lines += [f"{name} missing: {reason}" for name, reason in self.reasons.items()]
        return "\n".join([*lines, *(f"[{n}] {text}" for n, text in enumerate(self.notes, start=1))])

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(self.summary())}</pre>"


@dataclass(frozen=True)
class _Bed:
    """The bed temperature that is measured against the plan."""

    elapsed: np.ndarray
    temp: np.ndarray
    sd: np.ndarray
    source: str | None
    base: np.ndarray
    """Base temperature at the same times, NaN where it is not known within five minutes."""
    outside: tuple[tuple[float, float], ...]
    """Stretches in which the probe was out of the bed. [s]"""


def _at(times: np.ndarray, elapsed: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Values at `times`, straight between neighbours at most five minutes apart; NaN elsewhere."""
    if elapsed.size == 0:
        return np.full(times.size, np.nan)
    after = np.clip(np.searchsorted(elapsed, times), 0, elapsed.size - 1)
    before = np.clip(after - 1, 0, None)
    hit = elapsed[after] == times
    near = hit | ((times >= elapsed[0]) & (times <= elapsed[-1]) & (elapsed[after] - elapsed[before] <= MAX_GAP))
    return np.where(near, np.interp(times, elapsed, values), np.nan)


def _bed(brew: Brew, trace: pd.DataFrame, mash: pd.DataFrame | None, marks: Marks) -> _Bed:
    outside: tuple[tuple[float, float], ...] = ()
    if mash is None:
        elapsed, temp, outside = bed_samples(brew, trace, marks)
        sd, source = np.zeros(temp.size), "probe" if temp.size else None
    else:
        missing = {"elapsed", "mash_temp", "sd"} - set(mash.columns)
        if missing:
            raise ValueError(
                f"mash lacks the column(s) {', '.join(sorted(missing))}; expected elapsed, mash_temp and sd."
            )
        good = mash[["elapsed", "mash_temp", "sd"]].notna().all(axis=1)
        elapsed, temp, sd = (mash.loc[good, name].to_numpy(dtype=float) for name in ("elapsed", "mash_temp", "sd"))
        source = "reconstructed"
        if np.any(np.diff(elapsed) <= 0):
            raise ValueError("mash.elapsed does not rise from row to row; expected rows in order of time.")
    return _Bed(elapsed, temp, sd, source, _at(elapsed, *known_samples(brew, "base_temp", trace)), outside)


def _hides(bed: _Bed, start: float, moment: float) -> bool:
    """Whether a gap of more than five minutes lies just before `moment`, after `start`."""
    earlier = bed.elapsed[bed.elapsed < moment]
    last = max(earlier[-1], start) if earlier.size else start
    return bool(moment - last > MAX_GAP)


def _lateness(bed: _Bed, span: RestSpan) -> float:
    arrival = first_within(bed.elapsed, bed.temp, span.temp, span.start, span.end)
    around = bed.elapsed[(bed.elapsed >= span.start) & (bed.elapsed <= span.end)]
    if not around.size:
        return np.nan
    if np.isfinite(arrival):
        if _hides(bed, span.start, arrival):
            return np.nan
        before = bed.elapsed < span.start
        if before.any() and arrival == around[0]:  # it had arrived before, if the last sample before was there too
            last = float(bed.temp[before][-1])
            recent = span.start - bed.elapsed[before][-1] <= MAX_GAP
            if recent and abs(last - span.temp) <= ARRIVAL_BAND:
                return 0.0
        return (arrival - span.start) / 60
    edges = np.concatenate([[span.start], around, [span.end]])
    return np.nan if np.diff(edges).max() > MAX_GAP else (span.end - span.start) / 60


def _ramp(bed: _Bed, span: RestSpan) -> tuple[float, float]:
    """Time and mean rate of the bed from the change of target to its arrival; NaN where either is not seen."""
    if not np.isfinite(span.change) or not bed.elapsed.size:
        return np.nan, np.nan
    arrival = first_within(bed.elapsed, bed.temp, span.temp, span.change, span.end)
    if not np.isfinite(arrival) or _hides(bed, span.change, arrival):
        return np.nan, np.nan
    first, last = _at(np.array([span.change, arrival]), bed.elapsed, bed.temp)
    time = (arrival - span.change) / 60
    return time, (last - first) / time if time > 0 else np.nan


def _measure(bed: _Bed, span: RestSpan) -> dict[str, float]:
    weights = time_weights(bed.elapsed, span.start, span.end)
    off = bed.temp - span.temp
    rms, mean, spread = moments(weights, off, bed.sd)
    inside = weights > 0
    lead_weights = np.where(np.isfinite(bed.base), weights, 0.0)
    lead = np.nan_to_num(bed.base - bed.temp)
    ramp_time, ramp_rate = _ramp(bed, span)
    return {
        "hold_rms": rms,
        "hold_rms_sd": _rms_sd(bed.source, weights, off, bed.sd),
        "hold_bias": mean,
        "hold_sd": spread,
        "within_half": share_within(weights, off, bed.sd, 0.5),
        "within_one": share_within(weights, off, bed.sd, 1.0),
        "overshoot": max(0.0, float(off[inside].max())) if inside.any() else np.nan,
        "lateness": _lateness(bed, span),
        "ramp_time": ramp_time,
        "ramp_rate": ramp_rate,
        "lead": float(lead_weights @ lead / lead_weights.sum()) if lead_weights.sum() > 0 else np.nan,
        "seen": float(weights.sum() / (span.end - span.start)),
    }


def _rms_sd(source: str | None, weights: np.ndarray, off: np.ndarray, sd: np.ndarray) -> float:
    if source == "reconstructed":
        return reconstructed_hold_sd(weights, off, sd)
    rms, mean, _ = moments(weights, off, sd)
    return probe_hold_sd(rms, mean) if np.isfinite(rms) else np.nan


def _overall(bed: _Bed, spans: list[RestSpan], rows: dict[int, dict[str, float]]) -> dict[str, float]:
    """Measures over several rests as if they were one, each against its own rest temperature."""
    weights, off, sd = np.empty(0), np.empty(0), np.empty(0)
    length = lead_sum = lead_time = 0.0
    for span in spans:
        own = time_weights(bed.elapsed, span.start, span.end)
        keep = own > 0
        weights = np.concatenate([weights, own[keep]])
        off = np.concatenate([off, bed.temp[keep] - span.temp])
        sd = np.concatenate([sd, bed.sd[keep]])
        both = keep & np.isfinite(bed.base)
        lead_sum += float(own[both] @ (bed.base[both] - bed.temp[both]))
        lead_time += float(own[both].sum())
        length += span.end - span.start
    rms, mean, spread = moments(weights, off, sd)
    late = [rows[span.rest]["lateness"] for span in spans]
    ramps = [rows[span.rest] for span in spans if np.isfinite(rows[span.rest]["ramp_rate"])]
    ramp_time = sum(row["ramp_time"] for row in ramps)
    return {
        "hold_rms": rms,
        "hold_rms_sd": _rms_sd(bed.source, weights, off, sd) if weights.size else np.nan,
        "hold_bias": mean,
        "hold_sd": spread,
        "within_half": share_within(weights, off, sd, 0.5),
        "within_one": share_within(weights, off, sd, 1.0),
        "overshoot": max(0.0, float(off.max())) if off.size else np.nan,
        "lateness": float(np.mean(late)) if late and np.isfinite(late).all() else np.nan,
        "ramp_time": ramp_time if ramps else np.nan,
        "ramp_rate": sum(row["ramp_rate"] * row["ramp_time"] for row in ramps) / ramp_time if ramps else np.nan,
        "lead": lead_sum / lead_time if lead_time > 0 else np.nan,
        "seen": float(weights.sum()) / length if length > 0 else np.nan,
    }


def _mash_time(asked: list[AskedRest], marks: Marks, planned: bool, logged: bool) -> tuple[float, str]:
    if not np.isfinite(marks.mash_in):
        return np.nan, "mash-in is neither recorded nor to be found in the trace"
    outs = [one.change for one in asked if one.purpose == "mash-out" and np.isfinite(one.change)]
    if planned and not (outs or logged or np.isfinite(marks.mash_out)):
        return np.nan, "a mash-out was planned, but its beginning is neither recorded nor to be found in the trace"
    end = min([value for value in (marks.mash_out, *outs, marks.lift) if np.isfinite(value)], default=np.nan)
    if not np.isfinite(end):
        return np.nan, "neither mash-out nor the lift is recorded or to be found in the trace"
    return (end - marks.mash_in) / 60, ""


def _mash_out(
    brew: Brew, bed: _Bed, asked: list[AskedRest], spans: tuple[RestSpan, ...], marks: Marks, last: float
) -> tuple[float, str]:
    """1, 0 or NaN with a reason: was the bed within 1 K of the mash-out rest for five minutes or more?"""
    temps = [one.rest.temp for one in asked if one.purpose == "mash-out"] or [
        rest.temp for rest, word in zip(brew.rests, purposes(brew.rests), strict=True) if word == "mash-out"
    ]
    if not temps:
        known = bool(spans) or bool(brew.rests)
        return (0.0, "") if known else (np.nan, "neither a plan nor a logged target tells whether there was a mash-out")
    if bed.source is None:
        return np.nan, _NO_BED
    # what an earlier rest at the same temperature did is not a mash-out
    start = max([span.end for span in spans if span.counts], default=marks.mash_in)
    end = marks.lift if np.isfinite(marks.lift) else last
    if not start < end:
        return np.nan, "the stretch of the mash-out is neither recorded nor to be found in the trace"
    weights = time_weights(bed.elapsed, start, end)
    seen = float(weights.sum())
    near = seen * share_within(weights, bed.temp - temps[-1], bed.sd, 1.0) if seen > 0 else 0.0
    if near >= MASH_OUT_TIME - 1e-6:
        return 1.0, ""
    if near + end - start - seen < MASH_OUT_TIME:
        return 0.0, ""
    return np.nan, f"the bed was not seen for {(end - start - seen) / 60:.0f} min of the mash-out"


def _rest_frame(brew: Brew, spans: tuple[RestSpan, ...], rows: dict[int, dict[str, float]]) -> pd.DataFrame:
    planned = {rest.rest: (rest.purpose, rest.temp) for rest in brew.rests}
    planned.update({span.rest: (span.purpose, span.temp) for span in spans})
    at = {span.rest: span for span in spans}
    nothing = dict.fromkeys(MEASURES, np.nan)
    records = [
        {
            "rest": number,
            "purpose": purpose,
            "temp": temp,
            "start": at[number].start if number in at else np.nan,
            "end": at[number].end if number in at else np.nan,
            **rows.get(number, nothing),
        }
        for number, (purpose, temp) in planned.items()
    ]
    columns = ["rest", "purpose", "temp", "start", "end", *MEASURES]
    return pd.DataFrame(records, columns=columns).set_index("rest").sort_index()


def _notes(brew: Brew, trace: pd.DataFrame, marks: Marks, spans: tuple[RestSpan, ...], silent: tuple) -> list[str]:
    notes = []
    levels, logged = mash_levels(brew, marks, trace)
    pairs = match_levels(levels, brew.rests) if brew.rests else {}
    if logged and brew.rests:
        notes += [
            f"A rest at {level.temp:.1f} degC, {level.start / 60:.0f} to {level.end / 60:.0f} min, is not in the plan "
            "and does not count."
            for k, level in enumerate(levels)
            if k not in pairs and k > min(pairs, default=0)
        ]
    if not logged and spans:
        notes.append("The controller's target was not logged: changes of target are told from the temperatures.")
    blind = [one for one in silent if one.followed == "base"]
    if blind:
        minutes = sum(one.end - one.start for one in blind) / 60
        notes.append(
            f"While the bed probe was silent the controller followed the base ({len(blind)} times, {minutes:.0f} min)."
        )
    if not np.isfinite(marks.lift) and spans:
        notes.append("The lift is neither recorded nor to be found: the last rest ends with the trace.")
    return notes


def _nothing(brew: Brew, reason: str) -> Hold:
    names = [name for name in MEASURES if name != "ramp_time"] + ["mash_time", "mash_out"]
    overall = pd.Series({**dict.fromkeys(names, np.nan), "hold_from": None}, dtype=object)
    control, source, _ = tell_control(brew)
    frame = _rest_frame(brew, (), {})
    return Hold(brew.label, frame, overall, dict.fromkeys(names, reason), _units(), control, source)


def _units() -> dict[str, str]:
    return {**{name: unit_of(name) for name in (*MEASURES, "temp", "mash_time", "mash_out")}, "start": "s", "end": "s"}


def hold(brew: Brew, mash: pd.DataFrame | None = None) -> Hold:
    """How tightly the rests of a brew were held, per rest and over the brew.

    The bed temperature is that of the probe in the bed, or the reconstructed one that is handed in. It is never taken
    from the base sensor: without probe and reconstruction the values are missing, with the reason. Stretches that were
    not seen for more than five minutes are not bridged; readings of a probe that slipped out of the bed are left out.

    Parameters
    ----------
    brew : Brew
    mash : pandas.DataFrame, optional
        Reconstructed bed temperature, used in place of the probe's: columns `elapsed` [s], rising, `mash_temp` [degC]
        and `sd` [K].

    Returns
    -------
    Hold

    Raises
    ------
    ValueError
        If `mash` lacks a column or its times do not rise.

    Notes
    -----
    A rest runs from the moment the controlling sensor first comes within 0.5 K of the rest temperature (planned, else
    the controller's target), or from the recorded `rest` event, to the next change of target or the lift. With the
    deviation d(t) = bed temperature minus rest temperature [K] and the time mean < > over the seen part of the rest, in
    which each sample stands for half the interval on both sides and intervals longer than five minutes for none:

    - `hold_rms`: tightness T = sqrt(<d^2>) [K]; with a reconstructed bed sqrt(<d^2 + sd^2>).
    - `hold_bias`: m = <d> [K]. `hold_sd`: sqrt(T^2 - m^2) [K].
    - `hold_rms_sd`: of a probe sqrt((|m|/T x 0.15)^2 + 0.02^2) [K], of a reconstruction see `reconstructed_hold_sd`.
    - `within_half`, `within_one`: share of the seen time with \\|d\\| at most 0.5 K and 1 K [1].
    - `overshoot`: largest d, 0 if never positive [K].
    - `lateness`: from the start of the rest until the bed first comes within 0.5 K, the rest's length if it never does
      [min]; missing where a gap hides the arrival.
    - `ramp_time`: from the change of target to the bed's first coming within 0.5 K of the new rest temperature [min];
      `ramp_rate`: what the bed rose meanwhile, over that time [K/min]. The first rest has neither.
    - `lead`: <base minus bed> where both are known [K].
    - `seen`: seen time over the length of the rest [1].

    The brew's values are over all rests but mash-in and mash-out as if they were one stretch, each rest against its own
    temperature; `lateness` is the mean of the rests', `ramp_rate` the sum of the rises over the sum of the times. They
    need half of that time to be seen. `mash_time` is from mash-in to the change to mash-out or the lift [min];
    `mash_out` is 1 if the bed was within 1 K of the mash-out rest for five minutes or more, else 0.

    Examples
    --------
    >>> from brewlog.logbook.records import Rest
    >>> trace = pd.DataFrame({"elapsed": [0.0, 60.0, 120.0], "set_temp": 64.0, "mash_temp": [63.6, 63.8, 64.0]})
    >>> brew = Brew("1", heater_follows="mash", rests=(Rest("1", 1, 64.0),), load_trace=lambda: (trace, (), ()))
    >>> round(hold(brew).overall["hold_rms"], 4)  # sqrt((0.4^2 + 2 x 0.2^2 + 0) / 4)
    0.2449
    """
    trace = brew.trace
    if trace is None or not len(trace):
        return _nothing(brew, "no trace of this brew")
    marks = find_marks(brew)
    bed = _bed(brew, trace, mash, marks)
    control, source, why_not = tell_control(brew)
    asked = asked_rests(brew, marks, trace)
    spans = match_rests(brew, mash)
    rows = {span.rest: _measure(bed, span) for span in spans}
    counted = [span for span in spans if span.counts]
    overall: dict[str, Any] = _overall(bed, counted, rows)
    del overall["ramp_time"]
    reasons: dict[str, str] = {}
    silent = dropouts(brew, spans[0].start, spans[-1].end) if spans and bed.source == "probe" else ()
    notes = _notes(brew, trace, marks, spans, silent)
    notes += [
        f"From {low / 60:.0f} to {high / 60:.0f} min the probe read far too cold: taken as out of the bed, left out."
        for low, high in bed.outside
        if high < marks.lift - 120.0  # that it is pulled out for the lift need not be said
    ]

    blocked = ""
    if not control_samples(brew, trace, mash)[0].size and not spans:
        sensor = f"the controller followed the {control}, which was not logged" if control else "no sensor was logged"
        blocked = f"{sensor}, and no rest is recorded in events.csv"
    elif not spans:
        blocked = "no rest was found: neither rests.csv nor a logged target fits the trace"
    elif not counted:
        blocked = "no rest but mash-in and mash-out was found"
    elif bed.source is None:
        blocked = _NO_BED
    elif not overall["seen"] >= LEAST_SEEN:
        blocked = f"the bed was seen for only {100 * overall['seen']:.0f} % of the rests"
    if blocked:
        for name in overall:
            if name != "seen" or not np.isfinite(overall["seen"]):
                overall[name] = np.nan
                reasons[name] = blocked
    for name, cause in (
        ("lateness", "a gap of more than five minutes hides when the bed arrived"),
        ("ramp_rate", "no ramp between two of these rests was seen from its start to the bed's arrival"),
        ("lead", "the base temperature was not logged"),
    ):
        if not np.isfinite(overall[name]):
            reasons.setdefault(name, cause)
    planned_out = "mash-out" in purposes(brew.rests)
    overall["mash_time"], cause = _mash_time(asked, marks, planned_out, "set_temp" in trace)
    if cause:
        reasons["mash_time"] = cause
    last = float(trace["elapsed"].iloc[-1])
    overall["mash_out"], cause = _mash_out(brew, bed, asked, spans, marks, last)
    if cause:
        reasons["mash_out"] = cause
    overall["hold_from"] = bed.source if np.isfinite(overall["hold_rms"]) else None
    if why_not and spans:
        notes.append(f"Which sensor the controller followed is not known ({why_not}); rests start with the base.")
    ran = {span.rest for span in spans}
    for rest in brew.rests:
        if rest.rest not in ran:
            reasons[f"rest {rest.rest}"] = (
                f"no stretch at {rest.temp:.1f} degC that the controlling sensor reached was found"
            )
        elif not rows[rest.rest]["seen"] > 0:
            reasons[f"rest {rest.rest}"] = blocked or "the bed was not seen during this rest"
    frame = _rest_frame(brew, spans, rows)
    series = pd.Series(overall, dtype=object)
    return Hold(brew.label, frame, series, reasons, _units(), control, source, silent, tuple(notes))
