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


@njit(cache=True)
def evaluate(shape, curved, params, layout, fixed, wiring, rows, priors, read, jr, jj):
    """Sum of squares at `params`, and the normal equations there.

    Parameters
    ----------
    shape : tuple of five tuples
        As of `normal.accumulate`.
    curved : bool
        Whether ``J'J`` is wanted, else only ``J'r``.
    params : array
        Logarithms of the free constants, the offset if free, and per series the shift of the room if free and the start
        temperatures.
    layout : tuple
        Which constants are free, and whether the offset is.
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
    at, offset_free = layout
    logs, offset = fixed[0].copy(), fixed[1]
    rates, entries, starts, h = wiring
    kinds, ends, kind, drive, measured, weight = rows
    n, m, k, room, nodes = len(shape[0]), len(shape[1]), len(shape[2]), len(shape[3]), len(shape[4])
    series, columns = ends.size - 1, 1 + k + room + nodes
    for c in range(k):
        logs[at[c]] = params[c]
    if offset_free:
        offset = params[k]
    shift, begin = np.zeros(series), np.zeros((series, n, columns))
    here = k + (1 if offset_free else 0)
    for s in range(series):
        if room > 0:
            shift[s] = params[here]
        here += room
        for i in range(n):
            for j in range(nodes):
                begin[s, i, 0] += starts[i, j] * params[here + j]
                begin[s, i, 1 + k + room + j] = starts[i, j]
        here += nodes
    node_p, node_dp, node, count, share = node_steps(logs, rates, entries, kinds, at, n, m)
    made, q = node_p.shape[0], kinds.shape[0]
    p = of_kinds(node_p.reshape(made, n * (n + m)), node, count, share).reshape(q, n, n + m)
    out = np.zeros((series, columns + 1, columns + 1))
    if curved:
        dp = of_kinds(node_dp.reshape(made, n * (n + m) * k), node, count, share).reshape(q, n, n + m, k)
        accumulate(shape, p, dp, ends, kind, drive, shift, begin, h, offset, measured, weight, read, out)
    else:
        at_step, at_begin, sums = np.zeros((q, n, n + m)), np.empty((series, n)), np.empty((series, 3))
        gradient(
            shape, p, ends, kind, drive, shift, begin, h, offset, measured, weight, read, at_step, at_begin, sums
        )  # fmt: skip
        at_node = of_nodes(at_step.reshape(q, n * (n + m)), made, node, count, share)
        flat = node_dp.reshape(made, n * (n + m), k)
        for z in range(made):
            for i in range(n * (n + m)):
                for c in range(k):
                    out[0, 1 + c, 0] += at_node[z, i] * flat[z, i, c]
        for s in range(series):
            out[s, 0, 0], out[s, columns, 0] = sums[s, 0], sums[s, 2]
            if room > 0:
                out[s, 1 + k, 0] = sums[s, 1]
            for j in range(nodes):
                for i in range(n):
                    out[s, 1 + k + room + j, 0] += starts[i, j] * at_begin[s, i]
    total = gather(out, curved, k, offset_free, jr, jj)
    return total + add_priors(curved, at, params, logs, priors[0], priors[1], jr, jj)


@njit(cache=True)
def descend(shape, start, low, high, layout, fixed, wiring, rows, priors, near, tolerance, seen, most):
    """Levenberg-Marquardt from `start`; where the curvature at hand serves on, only the gradient is made anew.

    Parameters
    ----------
    start, low, high : arrays
        Parameters to start from, and their bounds.
    near : bool
        Whether `start` is near the minimum: no damping to begin with, and the curvature there serves on while the steps
        shorten fast.
    tolerance : float
        Ends when the promised fall, as a part of the sum of squares, is below this.
    seen : int
        Readings that are there.
    most : int
        Evaluations at most.

    Returns
    -------
    here, total, jj, read : array, float, array, array
        Best parameters, sum of squares, ``J'J`` and what the model reads there.
    steps, end : int
        Evaluations, and `descent.DONE`, `descent.ONWARD` where `most` was reached first, or `NO_NUMBER`.
    """
    k = start.size
    here, there = start.copy(), np.minimum(np.maximum(start, low), high)
    jr, new_jr, scale = np.zeros(k), np.zeros(k), np.zeros(k)
    jj, new_jj, made = np.zeros((k, k)), np.zeros((k, k)), np.zeros((k, k))
    state = fresh_state(_NEAR if near else _FAR)
    best, read = np.empty_like(rows[4]), np.empty_like(rows[4])
    curved, end, steps = True, ONWARD, 0
    while steps < most and end == ONWARD:
        steps += 1
        total = evaluate(shape, curved, there, layout, fixed, wiring, rows, priors, read, new_jr, new_jj)
        if steps == 1 and not np.isfinite(total):
            return here, total, jj, best, steps, NO_NUMBER
        if curved:
            made[:] = new_jj
        else:
            _secant(here, there, jr, new_jr, jj, new_jj)
        before = state[EXPECTED]
        end = advance(here, jr, jj, there, total, new_jr, new_jj, scale, state, low, high, tolerance)
        if state[GAIN] >= 0:
            best, read = read, best
        close = state[EXPECTED] * seen <= _CLOSE * state[TOTAL]
        fast = near and (steps == 1 or state[EXPECTED] < _FAST * before)
        curved = state[GAIN] < 0.5 or not (close or fast)
    return here, state[TOTAL], made, best, steps, end


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
