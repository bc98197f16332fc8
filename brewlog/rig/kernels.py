"""Compiled inner loops: the exact step of a linear model with its sensitivities, and passes over a trace.

Importing this module imports numba; the rest of the room does so only when something is computed.
"""

from __future__ import annotations

import numpy as np
from numba import njit

_ORDER = 16
"""Terms of the series; with the scaled norm below one half the first one left out is 0.5^17 / 17! = 2e-20."""


@njit(cache=True)
def step_tables(a, b, da, db, dt):
    """Exact one-step matrices for piecewise constant inputs, with their derivatives.

    For ``x' = A x + B u`` and constant u over a step: ``x(t + dt) = phi x(t) + gamma u``. Series with scaling and
    squaring, differentiated term by term.

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
    phi = np.zeros((q, n, n))
    gamma = np.zeros((q, n, m))
    dphi = np.zeros((q, n, n, k))
    dgamma = np.zeros((q, n, m, k))
    term = np.zeros((n, n))
    new = np.zeros((n, n))
    dterm = np.zeros((n, n, k))
    dnew = np.zeros((n, n, k))
    whole = np.zeros((n, n))  # integral of the exponential over the step
    dwhole = np.zeros((n, n, k))
    for s in range(q):
        norm = 0.0
        for i in range(n):
            row = 0.0
            for j in range(n):
                row += abs(a[s, i, j])
            norm = max(norm, row)
        halvings = 0
        tau = dt[s]
        while norm * tau > 0.5:
            tau *= 0.5
            halvings += 1
        e = phi[s]
        de = dphi[s]
        for i in range(n):
            for j in range(n):
                term[i, j] = 1.0 if i == j else 0.0
                e[i, j] = term[i, j]
                whole[i, j] = term[i, j] * tau
                for c in range(k):
                    dterm[i, j, c] = 0.0
                    dwhole[i, j, c] = 0.0
        for order in range(1, _ORDER + 1):
            f = tau / order
            g = tau / (order + 1)
            size = 0.0
            for i in range(n):
                for j in range(n):
                    v = 0.0
                    for c in range(k):
                        dnew[i, j, c] = 0.0
                    for h in range(n):
                        t = term[i, h]
                        w = a[s, h, j]
                        v += t * w
                        if w != 0.0:
                            for c in range(k):
                                dnew[i, j, c] += dterm[i, h, c] * w
                        if t != 0.0:
                            for c in range(k):
                                dnew[i, j, c] += t * da[s, h, j, c]
                    new[i, j] = v * f
                    size = max(size, abs(new[i, j]))
                    for c in range(k):
                        dnew[i, j, c] *= f
            for i in range(n):
                for j in range(n):
                    term[i, j] = new[i, j]
                    e[i, j] += new[i, j]
                    whole[i, j] += new[i, j] * g
                    for c in range(k):
                        dterm[i, j, c] = dnew[i, j, c]
                        de[i, j, c] += dnew[i, j, c]
                        dwhole[i, j, c] += dnew[i, j, c] * g
            if size < 1e-18:
                break
        for _ in range(halvings):
            # integral first: it needs the exponential of the shorter step
            for i in range(n):
                for j in range(n):
                    v = 0.0
                    for c in range(k):
                        dnew[i, j, c] = 0.0
                    for h in range(n):
                        v += e[i, h] * whole[h, j]
                        for c in range(k):
                            dnew[i, j, c] += de[i, h, c] * whole[h, j] + e[i, h] * dwhole[h, j, c]
                    new[i, j] = v
            for i in range(n):
                for j in range(n):
                    whole[i, j] += new[i, j]
                    for c in range(k):
                        dwhole[i, j, c] += dnew[i, j, c]
            for i in range(n):
                for j in range(n):
                    v = 0.0
                    for c in range(k):
                        dnew[i, j, c] = 0.0
                    for h in range(n):
                        v += e[i, h] * e[h, j]
                        for c in range(k):
                            dnew[i, j, c] += de[i, h, c] * e[h, j] + e[i, h] * de[h, j, c]
                    new[i, j] = v
            for i in range(n):
                for j in range(n):
                    e[i, j] = new[i, j]
                    for c in range(k):
                        de[i, j, c] = dnew[i, j, c]
        for i in range(n):
            for j in range(m):
                for h in range(n):
                    gamma[s, i, j] += whole[i, h] * b[s, h, j]
                    for c in range(k):
                        dgamma[s, i, j, c] += dwhole[i, h, c] * b[s, h, j] + whole[i, h] * db[s, h, j, c]
    return phi, gamma, dphi, dgamma


@njit(cache=True, inline="always")
def _advance(phi, gamma, dphi, dgamma, u, x, s, xn, sn, kp):
    """One step of states `x` (n,) and sensitivities `s` (n, k); only the first `kp` parameters move the matrices."""
    n = x.shape[0]
    m = gamma.shape[1]
    k = s.shape[1]
    for i in range(n):
        v = 0.0
        for c in range(k):
            sn[i, c] = 0.0
        for j in range(m):
            w = u[j]
            if w != 0.0:
                v += gamma[i, j] * w
                for c in range(kp):
                    sn[i, c] += dgamma[i, j, c] * w
        for j in range(n):
            p = phi[i, j]
            if p != 0.0:
                y = x[j]
                v += p * y
                for c in range(kp):
                    sn[i, c] += p * s[j, c] + dphi[i, j, c] * y
                for c in range(kp, k):
                    sn[i, c] += p * s[j, c]
        xn[i] = v


@njit(cache=True)
def simulate(phi, gamma, kind, u, x0):
    """States at every row; `kind[t]` is the step that leads from row t to row t + 1."""
    rows = u.shape[0]
    n = x0.shape[0]
    m = gamma.shape[2]
    out = np.empty((rows, n))
    x = x0.copy()
    xn = np.empty(n)
    for t in range(rows):
        for i in range(n):
            out[t, i] = x[i]
        if t == rows - 1:
            break
        q = kind[t]
        for i in range(n):
            v = 0.0
            for j in range(m):
                v += gamma[q, i, j] * u[t, j]
            for j in range(n):
                v += phi[q, i, j] * x[j]
            xn[i] = v
        for i in range(n):
            x[i] = xn[i]
    return out


@njit(cache=True)
def sensitivities(phi, gamma, dphi, dgamma, kind, u, x0, dx0, h, kp):
    """Outputs (rows, m) and their derivatives (rows, m, k) for the output matrix `h` (m, n)."""
    rows = u.shape[0]
    n = x0.shape[0]
    outputs = h.shape[0]
    k = dx0.shape[1]
    y = np.zeros((rows, outputs))
    dy = np.zeros((rows, outputs, k))
    x = x0.copy()
    s = dx0.copy()
    xn = np.empty(n)
    sn = np.empty((n, k))
    for t in range(rows):
        for o in range(outputs):
            for i in range(n):
                w = h[o, i]
                if w != 0.0:
                    y[t, o] += w * x[i]
                    for c in range(k):
                        dy[t, o, c] += w * s[i, c]
        if t == rows - 1:
            break
        q = kind[t]
        _advance(phi[q], gamma[q], dphi[q], dgamma[q], u[t], x, s, xn, sn, kp)
        x, xn = xn, x
        s, sn = sn, s
    return y, dy


@njit(cache=True)
def normal_equations(phi, gamma, dphi, dgamma, kind, u, x0, dx0, h, kp, measured, weight, shift, dshift):
    """Sum of squares, J'r and J'J of weighted residuals in one pass, without storing J.

    Residual = measured - (h x + shift); rows of weight 0 are not seen. `dshift` (m, k) is the derivative of `shift`.
    """
    rows = u.shape[0]
    n = x0.shape[0]
    outputs = h.shape[0]
    k = dx0.shape[1]
    total = 0.0
    jr = np.zeros(k)
    jj = np.zeros((k, k))
    x = x0.copy()
    s = dx0.copy()
    xn = np.empty(n)
    sn = np.empty((n, k))
    d = np.empty(k)
    for t in range(rows):
        for o in range(outputs):
            w = weight[t, o]
            if w <= 0.0:
                continue
            y = shift[o]
            for c in range(k):
                d[c] = dshift[o, c]
            for i in range(n):
                f = h[o, i]
                if f != 0.0:
                    y += f * x[i]
                    for c in range(k):
                        d[c] += f * s[i, c]
            r = measured[t, o] - y
            total += w * r * r
            wr = w * r
            for c in range(k):
                jr[c] += wr * d[c]
                wd = w * d[c]
                for e in range(c + 1):
                    jj[c, e] += wd * d[e]
        if t == rows - 1:
            break
        q = kind[t]
        _advance(phi[q], gamma[q], dphi[q], dgamma[q], u[t], x, s, xn, sn, kp)
        x, xn = xn, x
        s, sn = sn, s
    for c in range(k):
        for e in range(c):
            jj[e, c] = jj[c, e]
    return total, jr, jj


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
