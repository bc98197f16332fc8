"""One mash fitted again with a flow that falls steadily as the bed settles, and with a step of the bed probe."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from brewlog.rig.daily import DayFit, fit_mash
from brewlog.rig.fitting import ModelFit, correlation_length, modelled
from brewlog.rig.flow import WINDOW, slopes_of
from brewlog.rig.linear import Model
from brewlog.rig.series import Series

RATES = (-0.2, 0.0, 0.2, 0.4, 0.6, 0.8)
"""Falls of the flow's logarithm that are tried first; the best is then placed among its neighbours halfway. [1/h]"""
ENDS = 600.0
"""A step is looked for so far from both ends of a stretch. [s]"""
LEAST_READINGS = 60
"""Of the probe, so that a step can be looked for."""
UNSEEN = 1e-3
"""A step of which the constants can mimic all but this part of its squares cannot be told. [1]"""
_SMALL = 0.01
"""Of the derivative by differences. [1/h]"""


@dataclass(frozen=True, slots=True)
class Step:
    """The step in the probe's readings that explains the residuals of one stretch best."""

    at: float
    """[s]"""
    size: float
    """[K]"""
    sd: float
    """Correlated residuals counted once. [K]"""
    rms: float = float("nan")
    """Root mean square of what a fit leaves of the stretch once the step is taken away, both sensors. [K]"""

    @property
    def sigmas(self) -> float:
        """Size in units of its sd."""
        return abs(self.size) / self.sd if self.sd > 0 else float("inf")


def best_step(fit: ModelFit, index: int, settling: bool = False, taken: Step | None = None) -> Step | None:
    """Step in the probe's readings that lowers the squares of the residuals of one stretch most.

    What the constants of the fit have taken up of a step is given back: it is judged by its part that they, and with
    `settling` a flow that falls steadily, cannot mimic. None where the probe was read too little.

    Parameters
    ----------
    fit : ModelFit
    index : int
        Of the stretch.
    settling : bool
        Whether the flow may fall steadily.
    taken : Step, optional
        Step that was taken away before the fit, and is looked for again.
    """
    series, rest = fit.series[index], fit.residuals[index] + _course(fit.series[index], taken)
    good = np.isfinite(rest)
    t = series.elapsed
    if good[:, 1].sum() < LEAST_READINGS or t[-1] - t[0] < 4 * ENDS:
        return None
    follows = slopes_of(series, fit, index)
    if settling:
        follows = np.concatenate([follows, _slope_of_settling(fit, index)[..., None]], axis=-1)
    basis, _ = np.linalg.qr(follows[good])
    r = rest[good] - basis @ (basis.T @ rest[good])
    best = None
    for at in np.arange(t[0] + ENDS, t[-1] - ENDS, 60.0):
        step = np.zeros(rest.shape)
        step[t > at, 1] = 1.0
        c = step[good]
        c = c - basis @ (basis.T @ c)
        square = float(c @ c)
        if square < UNSEEN * good[:, 1].sum():
            continue
        pull = float(c @ r)
        if best is None or pull**2 / square > best[0]:
            best = pull**2 / square, float(at), pull / square, square, r - c * pull / square
    if best is None:
        return None
    _, at, size, square, after = best
    return Step(at, size, float(np.sqrt(after.var() * correlation_length(after) / square)))


def step_beside_settling(day: DayFit, model: Model, index: int) -> Step | None:
    """Best step of one stretch of a mash whose flow may fall, or rise, steadily while the bed settles.

    None where there is no such step, or the mash cannot be fitted again.

    Parameters
    ----------
    day : DayFit
        With base sensor and bed probe in the mash.
    model : Model
    index : int
        Of the stretch.

    Notes
    -----
    The mash is fitted again with the logarithm of its flow falling at some rates, its lag free: a lag shared by the
    rig's brews may itself be bent to a flow that falls. The rate is taken at which the least remains after the step, so
    that neither explains away the other. Rests on this brew alone, but for the model of the bed, which one or two brews
    may choose wrongly: a step then comes out less clear.
    """
    found: dict[float, Step | None] = {}

    def remains(rate: float) -> float:
        if rate not in found:
            found[rate] = _step_at(day, model, index, rate)
        step = found[rate]
        return float("inf") if step is None else step.rms

    best = min(RATES, key=remains)
    half = (RATES[1] - RATES[0]) / 2
    return found[min((best - half, best, best + half), key=remains)]


def _step_at(day: DayFit, model: Model, index: int, rate: float) -> Step | None:
    """Best step where the flow falls at a given rate, and what remains once the mash is fitted without it."""
    assert day.mash is not None
    first = best_step(day.mash, index)  # a fit that has to follow a large step would be far from where it ends
    without = None if first is None else settled(day, model, rate, first)
    step = None if without is None else best_step(without, index, True, first)
    after = None if step is None else settled(day, model, rate, step)
    if step is None or after is None:
        return None
    return replace(step, rms=float(np.sqrt(np.nanmean(after.residuals[index] ** 2))))


def settled(day: DayFit, model: Model, rate: float, step: Step | None = None) -> ModelFit | None:
    """Fit of a mash whose flow falls steadily, with a step of the probe taken away; None where it cannot be had.

    Parameters
    ----------
    day : DayFit
    model : Model
    rate : float
        Fall of the flow's logarithm. [1/h]
    step : Step, optional
    """
    assert day.mash is not None
    begin = day.mash.series[0].elapsed[0]
    series = [
        replace(s, coupling=s.coupling * falling(s, begin, rate), readings=s.readings - _course(s, step))
        for s in day.mash.series
    ]
    try:
        powered = day.day.power is not None
        return fit_mash(series, model, day.inventory, day.day.room_sd, day.mash.constants, (), powered)
    except (ValueError, np.linalg.LinAlgError):
        return None


def _course(series: Series, step: Step | None) -> np.ndarray:
    """What a step adds to the readings, shape (rows, 2). [K]"""
    out = np.zeros(series.readings.shape)
    if step is not None:
        out[series.elapsed > step.at, 1] = step.size
    return out


def falling(series: Series, begin: float, rate: float) -> np.ndarray:
    """Part of the flow at `begin` [s] that is left, per row, where its logarithm falls by `rate` [1/h].

    In treads of five minutes: every flow needs a matrix exponential of its own.

    Examples
    --------
    >>> from brewlog.rig.series import make_series
    >>> mash = make_series([0.0, 1800.0, 3600.0], 0.0, base_temp=[65.0, 65.0, 65.0])
    >>> falling(mash, 0.0, 0.2).round(3)
    array([1.   , 0.905, 0.819])
    """
    hours = np.round((series.elapsed - begin) / WINDOW) * WINDOW / 3600
    return np.exp(-rate * hours)


def _slope_of_settling(fit: ModelFit, index: int) -> np.ndarray:
    """Change of the readings of one stretch per unit of the rate at which the flow falls, shape (rows, 2). [K h]"""
    series, at = fit.series[index], (fit.constants, fit.starts[index], float(fit.room_shift[index]))
    more = replace(series, coupling=series.coupling * falling(series, fit.series[0].elapsed[0], _SMALL))
    return (modelled(fit.model, more, *at) - modelled(fit.model, series, *at)) / _SMALL
