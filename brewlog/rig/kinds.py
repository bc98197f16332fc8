"""Compiled: exact steps of a thermal model for every length of step that a log holds.

Importing this module imports numba; the rest of the room does so only when something is computed. numba keeps what it
compiled beside this module and looks at this file only: after a change in `exponential`, delete `__pycache__`.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from brewlog.rig.exponential import exact_step

_NODES = 12
"""Lengths at which steps are made when there are many: with `_SPAN` the polynomial through them is exact to 1e-13."""
_SPAN = 2.0
"""Widest range of lengths times rate that one polynomial spans: 2 (1 / 2)^12 / 12! = 1e-12, of entries below 1."""


@njit(cache=True)
def _fill(size, rates, entries, flow, ab, dab):
    """(A B) and its derivatives at a part of the usual flow; returns the fastest rate. [1/s]"""
    n, k = ab.shape[0], dab.shape[2]
    for i in range(n):
        for j in range(ab.shape[1]):
            ab[i, j] = 0.0
            for c in range(k):
                dab[i, j, c] = 0.0
    for z in range(entries.shape[0]):
        r, i, j = int(entries[z, 0]), int(entries[z, 1]), int(entries[z, 2])
        v = entries[z, 3] * size[r]
        if rates[r, 1] > 0.0:
            v *= flow
        ab[i, j] += v
        for c in range(k):
            dab[i, j, c] += v * rates[r, 2 + c]
    fastest = 0.0
    for i in range(n):
        row = 0.0
        for j in range(n):
            row += abs(ab[i, j])
        fastest = max(fastest, row)
    return fastest


@njit(cache=True, fastmath={"contract"})
def _between(place, node_p, node_dp, p, dp):
    """Polynomial through the steps at Chebyshev's nodes, at `place` from -1 to 1 (barycentric form)."""
    total, at = 0.0, -1
    weight = np.empty(_NODES)
    for z in range(_NODES):
        angle = np.pi * (z + 0.5) / _NODES
        apart = place - np.cos(angle)
        if abs(apart) < 1e-14:
            at = z
            break
        weight[z] = (1 if z % 2 == 0 else -1) * np.sin(angle) / apart
        total += weight[z]
    p[:] = 0.0
    dp[:] = 0.0
    for z in range(_NODES):
        w = weight[z] / total if at < 0 else (1.0 if z == at else 0.0)
        for i in range(p.size):
            p[i] += w * node_p[z, i]
        for i in range(dp.size):
            dp[i] += w * node_dp[z, i]


@njit(cache=True)
def model_steps(logs, rates, entries, kinds, n, m, slopes):
    """Exact steps of a model for several kinds of step, with their derivatives to the logarithms of its constants.

    Parameters
    ----------
    logs : array, shape (k,)
        Logarithms of the constants.
    rates : array, shape (r, 2 + k)
        Factor of each rate, 1 where it follows the flow, and its powers of the constants.
    entries : array, shape (z, 4)
        Entries of (A B): rate, row, column, number that multiplies the rate.
    kinds : array, shape (q, 2)
        Part of the usual flow, and length of the step, sorted. [1, s]
    n, m : int
        States and inputs.
    slopes : bool
        Whether derivatives are wanted; else there are none (k = 0).

    Returns
    -------
    p, dp : arrays, shape (q, n, n + m) and (q, n, n + m, k)
        phi and gamma side by side, and their derivatives.
    """
    k = logs.size if slopes else 0
    p, dp = np.empty((kinds.shape[0], n, n + m)), np.empty((kinds.shape[0], n, n + m, k))
    ab, dab = np.empty((n, n + m)), np.empty((n, n + m, k))
    size = np.empty(rates.shape[0])
    for r in range(rates.shape[0]):
        power = 0.0
        for c in range(logs.size):
            power += rates[r, 2 + c] * logs[c]
        size[r] = rates[r, 0] * np.exp(power)
    fastest = 0.0
    first = 0
    node_p, node_dp = np.empty((_NODES, n, n + m)), np.empty((_NODES, n, n + m, k))
    flat_p, flat_dp = p.reshape(kinds.shape[0], n * (n + m)), dp.reshape(kinds.shape[0], n * (n + m) * k)
    flat_node_p, flat_node_dp = node_p.reshape(_NODES, n * (n + m)), node_dp.reshape(_NODES, n * (n + m) * k)
    while first < kinds.shape[0]:
        if first == 0 or kinds[first, 0] != kinds[first - 1, 0]:
            fastest = _fill(size, rates, entries, kinds[first, 0], ab, dab)
        last = first + 1  # kinds are sorted: those of one flow and of like lengths stand together
        while last < kinds.shape[0] and kinds[last, 0] == kinds[first, 0]:
            if kinds[last, 1] < kinds[last - 1, 1] or (kinds[last, 1] - kinds[first, 1]) * fastest > _SPAN:
                break
            last += 1
        if last - first <= _NODES:
            for q in range(first, last):
                exact_step(ab, dab, kinds[q, 1], p[q], dp[q])
        else:
            middle, half = (kinds[first, 1] + kinds[last - 1, 1]) / 2, (kinds[last - 1, 1] - kinds[first, 1]) / 2
            for z in range(_NODES):
                exact_step(ab, dab, middle + half * np.cos(np.pi * (z + 0.5) / _NODES), node_p[z], node_dp[z])
            for q in range(first, last):
                _between((kinds[q, 1] - middle) / half, flat_node_p, flat_node_dp, flat_p[q], flat_dp[q])
        first = last
    return p, dp
