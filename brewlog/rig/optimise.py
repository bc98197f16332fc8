"""Least squares: Levenberg-Marquardt on the normal equations, with columns scaled.

One optimiser serves every fit of this room. A problem is a function that returns, at given parameters, the sum of
squares, the gradient ``J'r`` and the matrix ``J'J`` (``J`` = derivative of the model, ``r`` = data minus model): a
trace model can add these up in one pass without storing ``J``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

Problem = Callable[[np.ndarray], tuple[float, np.ndarray, np.ndarray]]


@dataclass(frozen=True, slots=True)
class Minimum:
    """Where a least-squares fit ended."""

    params: np.ndarray
    sum_squares: float
    curvature: np.ndarray
    """``J'J`` at `params`, or less than a standard deviation from there."""
    steps: int
    """Evaluations of the problem."""
    converged: bool
    """False where the limit of steps was reached first."""

    def cov(self, variance: float = 1.0) -> np.ndarray:
        """Covariance of the parameters for a given variance of the residuals; infinite where nothing is told."""
        return variance * inverse(self.curvature)


def inverse(curvature: np.ndarray) -> np.ndarray:
    """Inverse of a symmetric non-negative matrix, scaled first; directions without information become very wide.

    Examples
    --------
    >>> inverse(np.diag([4.0, 1e-8])).round(2).tolist()
    [[0.25, 0.0], [0.0, 100000000.0]]
    """
    scale = np.sqrt(curvature.diagonal())
    scale[scale <= 0] = 1.0
    scales = scale * scale[:, None]
    values, vectors = np.linalg.eigh(curvature / scales)
    return (vectors / np.maximum(values, 1e-14)) @ vectors.T / scales


def minimise(
    problem: Problem,
    start: np.ndarray,
    *,
    lower: np.ndarray | None = None,
    upper: np.ndarray | None = None,
    max_steps: int = 200,
    tolerance: float = 1e-10,
) -> Minimum:
    """Find the parameters of least squares.

    Steps are damped in proportion to the diagonal of ``J'J`` (the largest seen so far, as Moré proposed), so the
    units of the parameters do not matter; a step that does not lower the sum of squares is never taken.

    Parameters
    ----------
    problem : callable
        From parameters to (sum of squares, J'r, J'J).
    start : array_like, shape (k,)
    lower, upper : array_like, shape (k,), optional
        Steps are cut at these bounds.
    max_steps : int
        Evaluations at most.
    tolerance : float
        Ends when the predicted fall of the sum of squares, as a part of it, is below this.

    Returns
    -------
    Minimum

    Raises
    ------
    ValueError
        If the sum of squares at `start` is not a number.

    References
    ----------
    .. [1] J. J. Moré, "The Levenberg-Marquardt algorithm: implementation and theory", Lecture Notes in Mathematics
       630, 1978, pp. 105-116.

    Examples
    --------
    >>> line = lambda p: (float(((y - p[0] * x) ** 2).sum()), np.array([((y - p[0] * x) * x).sum()]), [[(x * x).sum()]])
    >>> x, y = np.array([1.0, 2.0]), np.array([2.0, 4.0])
    >>> minimise(line, np.array([0.0])).params.round(6).tolist()
    [2.0]
    """
    from brewlog.rig import descent

    there = np.array(start, dtype=float)
    k = there.size
    low = np.full(k, -np.inf) if lower is None else np.asarray(lower, float)
    high = np.full(k, np.inf) if upper is None else np.asarray(upper, float)
    there = np.clip(there, low, high)
    here, jr, jj, scale = there.copy(), np.zeros(k), np.zeros((k, k)), np.zeros(k)
    state = descent.fresh_state(1e-3)
    for steps in range(1, max_steps + 1):
        total, new_jr, new_jj = problem(there)
        if steps == 1 and not np.isfinite(total):
            raise ValueError("the sum of squares at the start is not a number; check the data and the starting values.")
        new_jr, new_jj = np.asarray(new_jr, dtype=float), np.ascontiguousarray(new_jj, dtype=float)
        end = descent.advance(here, jr, jj, there, float(total), new_jr, new_jj, scale, state, low, high, tolerance)
        if end:
            return Minimum(here, float(state[descent.TOTAL]), jj, steps, True)
    return Minimum(here, float(state[descent.TOTAL]), jj, max_steps, False)


def least_squares(
    model: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]],
    data: np.ndarray,
    start: np.ndarray,
    **options: object,
) -> tuple[Minimum, np.ndarray]:
    """Fit a model that returns its values and its Jacobian; return the minimum and one standard deviation each.

    Parameters
    ----------
    model : callable
        From parameters (k,) to (values (n,), Jacobian (n, k)).
    data : array_like, shape (n,)
    start : array_like, shape (k,)
    **options
        Of `minimise`.

    Returns
    -------
    minimum : Minimum
    sd : numpy.ndarray, shape (k,)
        From the residual variance with n - k degrees of freedom.

    Examples
    --------
    >>> x = np.array([0.0, 1.0, 2.0])
    >>> line = lambda p: (p[0] + p[1] * x, np.column_stack([np.ones(3), x]))
    >>> found, sd = least_squares(line, np.array([1.0, 3.1, 4.9]), np.zeros(2))
    >>> found.params.round(2).tolist(), sd.round(3).tolist()
    ([1.05, 1.95], [0.112, 0.087])
    """
    data = np.asarray(data, dtype=float)

    def problem(params: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
        values, jacobian = model(params)
        rest = data - values
        return float(rest @ rest), jacobian.T @ rest, jacobian.T @ jacobian

    found = minimise(problem, np.asarray(start, dtype=float), **options)  # type: ignore[arg-type]
    variance = found.sum_squares / max(data.size - found.params.size, 1)
    return found, np.sqrt(np.diag(found.cov(variance)))
