"""Compiled: sums of autocorrelations.

Importing this module imports numba; the rest of the room does so only when something is computed.
"""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(cache=True, fastmath={"contract", "reassoc"})
def centred(values):
    """Finite values less their mean; none where fewer than four are there or all are alike."""
    r, count, total = np.empty(values.size), 0, 0.0
    low, high = np.inf, -np.inf
    for v in values:
        if np.isfinite(v):
            r[count] = v
            count += 1
            total += v
            low, high = min(low, v), max(high, v)
    if count < 4 or low == high:
        return r[:0]
    mean = total / count
    for t in range(count):
        r[t] -= mean
    return r[:count]


@njit(cache=True, fastmath={"contract", "reassoc"})
def paired_sum(r, lags):
    """Sum of the autocorrelations of `r` by pairs, up to the first pair that is not positive.

    Parameters
    ----------
    r : array, shape (n,)
        Of `centred`; 0 where it is empty.
    lags : int
        Looked at, at most.

    Returns
    -------
    float
        -1 where no such pair is among these lags.
    """
    if r.size == 0:
        return 0.0
    whole, total = 0.0, 0.0
    for t in range(r.size):
        whole += r[t] * r[t]
    for lag in range(0, min(lags, r.size - 1), 2):
        pair = r[lag] * r[0]  # the one product of the first lag that has no partner in the second
        for t in range(r.size - lag - 1):
            pair += r[t] * r[t + lag + 1] + r[t + 1] * r[t + 1 + lag]
        if pair <= 0.0:
            return total
        total += pair / whole
    return -1.0
