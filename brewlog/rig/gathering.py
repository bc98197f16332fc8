"""Compiled: from the products of each series to the normal equations of all, with priors.

Importing this module imports numba; the rest of the room does so only when something is computed.
"""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(cache=True)
def gather(out, curved, k, at, offset_free, shift_free, jr, jj):
    """Normal equations of several series that share their constants.

    Parameters are the free constants (logarithms), the offset if free, and per series the shift of the room if free
    and the start temperatures.

    Parameters
    ----------
    out : array, shape (series, columns + 1, columns + 1)
        Of `normal.accumulate`; of its first columns alone unless `curved`.
    k : int
        Constants of the model.
    at : array
        Which of them are free.
    offset_free, shift_free : bool
    jr, jj : arrays
        Overwritten; `jj` only if `curved`.

    Returns
    -------
    float
        Sum of squares.
    """
    columns = out.shape[1]
    nodes = columns - 3 - k
    shared = at.size + (1 if offset_free else 0)
    local = nodes + (1 if shift_free else 0)
    where = np.full(columns, -1, np.intp)
    for c in range(at.size):
        where[1 + at[c]] = c
    if offset_free:
        where[columns - 1] = at.size
    jr[:] = 0.0
    if curved:
        jj[:] = 0.0
    total = 0.0
    for s in range(out.shape[0]):
        base = shared + s * local
        if shift_free:
            where[1 + k] = base
        for j in range(nodes):
            where[2 + k + j] = base + local - nodes + j
        total += out[s, 0, 0]
        for c in range(1, columns):
            i = where[c]
            if i < 0:
                continue
            jr[i] += out[s, c, 0]
            for e in range(1, c + 1 if curved else 0):
                j = where[e]
                if j >= 0:
                    jj[i, j] += out[s, c, e]
                    if e < c:
                        jj[j, i] += out[s, c, e]
    return total


@njit(cache=True)
def add_priors(curved, at, params, logs, priors, capacity, jr, jj):
    """Add what priors bring to the normal equations; returns their part of the sum of squares.

    Parameters
    ----------
    at : array
        Which constants are free.
    params, logs : arrays
        Parameters, and logarithms of all constants.
    priors : array, shape (z, 3)
        Place, value and sd of priors on single parameters.
    capacity : array, shape (2 + members,)
        Expected sum of some constants, relative sd (0: no such prior), and which ones.
    jr, jj : arrays
        Added to; `jj` only if `curved`.
    """
    total = 0.0
    for z in range(priors.shape[0]):
        i, g = int(priors[z, 0]), 1 / priors[z, 2]
        r = g * (priors[z, 1] - params[i])
        total += r * r
        jr[i] += g * r
        if curved:
            jj[i, i] += g * g
    if capacity[1] > 0.0:
        whole, moved = 0.0, False
        slope = np.zeros(at.size)
        for z in range(2, capacity.size):
            whole += np.exp(logs[int(capacity[z])])
        for c in range(at.size):
            for z in range(2, capacity.size):
                if at[c] == int(capacity[z]):
                    slope[c] = np.exp(logs[at[c]]) / whole / capacity[1]
                    moved = True
        if moved:
            r = np.log(capacity[0] / whole) / capacity[1]
            total += r * r
            for c in range(at.size):
                jr[c] += slope[c] * r
                for e in range(at.size):
                    if curved:
                        jj[c, e] += slope[c] * slope[e]
    return total
