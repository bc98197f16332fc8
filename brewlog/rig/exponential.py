"""Compiled: the exact step of a linear model over piecewise constant inputs, with its derivatives.

Importing this module imports numba; the rest of the room does so only when something is computed.
"""

from __future__ import annotations

import numpy as np
from numba import njit

_LARGEST = 1.0
"""Steps are halved until rate times time is below this; the series then loses no digits."""
_TERMS = 30
"""More terms than the series ever needs: 1 / 30! = 4e-33."""


@njit(cache=True)
def exact_step(ab, dab, dt, p, dp):
    """Exact step of ``x' = A x + B u`` over `dt` with u constant: ``x(t + dt) = phi x(t) + gamma u``.

    Taylor series of the exponential of (A B; 0 0) with halving and squaring, differentiated term by term; entries of A
    and B that are zero cost nothing.

    Parameters
    ----------
    ab : array, shape (n, n + m)
        A and B side by side.
    dab : array, shape (n, n + m, k)
        Derivatives to k parameters.
    dt : float
        [s]
    p, dp : arrays shaped as `ab`, `dab`
        Receive phi and gamma side by side, and their derivatives.
    """
    n, m = ab.shape
    k = dab.shape[2]
    row, column = np.empty(n * m, np.intp), np.empty(n * m, np.intp)
    slope_row, slope_column, slope_of = (
        np.empty(n * m * k, np.intp),
        np.empty(n * m * k, np.intp),
        np.empty(n * m * k, np.intp),
    )
    filled, slopes, norm = 0, 0, 0.0
    for i in range(n):
        size = 0.0
        for j in range(m):
            if ab[i, j] != 0.0:
                row[filled], column[filled] = i, j
                filled += 1
                if j < n:
                    size += abs(ab[i, j])
            for c in range(k):
                if dab[i, j, c] != 0.0:
                    slope_row[slopes], slope_column[slopes], slope_of[slopes] = i, j, c
                    slopes += 1
        norm = max(norm, size)
    tau, halvings = dt, 0
    while norm * tau > _LARGEST:
        tau *= 0.5
        halvings += 1
    term, new = np.empty((n, m)), np.empty((n, m))
    dterm, dnew = np.empty((n, m, k)), np.empty((n, m, k))
    for i in range(n):
        for j in range(m):
            p[i, j] = term[i, j] = ab[i, j] * tau
            for c in range(k):
                dp[i, j, c] = dterm[i, j, c] = dab[i, j, c] * tau
        p[i, i] += 1.0
    for order in range(2, _TERMS):
        for i in range(n):
            for j in range(m):
                new[i, j] = 0.0
                for c in range(k):
                    dnew[i, j, c] = 0.0
        f = tau / order
        for z in range(filled):
            h, j = row[z], column[z]
            v = f * ab[h, j]
            for i in range(n):
                new[i, j] += term[i, h] * v
                for c in range(k):
                    dnew[i, j, c] += dterm[i, h, c] * v
        for z in range(slopes):
            h, j, c = slope_row[z], slope_column[z], slope_of[z]
            v = f * dab[h, j, c]
            for i in range(n):
                dnew[i, j, c] += term[i, h] * v
        largest = 0.0
        for i in range(n):
            for j in range(m):
                p[i, j] += new[i, j]
                if j < n:
                    largest = max(largest, abs(new[i, j]))
                for c in range(k):
                    dp[i, j, c] += dnew[i, j, c]
        term, new = new, term
        dterm, dnew = dnew, dterm
        if largest < 1e-18:
            break
    for _ in range(halvings):
        for i in range(n):
            for j in range(m):
                own = 1.0 if j >= n else 0.0
                v = own * p[i, j]
                for c in range(k):
                    dnew[i, j, c] = own * dp[i, j, c]
                for h in range(n):
                    e, g = p[i, h], p[h, j]
                    v += e * g
                    for c in range(k):
                        dnew[i, j, c] += dp[i, h, c] * g + e * dp[h, j, c]
                new[i, j] = v
        for i in range(n):
            for j in range(m):
                p[i, j] = new[i, j]
                for c in range(k):
                    dp[i, j, c] = dnew[i, j, c]


@njit(cache=True)
def step_tables(a, b, da, db, dt):
    """Exact steps of several kinds, with their derivatives.

    Parameters
    ----------
    a : array, shape (q, n, n)
    b : array, shape (q, n, m)
    da : array, shape (q, n, n, k)
        Derivatives of `a` to the k parameters.
    db : array, shape (q, n, m, k)
    dt : array, shape (q,)
        Length of each kind of step. [s]

    Returns
    -------
    phi, gamma, dphi, dgamma : arrays shaped as a, b, da, db
    """
    q, n, m = b.shape
    k = da.shape[3]
    phi, gamma = np.empty((q, n, n)), np.empty((q, n, m))
    dphi, dgamma = np.empty((q, n, n, k)), np.empty((q, n, m, k))
    ab, dab = np.empty((n, n + m)), np.empty((n, n + m, k))
    p, dp = np.empty((n, n + m)), np.empty((n, n + m, k))
    for s in range(q):
        for i in range(n):
            for j in range(n + m):
                inside = j < n
                ab[i, j] = a[s, i, j] if inside else b[s, i, j - n]
                for c in range(k):
                    dab[i, j, c] = da[s, i, j, c] if inside else db[s, i, j - n, c]
        exact_step(ab, dab, dt[s], p, dp)
        for i in range(n):
            for j in range(n):
                phi[s, i, j] = p[i, j]
                for c in range(k):
                    dphi[s, i, j, c] = dp[i, j, c]
            for j in range(m):
                gamma[s, i, j] = p[i, n + j]
                for c in range(k):
                    dgamma[s, i, j, c] = dp[i, n + j, c]
    return phi, gamma, dphi, dgamma
