"""Watch over a rig: heater drifting over months, a bed that sets within a brew, a probe that jumps, clocks that differ.

Every finding is a record with the brew, the stretch, the size with its range, and a sentence that says what to do.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date as Date

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from brewlog.logbook.records import Brew
from brewlog.rig.constants import RigFit
from brewlog.rig.fitting import ModelFit, correlation_length, modelled
from brewlog.rig.flow import FlowCourse, flow_course, slopes_of

MAINS = "Mains power can kill: leave the inside of plugs, cables and heater to an electrician."
HOT = "Wort at mash temperature scalds: switch heater and pump off before you reach in."

BLOCKED = 0.6
"""A bed counts as blocked while its flow is below this part of the brew's usual flow; half with a margin. [1]"""
BLOCKED_MINUTES = 10.0
JUMP = 0.9
"""Least jump of the probe's offset that is reported. [K]"""
LEAST_DRIFT_BREWS = 6


@dataclass(frozen=True, slots=True)
class Finding:
    """Something about a rig that its brewer should know."""

    kind: str
    """`heater drift`, `heater outlier`, `blocked bed`, `probe jump`, `probe out of bed` or `clocks differ`."""
    brew: str | None
    """Label; None where the rig as a whole is meant."""
    start: float | None
    """[s]"""
    end: float | None
    """[s]"""
    size: float
    """In per cent for drift and outlier, part of the usual flow, K for jumps, s for clocks."""
    low: float
    high: float
    sentence: str

    def __str__(self) -> str:
        return self.sentence


def watch_rig(fit: RigFit, brews: Sequence[Brew]) -> tuple[Finding, ...]:
    """Everything the watch finds on one rig, in order of the brews.

    Parameters
    ----------
    fit : RigFit
    brews : sequence of Brew
        Of this rig; the order in time is taken from their dates.

    Returns
    -------
    tuple of Finding
        Empty where all is as usual.
    """
    dates = {b.label: b.date for b in brews}
    found: list[Finding] = []
    drift = heater_drift(fit, dates)
    if drift is not None and (drift.low > 0 or drift.high < 0) and abs(drift.size) >= 2:
        found.append(drift)
    found += heater_outliers(fit)
    for brew in brews:
        blocked = blocked_bed(brew, fit)
        found += blocked
        if not blocked:  # a blocked bed makes the probe part from the base as a jump would
            found += probe_jump(brew, fit)
        found += probe_out(brew, fit)
        found += clocks(brew, fit)
    return tuple(found)


def heater_drift(fit: RigFit, dates: Mapping[str, Date | None]) -> Finding | None:
    """Change of the heater's effective power over the log, with its interval.

    Parameters
    ----------
    fit : RigFit
    dates : mapping of str to date or None
        Brews without a date are left out.

    Returns
    -------
    Finding or None
        Size = change from the first to the last brew; None with fewer than six dated brews or no heater share.

    Notes
    -----
    Straight line through the logarithms of the per-brew shares against the date, two passes of Huber weights, t
    interval. Mains voltage makes single brews scatter; the line averages it.
    """
    name = "heat_share" if "heat_share" in fit.per_brew else "effective_power"
    if name not in fit.per_brew:
        return None
    shares = fit.per_brew[name].dropna().astype(float)
    dated = ((dates.get(str(label)), float(share)) for label, share in shares.items())
    known = [(day.toordinal(), share) for day, share in dated if day is not None]
    if len(known) < LEAST_DRIFT_BREWS:
        return None
    days = np.array([day for day, _ in known], dtype=float)
    span = days.max() - days.min()
    if span <= 0:
        return None
    slope, sd, dof = _line((days - days.min()) / span - 0.5, np.log([s for _, s in known]))
    half = float(stdtrit(dof, 0.975)) * sd
    size, low, high = (100 * (np.exp(v) - 1) for v in (slope, slope - half, slope + half))
    direction = "lost" if size < 0 else "gained"
    sentence = (
        f"Rig {fit.rig!r}: the heater {direction} {abs(size):.1f} % of its effective power over "
        f"{span / 30.4:.0f} months (95 % range {low:+.1f} to {high:+.1f} %, {len(known)} brews). "
    )
    if size < 0:
        sentence += f"Look for scale on the element or a long cable; have plug and contacts checked. {MAINS}"
    else:
        sentence += "Check what changed: the socket, the cable, or how litres are measured."
    return Finding("heater drift", None, None, None, float(size), float(low), float(high), sentence)


