"""Compiled: the sum of squares of a model and several series at given parameters, and the way down to its minimum.

Importing this module imports numba; the rest of the room does so only when something is computed.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from brewlog.rig.descent import EXPECTED, GAIN, ONWARD, TOTAL, advance, fresh_state
from brewlog.rig.gathering import add_priors, gather
from brewlog.rig.kinds import node_steps, of_kinds, of_nodes
from brewlog.rig.normal import accumulate, gradient

_CLOSE = 0.1
"""Steps that promise a fall of less than this, in variances of a reading, take the curvature at hand: they are shorter
than a third of a standard deviation. [1]"""
_FAST = 0.05
"""So do, near the minimum, steps that promise less than this part of what the step before them did."""
_FAR, _NEAR = 1e-3, 1e-9
"""Damping to begin with."""
NO_NUMBER = -1
"""End of a descent that met no number at its start."""


@njit(cache=True, inline="always")  # compiled as a part of `descend`, not once more for itself
def evaluate(shape, curved, params, layout, fixed, wiring, rows, priors, read, jr, jj):
    """Sum of squares at `params`, and the normal equations there.

    Parameters
    ----------
    shape : tuple of four tuples
        As of `normal.accumulate`.
    curved : bool
        Whether ``J'J`` is wanted, else only ``J'r``.
    params : array
        Logarithms of the free constants, the offset if free, and per series the shift of the room if free and the start
        temperatures.
    layout : tuple
        Which constants are free, and whether the offset and the shift of the room are.
    fixed : tuple
        Logarithms of all constants, of which the free ones are not looked at, and the offset if it is not free.
    wiring : tuple
        Rates and entries of the model, what start temperatures make of the states, and what the sensors see.
    rows : tuple
        Of `Rows`: kinds, ends, kind, drive, measured, weight.
    priors : tuple
        As of `gathering.add_priors`.
    read : array, shape (rows, 2)
        Receives what the model reads.
    jr, jj : arrays
        Receive ``J'r`` and, if `curved`, ``J'J``.
    """
    at, offset_free, room_free = layout
    logs, offset = fixed[0].copy(), fixed[1]
    rates, entries, starts, h = wiring
    kinds, ends, kind, drive, measured, weight = rows
    n, m, k, nodes = len(shape[0]), len(shape[1]), len(shape[2]), len(shape[3])
    series, columns = ends.size - 1, 2 + k + nodes
    for c in range(at.size):
        logs[at[c]] = params[c]
    here = at.size
    if offset_free:
        offset = params[here]
        here += 1
    shift, first = np.zeros(series), np.empty((series, nodes))
    for s in range(series):
        if room_free:
            shift[s] = params[here]
            here += 1
        for j in range(nodes):
            first[s, j] = params[here + j]
        here += nodes
    node_p, node_dp, node, count, share = node_steps(logs, rates, entries, kinds, np.arange(k), n, m)
    made, q = node_p.shape[0], kinds.shape[0]
    p = of_kinds(node_p.reshape(made, n * (n + m)), node, count, share).reshape(q, n, n + m)
    out = np.zeros((series, columns + 1, columns + 1))
    if curved:
        dp = of_kinds(node_dp.reshape(made, n * (n + m) * k), node, count, share).reshape(q, n, n + m, k)
        accumulate(shape, p, dp, ends, kind, drive, shift, first, starts, h, offset, measured, weight, read, out)
    else:
        at_step = np.zeros((q, n, n + m))
        gradient(shape, p, ends, kind, drive, shift, first, starts, h, offset, measured, weight, read, at_step, out)
        at_node = of_nodes(at_step.reshape(q, n * (n + m)), made, node, count, share)
        flat = node_dp.reshape(made, n * (n + m), k)
        for z in range(made):
            for i in range(n * (n + m)):
                for c in range(k):
                    out[0, 1 + c, 0] += at_node[z, i] * flat[z, i, c]
    total = gather(out, curved, k, at, offset_free, room_free, jr, jj)
    return total + add_priors(curved, at, params, logs, priors[0], priors[1], jr, jj)


@njit(cache=True)
def descend(shape, start, low, high, layout, fixed, wiring, rows, priors, near, curvature, tolerance, seen, most):
    """Levenberg-Marquardt from `start`; where the curvature at hand serves on, only the gradient is made anew.

    Parameters
    ----------
    start, low, high : arrays
        Parameters to start from, and their bounds.
    near : bool
        Whether `start` is near the minimum: no damping to begin with, and the curvature there serves on while the steps
        shorten fast.
    curvature : array, shape (k, k) or (0, 0)
        ``J'J`` of the same readings on few cells, for the first step; empty where there is none.
    tolerance : float
        Ends when the promised fall, as a part of the sum of squares, is below this.
    seen : int
        Readings that are there.
    most : int
        Evaluations at most.

    Returns
    -------
    here, total, jj, read : array, float, array, array
        Best parameters, sum of squares, ``J'J`` there or close by, and what the model reads there.
    steps, end : int
        Evaluations, and `descent.DONE`, `descent.ONWARD` where `most` was reached first, or `NO_NUMBER`.
    """
    k = start.size
    here, there = start.copy(), np.minimum(np.maximum(start, low), high)
    jr, new_jr, scale = np.zeros(k), np.zeros(k), np.zeros(k)
    jj, new_jj, made = np.zeros((k, k)), np.zeros((k, k)), np.zeros((k, k))
    state = fresh_state(_NEAR if near else _FAR)
    best, read = np.empty_like(rows[4]), np.empty_like(rows[4])
    own, end, steps = False, ONWARD, 0
    curved = curvature.shape[0] < k
    if not curved:
        _copy(curvature, new_jj)
    while steps < most and end == ONWARD:
        steps += 1
        total = evaluate(shape, curved, there, layout, fixed, wiring, rows, priors, read, new_jr, new_jj)
        if steps == 1 and not np.isfinite(total):
            return here, total, jj, best, steps, NO_NUMBER
        if not curved and steps > 1:
            _secant(here, there, jr, new_jr, jj, new_jj)
        before = state[EXPECTED]
        enough = tolerance if own or curved else 0.0  # no end without a curvature of these rows
        end = advance(here, jr, jj, there, total, new_jr, new_jj, scale, state, low, high, enough)
        if state[GAIN] >= 0:
            best, read = read, best
            if curved:
                _copy(jj, made)
                own = True
        close = state[EXPECTED] * seen <= _CLOSE * state[TOTAL]
        fast = near and (steps == 1 or state[EXPECTED] < _FAST * before)
        curved = state[GAIN] < 0.5 or not own or not (close or fast)
    return here, state[TOTAL], made if own else jj, best, steps, end


@njit(cache=True)
def _copy(matrix, out):
    for i in range(matrix.shape[0]):
        for j in range(matrix.shape[1]):
            out[i, j] = matrix[i, j]


@njit(cache=True)
def _secant(here, there, jr, new_jr, jj, new_jj):
    """Curvature at hand, corrected by how the gradient changed along the step (Broyden, Fletcher, Goldfarb, Shanno)."""
    size = here.size
    pull, along, told = np.zeros(size), 0.0, 0.0
    for i in range(size):
        for j in range(size):
            new_jj[i, j] = jj[i, j]
            pull[i] += jj[i, j] * (there[j] - here[j])
        along += (there[i] - here[i]) * pull[i]
        told += (there[i] - here[i]) * (jr[i] - new_jr[i])
    # a change far from what was expected tells of more than curvature
    if along > 0.0 and told > 0.2 * along:
        for i in range(size):
            for j in range(size):
                new_jj[i, j] += (jr[i] - new_jr[i]) * (jr[j] - new_jr[j]) / told - pull[i] * pull[j] / along
