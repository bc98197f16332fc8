"""Samples of a trace: which are known, how much time each stands for, when a temperature is first reached."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from brewlog.logbook.records import Brew

Samples = tuple[np.ndarray, np.ndarray]
"""Times [s] and values of the known samples of a channel."""

MAX_GAP = 300.0
"""Longest interval between two samples that is bridged. [s]"""

ARRIVAL_BAND = 0.5
"""A temperature has arrived when it is this close to the rest temperature. [K]"""

SETTLED = 600.0
"""A temperature that stays near the first rest for this long has settled. [s]"""

_SPOILT = ("gap", "dropout", "stuck", "error code", "spike", "out of range", "excursion")
_ROUNDING = 1e-9
_LARGEST_STEP = 5.0


def time_weights(
    elapsed: ArrayLike, start: float = -np.inf, end: float = np.inf, max_gap: float = MAX_GAP
) -> np.ndarray:
    """Time that each sample stands for: half the interval to its neighbour on both sides.

    An interval longer than `max_gap` belongs to no sample. Only the time between `start` and `end` counts. A single
    sample stands for no time.

    Parameters
    ----------
    elapsed : array_like, shape (n,)
        Times of the samples, rising. [s]
    start, end : float
        Stretch that is looked at. [s]
    max_gap : float
        Longest interval that is bridged. [s]

    Returns
    -------
    numpy.ndarray, shape (n,)
        [s]

    Examples
    --------
    >>> time_weights([0.0, 10.0, 30.0, 900.0])
    array([ 5., 15., 10.,  0.])
    >>> time_weights([0.0, 10.0, 30.0], start=10.0)
    array([ 0., 10., 10.])
    """
    times = np.asarray(elapsed, dtype=float)
    weights = np.zeros(times.size)
    if times.size < 2:
        return weights
    middle = (times[:-1] + times[1:]) / 2
    bridged = np.diff(times) <= max_gap + _ROUNDING
    low, split, high = (np.clip(edge, start, end) for edge in (times[:-1], middle, times[1:]))
    weights[:-1] += np.where(bridged, split - low, 0.0)
    weights[1:] += np.where(bridged, high - split, 0.0)
    return weights


def known_samples(brew: Brew, channel: str, trace: pd.DataFrame | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Times and values of a channel where it is known.

    Rows without a value are left out, and so are stretches that the reader found spoilt and left out
    (`brew.trace_faults`). Both arrays are empty where the channel was not logged.

    Parameters
    ----------
    brew : Brew
    channel : str
        Such as `mash_temp`.
    trace : pandas.DataFrame, optional
        The brew's trace where it is at hand already.

    Returns
    -------
    elapsed, values : numpy.ndarray
        [s], and the channel's canonical unit.
    """
    trace = brew.trace if trace is None else trace
    if trace is None or channel not in trace:
        return np.empty(0), np.empty(0)
    elapsed = trace["elapsed"].to_numpy(dtype=float)
    values = trace[channel].to_numpy(dtype=float)
    good = np.isfinite(values)
    for fault in brew.trace_faults:
        if fault.channel == channel and fault.kind in _SPOILT and "left out" in fault.action:
            good &= ~((elapsed >= fault.start) & (elapsed <= fault.end))
    return elapsed[good], values[good]


def first_within(
    elapsed: np.ndarray, values: np.ndarray, target: float, after: float, before: float, band: float = ARRIVAL_BAND
) -> float:
    """First sample within `band` of `target`.

    Where the temperature steps over the whole band between two samples, the first sample beyond it; a jump by
    more than 5 K is a probe put elsewhere, not an arrival. NaN where there is none between `after` and `before`.

    Parameters
    ----------
    elapsed, values : numpy.ndarray, shape (n,)
        [s], [degC]
    target : float
        [degC]
    after, before : float
        Both ends belong to the stretch. [s]
    band : float
        [K]

    Returns
    -------
    float
        [s]

    Examples
    --------
    >>> times, temps = np.array([0.0, 60.0, 120.0]), np.array([62.0, 62.6, 63.1])
    >>> first_within(times, temps, 63.0, 0.0, 120.0)
    60.0
    """
    inside = (elapsed >= after - _ROUNDING) & (elapsed <= before + _ROUNDING)
    times, gaps = elapsed[inside], values[inside] - target
    here = np.abs(gaps) <= band + _ROUNDING
    here[1:] |= (gaps[1:] * gaps[:-1] < 0) & (np.abs(np.diff(gaps)) <= _LARGEST_STEP)
    return float(times[here.argmax()]) if here.any() else np.nan


def settled_within(elapsed: np.ndarray, values: np.ndarray, target: float, after: float, before: float) -> float:
    """First sample within 0.5 K of `target` after which the temperature stays within 1 K for ten minutes.

    For the first rest: while cold grain is stirred in, a temperature may fall through the rest temperature and climb
    back minutes later. Where it never stays, the first sample within 0.5 K; NaN where there is none.

    Examples
    --------
    >>> times, temps = 60.0 * np.arange(8), np.array([68, 64, 61, 61, 62.5, 63.6, 64, 64])
    >>> settled_within(times, temps, 64.0, 0.0, 420.0)
    300.0
    """
    near = (elapsed >= after - _ROUNDING) & (elapsed <= before + _ROUNDING)
    times, off = elapsed[near], np.abs(values[near] - target)
    far = times[off > 1.0 + _ROUNDING]
    for time in times[off <= ARRIVAL_BAND + _ROUNDING]:
        k = np.searchsorted(far, time)
        if k == far.size or far[k] - time > SETTLED:
            return float(time)
    return first_within(elapsed, values, target, after, before)


def smooth(elapsed: np.ndarray, values: np.ndarray, window: float, how: str = "median") -> np.ndarray:
    """Moving median or mean over `window` seconds, centred; samples may be irregular."""
    times = pd.to_timedelta(elapsed, unit="s")
    rolling = pd.Series(values, index=times).rolling(pd.Timedelta(seconds=window), center=True, min_periods=1)
    return (rolling.median() if how == "median" else rolling.mean()).to_numpy()