def _line(x: np.ndarray, y: np.ndarray) -> tuple[float, float, int]:
    """Slope of a robust straight line, its sd and degrees of freedom."""
    w = np.ones(x.size)
    slope, sd = 0.0, float("nan")
    for _ in range(3):
        a = np.column_stack([np.ones(x.size), x])
        cov = np.linalg.inv(a.T @ (w[:, None] * a))
        beta = cov @ a.T @ (w * y)
        rest = y - a @ beta
        variance = float((w * rest**2).sum() / max(w.sum() - 2, 1))
        slope, sd = float(beta[1]), float(np.sqrt(variance * cov[1, 1]))
        limit = 2.5 * max(1.4826 * float(np.median(np.abs(rest))), 1e-6)
        w = np.minimum(1.0, limit / np.maximum(np.abs(rest), 1e-12))
    return slope, sd, max(x.size - 2, 1)


def control_chart(values: pd.Series) -> pd.DataFrame:
    """Chart of single values: centre and limits from the mean moving range.

    Parameters
    ----------
    values : pandas.Series
        In order of time, no NaN.

    Returns
    -------
    pandas.DataFrame
        Index of `values`; value, centre, low, high, out (True outside the limits).

    References
    ----------
    .. [1] W. A. Shewhart, "Economic control of quality of manufactured product", 1931; limits centre +- 2.66 x mean
       moving range.

    Examples
    --------
    >>> control_chart(pd.Series([1.0, 1.1, 1.0, 1.1, 2.0, 1.0]))["out"].tolist()
    [False, False, False, False, False, False]
    """
    v = values.astype(float)
    spread = 2.66 * float(v.diff().abs().mean()) if len(v) > 1 else float("nan")
    centre = float(v.mean())
    frame = pd.DataFrame({"value": v, "centre": centre, "low": centre - spread, "high": centre + spread})
    frame["out"] = (v < frame["low"]) | (v > frame["high"])
    return frame


def heater_outliers(fit: RigFit) -> list[Finding]:
    """Brews whose heater share lies outside the limits of the control chart; none with fewer than six brews."""
    if "heat_share" not in fit.per_brew:
        return []
    shares = fit.per_brew["heat_share"].dropna().astype(float)
    if len(shares) < LEAST_DRIFT_BREWS:
        return []
    chart = control_chart(shares)
    out = []
    for label, row in chart[chart["out"]].iterrows():
        size = 100 * (row["value"] / row["centre"] - 1)
        limit = 100 * (row["high"] / row["centre"] - 1)
        sentence = (
            f"Brew {label}: the water warmed as if the heater had given {size:+.0f} % (usual scatter +-{limit:.0f} %). "
            f"Check the litres written down for this brew first, then the mains. {MAINS}"
        )
        out.append(Finding("heater outlier", str(label), None, None, float(size), -limit, limit, sentence))
    return out


