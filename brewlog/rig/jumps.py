"""A bed probe whose readings jump, or that has slipped out of the bed."""

from __future__ import annotations

import numpy as np

from brewlog.logbook.records import Brew
from brewlog.rig.fitting import ModelFit, correlation_length
from brewlog.rig.flow import slopes_of
from brewlog.rig.notice import HOT, Finding
from brewlog.rig.rigfit import RigFit

JUMP = 0.9
"""Least jump of the probe's offset that is reported. [K]"""


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
            f"(±{1.96 * sd:.1f}) while base sensor and heater did not. It was moved, its seat got wet, or its cable "
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
