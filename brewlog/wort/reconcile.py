"""Data reconciliation: the smallest changes to the readings that make the account close.

The readings `y` of the states `x` err by `D e`, where `e` are independent sources of error of unit variance: sources
that several readings share (the offset of one hydrometer) have several entries in their column, and so correlations
are kept. States without a reading are unknown and are eliminated by projection before anything is adjusted.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

Array = NDArray[np.float64]
Constraints = Callable[[Array], tuple[Array, Array]]
"""State -> residuals of the balances, shape (m,), and their derivatives, shape (m, p)."""

_RANK = 1e-9


@dataclass(frozen=True)
class Reconciled:
    """Readings adjusted so that every balance closes."""

    state: Array
    """Adjusted states, shape (p,)."""
    errors: Array
    """Error of each adjusted state per unit of each source, shape (p, s)."""
    determined: NDArray[np.bool_]
    """False for states that neither a reading nor a balance determines, shape (p,)."""
    chi_square: float
    df: int
    """Balances left over for testing after the unknown states are eliminated."""
    misfit: Array
    """Residuals of those balances at the readings, shape (df,)."""
    weight: Array
    """Inverse covariance of the misfit, shape (df, df)."""
    effect: Array
    """Change of the misfit by a unit slip in each state's reading, shape (df, p); 0 for unknown states."""
    converged: bool

    @property
    def p_value(self) -> float:
        """Probability of a misfit at least this large if nothing slipped; 1 where there is nothing to test."""
        return float(chdtrc(self.df, self.chi_square)) if self.df else 1.0

    def slips(self, directions: Array | None = None) -> tuple[Array, Array, Array]:
        """Slip that each reading would need alone to explain the misfit, its sd, and the chi-square it takes away.

        Parameters
        ----------
        directions : numpy.ndarray, shape (k, p), optional
            Slips that move several readings at once; each reading alone when None.

        Returns
        -------
        size, sd, gain : numpy.ndarray
            `gain` is the square of the standardised adjustment (the measurement test of maximum power): the
            chi-square of the account falls by it when that reading is set aside. Where the balances say nothing about
            a reading, `size` and `sd` are NaN and `gain` is 0.

        References
        ----------
        .. [1] Mah, R. S. H., Tamhane, A. C., "Detection of gross errors in process data", AIChE J. 28 (1982) 828.
        """
        effect = self.effect if directions is None else self.effect @ directions.T
        weighted = self.weight @ effect
        information = np.einsum("dk,dk->k", effect, weighted)
        known = information > _RANK * max(float(information.max(initial=0.0)), 1e-300)
        score = weighted.T @ self.misfit
        with np.errstate(divide="ignore", invalid="ignore"):
            size = np.where(known, score / information, np.nan)
            sd = np.where(known, 1.0 / np.sqrt(information), np.nan)
            gain = np.where(known, score**2 / information, 0.0)
        return size, sd, gain


