"""Intervals from the spread between brews."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtrit


class Interval(NamedTuple):
    """Mean of per-brew estimates with its t interval."""

    estimate: float
    sd: float
    low: float
    high: float
    brews: int


def over_brews(values: ArrayLike, single_sd: float | None = None, level: float = 0.95) -> Interval:
    """Mean over brews and its t interval.

    NaN are left out. With one value the interval rests on `single_sd`, without that it is NaN.

    Parameters
    ----------
    values : array_like
        One estimate per brew.
    single_sd : float, optional
        Sd of a single brew's estimate, widened for correlated residuals.
    level : float
        Of the interval, above 0 and below 1.

    Returns
    -------
    Interval

    Notes
    -----
    The residuals of one brew do not know how brews differ; the spread of the per-brew estimates does.

    Examples
    --------
    >>> over_brews([1.0, 2.0, 3.0])
    Interval(estimate=2.0, sd=0.57..., low=-0.48..., high=4.48..., brews=3)
    """
    good = np.asarray(values, dtype=float)
    good = good[np.isfinite(good)]
    if good.size == 0:
        return Interval(float("nan"), float("nan"), float("nan"), float("nan"), 0)
    mean = float(good.mean())
    if good.size == 1:
        sd = float("nan") if single_sd is None else float(single_sd)
        half = float(ndtri((1 + level) / 2)) * sd
        return Interval(mean, sd, mean - half, mean + half, 1)
    sd = float(good.std(ddof=1) / np.sqrt(good.size))
    half = float(stdtrit(good.size - 1, (1 + level) / 2)) * sd
    return Interval(mean, sd, mean - half, mean + half, int(good.size))


FAR = ((5, 6, 8, 10, 15, 20), (27.0, 14.0, 10.0, 8.0, 7.0, 6.0))
"""Number of values, and robust sd from their median that the furthest of so many normal values exceeds in 0.5 % of
200 000 draws: a robust sd of few values is often much too small, and every value left out narrows the interval."""


def far_off(values: ArrayLike) -> np.ndarray:
    """Which values lie so far from the median as normal values hardly ever do; none with fewer than five values.

    Examples
    --------
    >>> far_off([1.0, 1.1, 0.9, 1.0, 1.05, 9.0]).tolist()
    [False, False, False, False, False, True]
    """
    v = np.asarray(values, dtype=float)
    good = np.isfinite(v)
    if good.sum() < FAR[0][0]:
        return np.zeros(v.shape, dtype=bool)
    limit = float(np.interp(good.sum(), *FAR))
    centre = np.median(v[good])
    spread = 1.4826 * np.median(np.abs(v[good] - centre))
    return good & (np.abs(v - centre) > limit * max(spread, 1e-12))
