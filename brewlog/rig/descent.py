"""Compiled: one turn of Levenberg-Marquardt on the normal equations, for problems written in Python or compiled.

Importing this module imports numba; the rest of the room does so only when something is computed.
"""

from __future__ import annotations

import numpy as np
from numba import njit

TOTAL, DAMPING, EXPECTED, GAIN = range(4)
"""Places in the state of a descent: best sum of squares, damping, fall that the trial promises, fall per promise."""
ONWARD, DONE = 0, 1

_LEAST, _FULL, _MOST = 1e-12, 1e-8, 1e16
"""Bounds of the damping, and the one below which a step counts as undamped."""


@njit(cache=True)
def fresh_state(damping):
    """State of a descent that has seen nothing yet."""
    return np.array([np.inf, damping, 0.0, 1.0])


@njit(cache=True)
def _solve(core, pull, damping, free, move, low):
    """Damped step for the free parameters by Cholesky's method; False where the matrix is not positive."""
    k = pull.size
    for i in range(k):
        move[i] = 0.0
        if not free[i]:
            continue
        for j in range(i + 1):
            if not free[j]:
                continue
            v = core[i, j] + (damping if i == j else 0.0)
            for h in range(j):
                if free[h]:
                    v -= low[i, h] * low[j, h]
            if i > j:
                low[i, j] = v / low[j, j]
            elif v > 0.0:
                low[i, i] = np.sqrt(v)
            else:
                return False
    for i in range(k):
        if free[i]:
            v = pull[i]
            for h in range(i):
                if free[h]:
                    v -= low[i, h] * move[h]
            move[i] = v / low[i, i]
    for i in range(k - 1, -1, -1):
        if free[i]:
            v = move[i]
            for h in range(i + 1, k):
                if free[h]:
                    v -= low[h, i] * move[h]
            move[i] = v / low[i, i]
    return True


@njit(cache=True)
def _propose(here, there, jr, jj, scale, state, lower, upper, tolerance):
    """Write the next trial; `DONE` where even an undamped step promises nothing."""
    k = here.size
    core, factor, unit = np.empty((k, k)), np.empty((k, k)), np.sqrt(scale)
    pull, move, free = jr / unit, np.empty(k), np.empty(k, np.bool_)
    for i in range(k):
        free[i] = not ((here[i] <= lower[i] and jr[i] < 0) or (here[i] >= upper[i] and jr[i] > 0))
        for j in range(k):
            core[i, j] = jj[i, j] / (unit[i] * unit[j])
    while True:
        if not _solve(core, pull, state[DAMPING], free, move, factor):
            state[DAMPING] = 10 * max(state[DAMPING], _LEAST)
            if state[DAMPING] > _MOST:
                return DONE
            continue
        expected = 0.0
        for i in range(k):
            there[i] = min(max(here[i] + move[i] / unit[i], lower[i]), upper[i])
        for i in range(k):
            step = there[i] - here[i]
            expected += 2 * step * jr[i]
            for j in range(k):
                expected -= step * jj[i, j] * (there[j] - here[j])
        if expected > tolerance * max(state[TOTAL], 1e-300):
            state[EXPECTED] = expected
            return ONWARD
        # the fall must be small with hardly any damping too, else only the damping made the step short
        if state[DAMPING] <= _FULL:
            return DONE
        state[DAMPING] = max(state[DAMPING] * 1e-3, 0.1 * _FULL)


@njit(cache=True)
def advance(here, jr, jj, there, total, new_jr, new_jj, scale, state, lower, upper, tolerance):
    """Take or leave the trial that was evaluated, and write the next one.

    Parameters
    ----------
    here, jr, jj : arrays, shape (k,), (k,), (k, k)
        Best parameters so far, ``J'r`` and ``J'J`` there; overwritten where the trial is better.
    there : array, shape (k,)
        The trial; overwritten by the next one.
    total : float
        Sum of squares at the trial.
    new_jr, new_jj : arrays
        ``J'r`` and ``J'J`` at the trial.
    scale : array, shape (k,)
        Largest diagonal of ``J'J`` so far.
    state : array
        See `TOTAL`.
    lower, upper : arrays, shape (k,)
        Steps are cut at these bounds.
    tolerance : float
        Ends when the promised fall, as a part of the sum of squares, is below this.

    Returns
    -------
    int
        `ONWARD` or `DONE`.
    """
    k = here.size
    if total < state[TOTAL]:
        first = np.isinf(state[TOTAL])
        gain = 1.0 if first else (state[TOTAL] - total) / state[EXPECTED]
        state[GAIN] = gain
        if not first:
            state[DAMPING] *= max(1 / 9, 1 - (2 * gain - 1) ** 3) if gain > 0.25 else 2.0
            state[DAMPING] = max(state[DAMPING], _LEAST)
        state[TOTAL] = total
        for i in range(k):
            here[i], jr[i] = there[i], new_jr[i]
            for j in range(k):
                jj[i, j] = new_jj[i, j]
            scale[i] = max(scale[i], jj[i, i])
            if scale[i] <= 0.0:
                scale[i] = 1.0
    else:
        state[GAIN] = -1.0
        state[DAMPING] = 8 * max(state[DAMPING], 1e-9)
        furthest = 0.0
        for i in range(k):
            furthest = max(furthest, abs(there[i] - here[i]) / (abs(here[i]) + 1e-12))
        if state[DAMPING] > _MOST or furthest < 1e-14:
            return DONE
    return _propose(here, there, jr, jj, scale, state, lower, upper, tolerance)