def reconcile(
    readings: Array, parts: Array, unknown: NDArray[np.bool_], constraints: Constraints, rounds: int = 12
) -> Reconciled:
    """Adjust readings by weighted least squares so that every constraint holds.

    Parameters
    ----------
    readings : numpy.ndarray, shape (p,)
        Readings of the states; a first guess where `unknown`.
    parts : numpy.ndarray, shape (p, s)
        Change of each reading by one standard deviation of each source of error; not used where `unknown`.
    unknown : numpy.ndarray of bool, shape (p,)
        States without a reading.
    constraints : callable
        State -> residuals and their derivatives; need not be linear.
    rounds : int
        Largest number of linearisations.

    Returns
    -------
    Reconciled

    Notes
    -----
    Minimises the sum of squared source errors under the constraints, linearised anew in each round; unknown states are
    projected out, so that only balances that can be tested adjust anything [1]_ [2]_. With linear constraints and
    independent errors this is the classical ``x = y - V A' (A V A')^-1 A y``.

    References
    ----------
    .. [1] Crowe, C. M., Garcia Campos, Y. A., Hrymak, A., "Reconciliation of process flow rates by matrix projection",
       AIChE J. 29 (1983) 881.
    .. [2] Narasimhan, S., Jordache, C., "Data Reconciliation and Gross Error Detection", 2000, chapters 3 and 5.

    Examples
    --------
    Three flows, the first the sum of the others, all read with the same sd: the misfit of 3 is shared out.

    >>> total = np.array([[1.0, -1.0, -1.0]])
    >>> fit = reconcile(np.array([12.0, 5.0, 4.0]), np.eye(3), np.zeros(3, bool), lambda x: (total @ x, total))
    >>> fit.state.round(6), round(fit.chi_square, 6), fit.df
    (array([11.,  6.,  5.]), 3.0, 1)
    """
    known = ~unknown
    parts = np.where(known[:, None], parts, 0.0)
    state = readings.astype(float).copy()
    source = np.zeros(parts.shape[1])
    converged = False
    for _ in range(rounds):
        residual, slope = constraints(state)
        to_source = slope @ parts
        free = slope[:, unknown]
        left, into_free = _split(free)
        misfit = left.T @ (residual - to_source @ source)
        testable = left.T @ to_source
        basis, inverse = _whiten(testable @ testable.T)
        new_source = -testable.T @ (inverse @ misfit)
        new_state = readings + parts @ new_source
        step_free = -into_free @ (residual + to_source @ (new_source - source))
        new_state[unknown] = state[unknown] + step_free
        change = np.abs(new_state - state) / (1.0 + np.abs(state))
        state, source = new_state, new_source
        if not np.all(np.isfinite(state)):
            break
        if change.max(initial=0.0) < 1e-6:  # the next round would change it by the square of that
            converged = True
            break
    keep = np.eye(parts.shape[1]) - testable.T @ inverse @ testable
    errors = parts @ keep
    errors[unknown] = -into_free @ to_source @ keep
    determined = np.ones(state.shape[0], dtype=bool)
    determined[unknown] = _determined(free)
    effect = basis.T @ left.T @ np.where(known, slope, 0.0)
    reduced = basis.T @ misfit
    weight = basis.T @ inverse @ basis
    return Reconciled(
        state,
        errors,
        determined,
        float(reduced @ weight @ reduced),
        int(basis.shape[1]),
        reduced,
        weight,
        effect,
        converged,
    )


def _split(free: Array) -> tuple[Array, Array]:
    """Directions of the balances that no unknown touches, and the pseudo-inverse for the unknowns."""
    rows, columns = free.shape
    if columns == 0:
        return np.eye(rows), np.zeros((0, rows))
    u, s, vt = np.linalg.svd(free)
    rank = int(np.sum(s > _RANK * max(float(s.max(initial=0.0)), 1e-300)))
    pseudo = (vt[:rank].T / s[:rank]) @ u[:, :rank].T
    return u[:, rank:], pseudo


def _determined(free: Array) -> NDArray[np.bool_]:
    """Which unknowns the balances determine: those that no direction without effect moves."""
    if free.shape[1] == 0:
        return np.zeros(0, dtype=bool)
    _, s, vt = np.linalg.svd(free)
    rank = int(np.sum(s > _RANK * max(float(s.max(initial=0.0)), 1e-300)))
    return np.asarray(np.all(np.abs(vt[rank:]) < 1e-7, axis=0))


def _whiten(covariance: Array) -> tuple[Array, Array]:
    """Directions in which the misfit can vary, and the inverse covariance there."""
    if covariance.shape[0] == 0:
        return np.zeros((0, 0)), np.zeros((0, 0))
    values, vectors = np.linalg.eigh(covariance)
    keep = values > _RANK * max(float(values.max()), 1e-300)
    basis = vectors[:, keep]
    return basis, (basis / values[keep]) @ basis.T
