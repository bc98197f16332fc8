"""Compiled: passes over a trace with the exact steps at hand.

Importing this module imports numba; the rest of the room does so only when something is computed.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from brewlog.rig.kinds import model_steps


@njit(cache=True)
def simulate(phi, gamma, kind, u, x0):
    """States at every row; `kind[t]` is the step that leads from row t to row t + 1."""
    rows, m = u.shape
    n = x0.shape[0]
    out = np.empty((rows, n))
    for i in range(n):
        out[0, i] = x0[i]
    for t in range(rows - 1):
        q = kind[t]
        for i in range(n):
            v = 0.0
            for j in range(m):
                v += gamma[q, i, j] * u[t, j]
            for j in range(n):
                v += phi[q, i, j] * out[t, j]
            out[t + 1, i] = v
    return out


@njit(cache=True)
def sensitivities(phi, gamma, dphi, dgamma, kind, u, x0, dx0, h, kp):
    """Outputs (rows, m) and their derivatives (rows, m, k) for the output matrix `h` (m, n).

    `dx0` (n, k) is the derivative of the start; only the first `kp` parameters move the matrices.
    """
    rows, n, outputs, k = u.shape[0], x0.shape[0], h.shape[0], dx0.shape[1]
    y, dy = np.zeros((rows, outputs)), np.zeros((rows, outputs, k))
    x, s = x0.copy(), dx0.copy()
    xn, sn = np.empty(n), np.empty((n, k))
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
        for i in range(n):
            v = 0.0
            for c in range(k):
                sn[i, c] = 0.0
            for j in range(u.shape[1]):
                w = u[t, j]
                if w != 0.0:
                    v += gamma[q, i, j] * w
                    for c in range(kp):
                        sn[i, c] += dgamma[q, i, j, c] * w
            for j in range(n):
                e = phi[q, i, j]
                if e != 0.0:
                    v += e * x[j]
                    for c in range(kp):
                        sn[i, c] += e * s[j, c] + dphi[q, i, j, c] * x[j]
                    for c in range(kp, k):
                        sn[i, c] += e * s[j, c]
            xn[i] = v
        x, xn = xn, x
        s, sn = sn, s
    return y, dy


@njit(cache=True)
def trial_squares(logs, rates, entries, kinds, kind, u, x0, h, measured, weight):
    """Weighted sum of squared residuals for each row of log constants `logs` (trials, k)."""
    out = np.zeros(logs.shape[0])
    n, m = x0.size, u.shape[1]
    x, new = np.empty(n), np.empty(n)
    for trial in range(logs.shape[0]):
        p, _ = model_steps(logs[trial], rates, entries, kinds, n, m, False)
        for i in range(n):
            x[i] = x0[i]
        for t in range(u.shape[0]):
            for o in range(h.shape[0]):
                rest = measured[t, o]
                for i in range(n):
                    rest -= h[o, i] * x[i]
                out[trial] += weight[t, o] * rest * rest
            if t == u.shape[0] - 1:
                break
            q = kind[t]
            for i in range(n):
                v = 0.0
                for j in range(m):
                    v += p[q, i, n + j] * u[t, j]
                for j in range(n):
                    v += p[q, i, j] * x[j]
                new[i] = v
            x, new = new, x
    return out


@njit(cache=True)
def low_pass(courses, dt, times):
    """What follows each of `courses` (c, rows) with each of several time constants, shape (c, times, rows)."""
    out = np.empty((courses.shape[0], times.size, courses.shape[1]))
    for c in range(courses.shape[0]):
        for i in range(times.size):
            x, last, follow = courses[c, 0], -1.0, 0.0
            out[c, i, 0] = x
            for t in range(dt.size):
                if dt[t] != last:
                    last = dt[t]
                    follow = 1 - np.exp(-last / times[i])
                x += follow * (0.5 * (courses[c, t] + courses[c, t + 1]) - x)
                out[c, i, t + 1] = x
    return out
