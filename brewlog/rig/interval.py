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


def far_off(values: ArrayLike, limit: float = 6.0) -> np.ndarray:
    """Which values lie further than `limit` robust sd from the median; never with fewer than five values.

    Examples
    --------
    >>> far_off([1.0, 1.1, 0.9, 1.0, 1.05, 9.0]).tolist()
    [False, False, False, False, False, True]
    """
    v = np.asarray(values, dtype=float)
    good = np.isfinite(v)
    if good.sum() < 5:
        return np.zeros(v.shape, dtype=bool)
    centre = np.median(v[good])
    spread = 1.4826 * np.median(np.abs(v[good] - centre))
    return good & (np.abs(v - centre) > limit * max(spread, 1e-12))
