"""Two loggers whose clocks differ: temperatures that come later or earlier than the power says."""

from __future__ import annotations

import numpy as np

from brewlog.logbook.records import Brew
from brewlog.rig.fitting import ModelFit, correlation_length, modelled
from brewlog.rig.notice import Finding
from brewlog.rig.rigfit import RigFit


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
