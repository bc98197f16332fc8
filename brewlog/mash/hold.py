"""How tightly the rests of a brew were held."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from brewlog.logbook.records import Brew
from brewlog.mash.asked import asked_rests, purposes
from brewlog.mash.bed import NO_BED, Bed, bed_of
from brewlog.mash.control import Dropout, dropouts, mash_levels, tell_control
from brewlog.mash.levels import match_levels
from brewlog.mash.marks import Marks, find_marks
from brewlog.mash.mash_times import mash_out, mash_time
from brewlog.mash.rest_measures import MEASURES, overall_measures, rest_measures
from brewlog.mash.stages import RestSpan, control_samples, match_rests
from brewlog.plain import plain
from brewlog.quantities import unit_of

LEAST_SEEN = 0.5
"""A brew's tightness needs the bed to be known for at least this share of its rests. [1]"""


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
        rests = [{"rest": int(str(number)), **plain(row)} for number, row in self.rests.iterrows()]
        overall = plain(self.overall)
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
        ran = (spans[-1].end - spans[-1].start) / 60
        planned = next((rest.time for rest in brew.rests if rest.rest == spans[-1].rest), None)
        short = f", after {ran:.0f} of {planned:.0f} planned minutes" if planned and ran < 0.9 * planned else ""
        notes.append(f"The lift is neither recorded nor to be found: the last rest ends with the trace{short}.")
    return notes


def _blocked(
    brew: Brew,
    trace: pd.DataFrame,
    mash: pd.DataFrame | None,
    bed: Bed,
    spans: tuple[RestSpan, ...],
    control: str | None,
    seen: float,
) -> str:
    """Why the brew has no tightness at all; empty where it has one."""
    if not control_samples(brew, trace, mash)[0].size and not spans:
        sensor = f"the controller followed the {control}, which was not logged" if control else "no sensor was logged"
        return f"{sensor}, and no rest is recorded in events.csv"
    if not spans:
        return "no rest was found: neither rests.csv nor a logged target fits the trace"
    if not any(span.counts for span in spans):
        return "no rest but mash-in and mash-out was found"
    if bed.source is None:
        return NO_BED
    return "" if seen >= LEAST_SEEN else f"the bed was seen for only {100 * seen:.0f} % of the rests"


def _missing(overall: Mapping[str, float], blocked: str) -> dict[str, str]:
    """Reason of each value of the brew that cannot be shown."""
    reasons = {}
    if blocked:
        reasons = {name: blocked for name in overall if name != "seen" or not np.isfinite(overall["seen"])}
    for name, cause in (
        ("lateness", "a gap of more than five minutes hides when the bed arrived"),
        ("ramp_rate", "no ramp between two of these rests was seen from its start to the bed's arrival"),
        ("lead", "the base temperature was not logged"),
    ):
        if not np.isfinite(overall[name]):
            reasons.setdefault(name, cause)
    return reasons


def _rests_without(
    brew: Brew, spans: tuple[RestSpan, ...], rows: Mapping[int, Mapping[str, float]], blocked: str
) -> dict[str, str]:
    """Reason of each planned rest that did not run or was not seen, under `rest 2` and so on."""
    reasons = {}
    ran = {span.rest for span in spans}
    for rest in brew.rests:
        name = f"rest {rest.rest}"
        if rest.rest not in ran:
            reasons[name] = f"no stretch at {rest.temp:.1f} degC that the controlling sensor reached was found"
        elif not rows[rest.rest]["seen"] > 0:
            reasons[name] = blocked or "the bed was not seen during this rest"
    return reasons


def _probe_notes(bed: Bed, marks: Marks) -> list[str]:
    return [
        f"From {low / 60:.0f} to {high / 60:.0f} min the probe read far too cold: taken as out of the bed, left out."
        for low, high in bed.outside
        if high < marks.lift - 120.0  # that it is pulled out for the lift need not be said
    ]


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
    bed = bed_of(brew, trace, mash, marks)
    control, source, why_not = tell_control(brew)
    asked = asked_rests(brew, marks, trace)
    spans = match_rests(brew, mash)
    rows = {span.rest: rest_measures(bed, span) for span in spans}
    counted = [span for span in spans if span.counts]
    overall: dict[str, Any] = overall_measures(bed, counted, rows)
    del overall["ramp_time"]
    blocked = _blocked(brew, trace, mash, bed, spans, control, overall["seen"])
    reasons = _missing(overall, blocked)
    for name in reasons:
        overall[name] = np.nan
    planned_out = "mash-out" in purposes(brew.rests)
    last = float(trace["elapsed"].iloc[-1])
    for name, (value, cause) in {
        "mash_time": mash_time(asked, marks, planned_out, "set_temp" in trace),
        "mash_out": mash_out(brew, bed, asked, spans, marks, last),
    }.items():
        overall[name] = value
        if cause:
            reasons[name] = cause
    overall["hold_from"] = bed.source if np.isfinite(overall["hold_rms"]) else None
    reasons |= _rests_without(brew, spans, rows, blocked)
    silent = dropouts(brew, spans[0].start, spans[-1].end) if spans and bed.source == "probe" else ()
    notes = [*_notes(brew, trace, marks, spans, silent), *_probe_notes(bed, marks)]
    if why_not and spans:
        notes.append(f"Which sensor the controller followed is not known ({why_not}); rests start with the base.")
    frame = _rest_frame(brew, spans, rows)
    series = pd.Series(overall, dtype=object)
    return Hold(brew.label, frame, series, reasons, _units(), control, source, silent, tuple(notes))
