"""Compiled: Kalman filter and fixed-interval smoother of what a fitted model leaves.

Importing this module imports numba; the rest of the room does so only when something is computed.
"""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(cache=True)
def smooth(phi, kind, dt, h, rest, noise, density, start, bed):
    """Kalman filter and fixed-interval smoother of a deviation that is driven by white noise in every node.

    Parameters
    ----------
    phi : array, shape (q, n, n)
        Exact step of each kind.
    kind : array, shape (rows - 1,)
    dt : array, shape (q,)
        [s]
    h : array, shape (m, n)
        What the sensors see.
    rest : array, shape (rows, m)
        Readings less the model, NaN where missing. [K]
    noise : array, shape (m,)
        Variance of a reading. [K^2]
    density : array, shape (n,)
        Variance that the noise adds to each state per second. [K^2/s]
    start : array, shape (n,)
        Variance of the deviation at the first row. [K^2]
    bed : array, shape (n,)
        Weights of the mean that is wanted.

    Returns
    -------
    mean, variance : arrays, shape (rows,)
        Of the weighted mean of the deviation. [K, K^2]
    fit : float
        Minus twice the logarithm of the likelihood, up to a constant.
    """
    rows, m = rest.shape
    n = phi.shape[1]
    x = np.zeros(n)
    p = np.diag(start).copy()
    xs = np.zeros((rows, n))
    ps = np.zeros((rows, n, n))
    xp = np.zeros((rows, n))
    pp = np.zeros((rows, n, n))
    fit = 0.0
    for t in range(rows):
        if t > 0:
            q = kind[t - 1]
            x = phi[q] @ x
            p = phi[q] @ p @ phi[q].T
            for i in range(n):
                p[i, i] += density[i] * dt[q]
        xp[t] = x
        pp[t] = p
        for o in range(m):
            r = rest[t, o]
            if np.isnan(r):
                continue
            ph = p @ h[o]
            s = h[o] @ ph + noise[o]
            e = r - h[o] @ x
            fit += np.log(s) + e * e / s
            x = x + ph * (e / s)
            p = p - np.outer(ph, ph) / s
        xs[t] = x
        ps[t] = p
    mean = np.empty(rows)
    variance = np.empty(rows)
    mean[rows - 1] = bed @ xs[rows - 1]
    variance[rows - 1] = bed @ ps[rows - 1] @ bed
    for t in range(rows - 2, -1, -1):
        q = kind[t]
        gain = np.linalg.solve(pp[t + 1], phi[q] @ ps[t]).T
        xs[t] = xs[t] + gain @ (xs[t + 1] - xp[t + 1])
        ps[t] = ps[t] + gain @ (ps[t + 1] - pp[t + 1]) @ gain.T
        mean[t] = bed @ xs[t]
        variance[t] = bed @ ps[t] @ bed
    return mean, variance, fit
