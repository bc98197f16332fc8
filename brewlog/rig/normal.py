"""Compiled: normal equations, or the gradient alone, of weighted residuals in one pass over the rows.

A compiler that knows how many states and constants there are unrolls the inner loops, which is three to four times as
fast. Their numbers come as the lengths of tuples: numba compiles once for each and keeps that beside this module.

Importing this module imports numba; the rest of the room does so only when something is computed.
"""

from __future__ import annotations

import numpy as np
from numba import njit

_BLOCK = 120
"""Readings whose derivatives are held before they are multiplied with each other: they fit the first cache."""


@njit(cache=True, fastmath={"contract", "reassoc"})
def accumulate(shape, p, dp, ends, kind, u, shift, first, starts, h, offset, measured, weight, y, out):
    """Products of weighted residuals and their derivatives with each other, one matrix per series.

    Parameters
    ----------
    shape : tuple of four tuples
        As long as there are states n, inputs m, constants k and start temperatures.
    p, dp : arrays, shape (q, n, n + m) and (q, n, n + m, k)
        Exact steps of every kind, phi and gamma side by side, and their derivatives to the constants.
    ends : array, shape (series + 1,)
        Where each series begins and ends among the rows.
    kind, u : arrays, shape (rows,) and (rows, m)
        Kind of step from each row to the next, and the inputs: power, room, ...
    shift : array, shape (series,)
        Added to the room. [K]
    first, starts : arrays, shape (series, starts) and (n, starts)
        Start temperatures, and what they make of the states.
    h : array, shape (2, n)
        What the two sensors see of the states.
    offset : float
        Added to what the second sensor sees. [K]
    measured, weight, y : arrays, shape (rows, 2)
        Readings of weight 0 are not seen; `y` receives what the model reads.
    out : array, shape (series, 3 + k + starts, 3 + k + starts)
        Lower halves receive the products: residual, constants, shift, start temperatures, offset.
    """
    n, m, k, nodes = len(shape[0]), len(shape[1]), len(shape[2]), len(shape[3])
    moving = 2 + k + nodes
    x, new = np.empty((n, moving)), np.empty((n, moving))
    rows = np.empty((moving + 1, _BLOCK))
    for s in range(ends.size - 1):
        for i in range(n):
            for c in range(moving):
                x[i, c] = 0.0
            for j in range(nodes):
                x[i, 0] += starts[i, j] * first[s, j]
                x[i, 2 + k + j] = starts[i, j]
        filled, last = 0, ends[s + 1] - 1
        for t in range(ends[s], ends[s + 1]):
            for o in range(2):
                level = offset if o == 1 else 0.0
                for i in range(n):
                    level += h[o, i] * x[i, 0]
                y[t, o] = level
                w = np.sqrt(weight[t, o])
                if w > 0.0:
                    for c in range(moving):
                        rows[c, filled] = 0.0
                    for i in range(n):
                        g = w * h[o, i]
                        if g != 0.0:
                            for c in range(moving):
                                rows[c, filled] += g * x[i, c]
                    rows[0, filled] = w * (measured[t, o] - level)
                    rows[moving, filled] = w if o == 1 else 0.0
                    filled += 1
            if filled > _BLOCK - 2 or t == last:
                for a in range(moving + 1):
                    for c in range(a + 1):
                        v = 0.0
                        for z in range(filled):
                            v += rows[a, z] * rows[c, z]
                        out[s, a, c] += v
                filled = 0
            if t == last:
                break
            q = kind[t]
            for i in range(n):
                for c in range(moving):
                    new[i, c] = 0.0
                for j in range(m):
                    w = u[t, j] + (shift[s] if j == 1 else 0.0)
                    if w != 0.0:
                        new[i, 0] += p[q, i, n + j] * w
                        for c in range(k):
                            new[i, 1 + c] += dp[q, i, n + j, c] * w
                new[i, 1 + k] += p[q, i, n + 1]
                for j in range(n):
                    e = p[q, i, j]
                    if e != 0.0:
                        for c in range(moving):
                            new[i, c] += e * x[j, c]
                        w = x[j, 0]
                        for c in range(k):
                            new[i, 1 + c] += dp[q, i, j, c] * w
            x, new = new, x


@njit(cache=True, fastmath={"contract", "reassoc"})
def gradient(shape, p, ends, kind, u, shift, first, starts, h, offset, measured, weight, y, at_step, out):
    """First columns of what `accumulate` gives, but for the constants: of these only products with the steps' entries.

    One pass forth and one back (adjoint), so that its cost does not grow with the number of constants.

    Parameters
    ----------
    shape, p, ends, kind, u, shift, first, starts, h, offset, measured, weight, y, out
        As of `accumulate`.
    at_step : array, shape (q, n, n + m)
        To it the residuals' products with the derivatives to phi and gamma are added, over all series.
    """
    n, m, k, nodes = len(shape[0]), len(shape[1]), len(shape[2]), len(shape[3])
    back, new = np.empty(n), np.empty(n)
    longest = 0
    for s in range(ends.size - 1):
        longest = max(longest, ends[s + 1] - ends[s])
    x = np.empty((longest, n))
    for s in range(ends.size - 1):
        begin, rows = ends[s], ends[s + 1] - ends[s]
        for i in range(n):
            v = 0.0
            for j in range(nodes):
                v += starts[i, j] * first[s, j]
            x[0, i], back[i] = v, 0.0
        for t in range(rows - 1):
            q = kind[begin + t]
            for i in range(n):
                v = p[q, i, n + 1] * shift[s]
                for j in range(m):
                    v += p[q, i, n + j] * u[begin + t, j]
                for j in range(n):
                    v += p[q, i, j] * x[t, j]
                x[t + 1, i] = v
        total, at_shift, at_offset = 0.0, 0.0, 0.0
        for t in range(rows - 1, -1, -1):
            if t < rows - 1:
                q = kind[begin + t]
                for j in range(n):
                    new[j] = 0.0
                for i in range(n):
                    b = back[i]
                    for j in range(n):
                        at_step[q, i, j] += b * x[t, j]
                        new[j] += p[q, i, j] * b
                    for j in range(m):
                        at_step[q, i, n + j] += b * (u[begin + t, j] + (shift[s] if j == 1 else 0.0))
                    at_shift += b * p[q, i, n + 1]
                for j in range(n):
                    back[j] = new[j]
            for o in range(2):
                v = offset if o == 1 else 0.0
                for i in range(n):
                    v += h[o, i] * x[t, i]
                y[begin + t, o] = v
                w = weight[begin + t, o] * (measured[begin + t, o] - v)
                total += w * (measured[begin + t, o] - v)
                at_offset += w if o == 1 else 0.0
                for i in range(n):
                    back[i] += w * h[o, i]
        out[s, 0, 0], out[s, 1 + k, 0], out[s, 2 + k + nodes, 0] = total, at_shift, at_offset
        for j in range(nodes):
            for i in range(n):
                out[s, 2 + k + j, 0] += starts[i, j] * back[i]