def blocked_bed(brew: Brew, fit: RigFit) -> list[Finding]:
    """Stretches of a mash in which the bed let through half or less of its flow for ten minutes or more.

    Empty where the flow cannot be told (no trace, no base sensor, no power) or nothing of the kind is seen.

    Parameters
    ----------
    brew : Brew
    fit : RigFit
    """
    try:
        course = flow_course(brew, fit)
    except ValueError:
        return []
    found = []
    for first, last in blocked_stretches(course):
        inside = slice(first, last + 1)
        part = float(np.exp(np.mean(course.logs[inside] - course.baseline)))
        sd = float(np.mean(course.sds[inside]))
        low, high = part * np.exp(-1.96 * sd), part * np.exp(1.96 * sd)
        start, end = float(course.edges[first]), float(course.edges[last + 1])
        sentence = (
            f"Brew {brew.label}: from about {start / 60:.0f} to {end / 60:.0f} min the bed let through only "
            f"{100 * part:.0f} % of its usual flow (95 % range {100 * low:.0f} to {100 * high:.0f} %). Slow the pump, "
            f"loosen the bed, and keep the base from overheating. {HOT}"
        )
        found.append(Finding("blocked bed", brew.label, start, end, part, float(low), float(high), sentence))
    return found


def blocked_stretches(course: FlowCourse) -> list[tuple[int, int]]:
    """First and last window of every blocked stretch of a course of the flow.

    Blocked is a window whose flow is below six tenths of the brew's own usual flow and, one sd higher, still below nine
    tenths; without a bed probe, two sd higher still below seven tenths, because the base alone tells less. Ten minutes
    of such windows in a row make a stretch (windows are five minutes, so two may hold it).
    """
    logs = course.logs - course.baseline
    sure = logs + course.sds < np.log(0.9) if course.probe else logs + 1.96 * course.sds < np.log(0.7)
    hits = (logs < np.log(BLOCKED)) & sure
    out: list[tuple[int, int]] = []
    first = None
    for i, hit in enumerate([*hits, False]):
        if hit and first is None:
            first = i
        elif not hit and first is not None:
            if (course.edges[i] - course.edges[first]) / 60 >= BLOCKED_MINUTES - 2.5:
                out.append((first, i - 1))
            first = None
    return out


def probe_jump(brew: Brew, fit: RigFit) -> list[Finding]:
    """A lasting jump of the bed probe's reading against base sensor and power within one mash.

    Parameters
    ----------
    brew : Brew
    fit : RigFit
        Its own fit of this brew is used.

    Notes
    -----
    The step that lowers the squares of the residuals most, at least ten minutes from both ends, after the constants are
    allowed to move with it; reported from 0.9 K on and if it is four of its sd, correlated residuals counted once.
    """
    day = fit.days.get(brew.label)
    if day is None or day.mash is None or day.sees != "base and bed":
        return []
    out = []
    for index in range(len(day.mash.series)):
        step = _best_step(day.mash, index)
        if step is None:
            continue
        at, size, sd = step
        if abs(size) < JUMP or abs(size) < 4 * sd:
            continue
        sentence = (
            f"Brew {brew.label}: about {at / 60:.0f} min the bed probe jumped by {size:+.1f} K "
            f"(+-{1.96 * sd:.1f}) while base sensor and heater did not. It was moved, its seat got wet, or its cable "
            "is loose; check it in ice water (0 degC)."
        )
        out.append(Finding("probe jump", brew.label, at, None, size, size - 1.96 * sd, size + 1.96 * sd, sentence))
    return out


def _best_step(fit: ModelFit, index: int) -> tuple[float, float, float] | None:
    """Time, size and sd of the step in the probe's readings that explains the residuals of one series best.

    What the constants of the fit have taken up of a step is given back: the step is judged by its part that they cannot
    mimic.
    """
    series, rest = fit.series[index], fit.residuals[index]
    good = np.isfinite(rest)
    t = series.elapsed
    if good[:, 1].sum() < 60 or t[-1] - t[0] < 2400:
        return None
    basis, _ = np.linalg.qr(slopes_of(series, fit, index)[good])
    r = rest[good] - basis @ (basis.T @ rest[good])
    best = None
    for at in np.arange(t[0] + 600.0, t[-1] - 600.0, 60.0):
        step = np.zeros(rest.shape)
        step[t > at, 1] = 1.0
        c = step[good]
        c = c - basis @ (basis.T @ c)
        square = float(c @ c)
        if square < 1e-3 * good[:, 1].sum():
            continue
        pull = float(c @ r)
        if best is None or pull**2 / square > best[0]:
            best = pull**2 / square, float(at), pull / square, square, r - c * pull / square
    if best is None:
        return None
    _, at, size, square, after = best
    return at, size, float(np.sqrt(after.var() * correlation_length(after) / square))


