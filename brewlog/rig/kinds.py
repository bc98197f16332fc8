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


_ANGLES = np.pi * (np.arange(_NODES) + 0.5) / _NODES
_PLACES = np.cos(_ANGLES)
"""Chebyshev's nodes, from -1 to 1."""
_PULLS = np.sin(_ANGLES) * (-1.0) ** np.arange(_NODES)
"""Their barycentric weights."""
_NOT_APART = 1e-15
"""Places nearer to a node than this are taken for it. [1]"""


@njit(cache=True)
def _fill(size, rates, entries, flow, of, ab, dab):
    """(A B) and its derivatives at a part of the usual flow; returns the fastest rate. [1/s]"""
    n = ab.shape[0]
    ab[:] = 0.0
    dab[:] = 0.0
    for z in range(entries.shape[0]):
        r, i, j = int(entries[z, 0]), int(entries[z, 1]), int(entries[z, 2])
        v = entries[z, 3] * size[r]
        if rates[r, 1] > 0.0:
            v *= flow
        ab[i, j] += v
        for c in range(of.size):
            dab[i, j, c] += v * rates[r, 2 + of[c]]
    fastest = 0.0
    for i in range(n):
        row = 0.0
        for j in range(n):
            row += abs(ab[i, j])
        fastest = max(fastest, row)
    return fastest


@njit(cache=True, fastmath={"contract", "reassoc"})
def _shares(place, share):
    """Share of each of Chebyshev's nodes in the value at `place` from -1 to 1 (barycentric form)."""
    total = 0.0
    for z in range(_NODES):
        apart = place - _PLACES[z]
        # at a node its share outweighs all others
        share[z] = _PULLS[z] / (apart if abs(apart) > _NOT_APART else _NOT_APART)
        total += share[z]
    total = 1 / total
    for z in range(_NODES):
        share[z] *= total


@njit(cache=True)
def node_steps(logs, rates, entries, kinds, of, n, m):
    """Exact steps of a model from which those for several kinds of step follow, with derivatives to log constants.

    Kinds that are few stand for themselves; many of like lengths follow from steps at Chebyshev's nodes.

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
    of : array
        Which constants derivatives are wanted of.
    n, m : int
        States and inputs.

    Returns
    -------
    p, dp : arrays, shape (nodes, n, n + m) and (nodes, n, n + m, len(of))
        phi and gamma side by side, and their derivatives.
    begin, count : arrays, shape (q,)
        First node of each kind, and how many nodes it follows from.
    share : array, shape (q, count) or empty
        Share of each node in a kind, where any kind follows from more nodes than one.
    """
    many = kinds.shape[0]
    p, dp = np.empty((many, n, n + m)), np.empty((many, n, n + m, of.size))
    ab, dab = np.empty((n, n + m)), np.empty((n, n + m, of.size))
    begin, count = np.empty(many, np.intp), np.empty(many, np.intp)
    share = np.empty((many if many > _NODES else 0, _NODES))
    size = np.empty(rates.shape[0])
    for r in range(rates.shape[0]):
        power = 0.0
        for c in range(logs.size):
            power += rates[r, 2 + c] * logs[c]
        size[r] = rates[r, 0] * np.exp(power)
    fastest, first, made = 0.0, 0, 0
    while first < many:
        if first == 0 or kinds[first, 0] != kinds[first - 1, 0]:
            fastest = _fill(size, rates, entries, kinds[first, 0], of, ab, dab)
        last = first + 1  # kinds are sorted: those of one flow and of like lengths stand together
        while last < many and kinds[last, 0] == kinds[first, 0]:
            if kinds[last, 1] < kinds[last - 1, 1] or (kinds[last, 1] - kinds[first, 1]) * fastest > _SPAN:
                break
            last += 1
        if last - first <= _NODES:
            for q in range(first, last):
                exact_step(ab, dab, kinds[q, 1], p[made], dp[made])
                begin[q], count[q] = made, 1
                made += 1
        else:
            middle, half = (kinds[first, 1] + kinds[last - 1, 1]) / 2, (kinds[last - 1, 1] - kinds[first, 1]) / 2
            for z in range(_NODES):
                exact_step(ab, dab, middle + half * _PLACES[z], p[made + z], dp[made + z])
            for q in range(first, last):
                begin[q], count[q] = made, _NODES
                _shares((kinds[q, 1] - middle) / half, share[q])
            made += _NODES
        first = last
    return p[:made], dp[:made], begin, count, share


@njit(cache=True, fastmath={"contract", "reassoc"})
def _mix(share, nodes, out):
    """Sum of rows, one behind another in `nodes`, by their shares: numbers that are fixed let the compiler unroll."""
    size = out.size
    for i in range(size):
        v = 0.0
        for z in range(_NODES):
            v += share[z] * nodes[z * size + i]
        out[i] = v


@njit(cache=True, fastmath={"contract"})
def _add(w, row, out):
    for i in range(out.size):
        out[i] += w * row[i]


@njit(cache=True)
def of_kinds(node, begin, count, share):
    """What belongs to each kind, shape (q, size), from what belongs to the nodes, shape (nodes, size)."""
    many, size = begin.size, node.shape[1]
    if share.shape[0] == 0 and node.shape[0] == many:
        return node
    out, flat = np.empty((many, size)), node.reshape(node.size)
    for q in range(many):
        if count[q] == 1:
            for i in range(size):  # an assignment of rows would compile its error messages too
                out[q, i] = node[begin[q], i]
        else:
            _mix(share[q], flat[begin[q] * size : (begin[q] + _NODES) * size], out[q])
    return out


@njit(cache=True)
def of_nodes(of_kind, made, begin, count, share):
    """The transpose of `of_kinds`: products with the kinds become products with the nodes, shape (made, size)."""
    out = np.zeros((made, of_kind.shape[1]))
    for q in range(begin.size):
        for z in range(count[q]):
            _add(share[q, z] if count[q] > 1 else 1.0, of_kind[q], out[begin[q] + z])
    return out


@njit(cache=True)
def model_steps(logs, rates, entries, kinds, n, m, slopes):
    """Exact steps of a model for several kinds of step, with their derivatives to the logarithms of its constants.

    Parameters as of `node_steps`; without `slopes` there are no derivatives (k = 0).

    Returns
    -------
    p, dp : arrays, shape (q, n, n + m) and (q, n, n + m, k)
        phi and gamma side by side, and their derivatives.
    """
    q, k = kinds.shape[0], logs.size if slopes else 0
    node_p, node_dp, begin, count, share = node_steps(logs, rates, entries, kinds, np.arange(k), n, m)
    made = node_p.shape[0]
    p = of_kinds(node_p.reshape(made, n * (n + m)), begin, count, share)
    dp = of_kinds(node_dp.reshape(made, n * (n + m) * k), begin, count, share)
    return p.reshape(q, n, n + m), dp.reshape(q, n, n + m, k)