def probe_out(brew: Brew, fit: RigFit) -> list[Finding]:
    """Stretches in which the probe had slipped out of the bed, as the mash room finds them."""
    day = fit.days.get(brew.label)
    if day is None:
        return []
    out = []
    lift = day.day.events.get("lift", np.inf)
    for first, last in day.day.outside:
        if last - first < 60 or last > lift - 120:
            continue  # pulled out for the lift
        sentence = (
            f"Brew {brew.label}: the bed probe was out of the bed from {first / 60:.0f} to {last / 60:.0f} min; its "
            f"readings are left out. A controller that follows it heats on in that time. {HOT}"
        )
        minutes = (last - first) / 60
        out.append(Finding("probe out of bed", brew.label, first, last, minutes, minutes, minutes, sentence))
    return out


def clocks(brew: Brew, fit: RigFit) -> list[Finding]:
    """Disagreement between the clock of the power (and set temperature) and that of the temperatures.

    Reported from 45 s on and if it is four of its sd. Empty where the brew was not fitted.

    Parameters
    ----------
    brew : Brew
    fit : RigFit
    """
    day = fit.days.get(brew.label)
    if day is None or day.mash is None or not np.isfinite(day.mash.series[0].readings[:, 0]).any():
        return []
    shift, sd = clock_shift(day.mash)
    if abs(shift) < 45 or abs(shift) < 4 * sd:
        return []
    later = "behind" if shift > 0 else "ahead of"
    sentence = (
        f"Brew {brew.label}: the temperatures run about {abs(shift):.0f} s {later} the power (+-{1.96 * sd:.0f}). "
        "Two loggers whose clocks differ? Set both to one clock; constants of this brew lean on the wrong times."
    )
    return [Finding("clocks differ", brew.label, None, None, shift, shift - 1.96 * sd, shift + 1.96 * sd, sentence)]


def clock_shift(fit: ModelFit) -> tuple[float, float]:
    """By how much the base sensor's clock runs behind that of the power, and its sd. [s]

    Notes
    -----
    Derivative of the base residuals to a shift of time: the slope of the modelled temperature. One Gauss-Newton step,
    with the curvature of the base (what slow constants could mimic) taken out by regression on the lead and the level.
    """
    shifts, weights = [], []
    for s, rest, start, room in zip(fit.series, fit.residuals, fit.starts, fit.room_shift, strict=True):
        base = modelled(fit.model, s, fit.constants, start, float(room))[:, 0]
        slope = np.gradient(base, s.elapsed)
        x = np.column_stack([-slope, np.ones_like(base), base - base.mean(), s.elapsed - s.elapsed.mean()])
        good = np.isfinite(rest[:, 0])
        if good.sum() < 60:
            continue
        x, y = x[good], rest[good, 0]
        scale = np.maximum(np.abs(x).max(axis=0), 1e-12)
        q = x / scale
        cov = np.linalg.pinv(q.T @ q)
        beta = cov @ q.T @ y
        after = y - q @ beta
        variance = float(after.var()) * correlation_length(after) * cov[0, 0]
        shifts.append(float(beta[0] / scale[0]))
        weights.append(scale[0] ** 2 / max(variance, 1e-12))
    if not shifts:
        return 0.0, float("inf")
    w = np.array(weights)
    return float(np.average(shifts, weights=w)), float(1 / np.sqrt(w.sum()))
