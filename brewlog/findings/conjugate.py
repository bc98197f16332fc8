"""The estimator: least squares with the priors stacked as rows, for several error covariances at once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from scipy.linalg.blas import dtrsm
from scipy.linalg.lapack import dtrtri

BLOCK = 32
"""Rows that are solved at a time."""


@dataclass(frozen=True)
class Conjugate:
    """Posteriors of one linear model under several error covariances."""

    means: np.ndarray
    """Coefficients, shape (scatters, columns)."""
    roots: np.ndarray
    """Roots of their covariances, shape (scatters, columns, columns): covariance = root @ root.T."""
    log_evidence: np.ndarray
    """Log marginal likelihood up to one common constant, shape (scatters,)."""


def conjugate(
    design: np.ndarray, response: np.ndarray, covariances: np.ndarray, mean: np.ndarray, sd: np.ndarray
) -> Conjugate:
    """Normal posterior of the coefficients, with the priors stacked as rows below the data.

    The same numbers as ``statsmodels`` GLS on the stacked rows with ``fit(cov_type="fixed scale")``, for several
    error covariances at once and by one orthogonal factorisation, so that badly conditioned columns keep their digits.
    A flat prior (`sd` infinite) adds nothing.

    Parameters
    ----------
    design : numpy.ndarray, shape (rows, columns)
    response : numpy.ndarray, shape (rows,)
    covariances : numpy.ndarray, shape (scatters, rows, rows)
        Of the errors of the rows.
    mean, sd : numpy.ndarray, shape (columns,)
        Normal priors; `sd` infinite = flat, 0 = pinned at its mean.

    Returns
    -------
    Conjugate

    Raises
    ------
    ValueError
        If columns with flat priors cannot be told apart at all.

    Notes
    -----
    log evidence = -1/2 (ln det V + ln det P + ln det(X'V^-1 X + P^-1) + weighted sum of squares of the stacked rows),
    V the error covariance, P the prior covariance.

    Examples
    --------
    >>> x = np.column_stack([np.ones(3), [0.0, 1.0, 2.0]])
    >>> flat = np.full(2, np.inf)
    >>> conjugate(x, np.array([1.0, 3.0, 5.0]), np.eye(3)[None], np.zeros(2), flat).means.round(6)
    array([[1., 2.]])
    """
    return posterior_of(whiten(design, response, covariances), mean, sd)


@dataclass(frozen=True)
class Whitened:
    """Columns and response in units of their errors, once per error covariance."""

    rows: np.ndarray
    """Design with the response as its last column, shape (scatters, rows, columns + 1)."""
    factors: np.ndarray
    """Lower triangles L with error covariance L @ L.T."""

    @cached_property
    def log_det(self) -> np.ndarray:
        """Log determinant of each error covariance."""
        return 2.0 * np.log(np.diagonal(self.factors, axis1=1, axis2=2)).sum(axis=1)

    @cached_property
    def inverses(self) -> np.ndarray:
        """Inverse of each factor."""
        return np.stack([dtrtri(one, lower=1)[0] for one in self.factors])

    def condensed(self) -> Whitened:
        """The same rows, rotated into no more of them than there are columns: every posterior stays what it was."""
        if self.rows.shape[1] <= self.rows.shape[2]:
            return self
        return Whitened(np.asarray(np.linalg.qr(self.rows, mode="r")), self.factors)


def whiten(design: np.ndarray, response: np.ndarray, covariances: np.ndarray) -> Whitened:
    """Bring columns and response to errors that are independent and of size one."""
    factors = np.linalg.cholesky(covariances)
    return Whitened(solve_lower(factors, np.column_stack([design, response])), factors)


def solve_lower(factors: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Solve L x = rows for every lower triangle L, block by block.

    Large triangles at once would be shared out over threads, which costs more than it saves where others work, too.
    """
    solved = np.empty((len(factors), *rows.shape))
    for start in range(0, len(rows), BLOCK):
        block = slice(start, start + BLOCK)
        right = rows[block] - factors[:, block, :start] @ solved[:, :start]
        for one, triangle in enumerate(factors[:, block, block]):
            solved[one, block] = dtrsm(1.0, triangle, right[one], lower=1)
    return solved


def posterior_of(data: Whitened, mean: np.ndarray, sd: np.ndarray) -> Conjugate:
    """Normal posterior of whitened rows: what `conjugate` returns."""
    free = sd > 0
    rows = data.rows
    if not free.all():
        pinned = rows[:, :, :-1][:, :, ~free] @ mean[~free]
        rows = np.concatenate([rows[:, :, :-1][:, :, free], (rows[:, :, -1] - pinned)[..., None]], axis=2)
    columns = int(free.sum())
    weight = 1.0 / sd[free]
    prior = np.zeros((len(rows), columns, columns + 1))
    prior[:, np.arange(columns), np.arange(columns)] = weight
    prior[:, :, columns] = weight * mean[free]
    upper: np.ndarray = np.asarray(np.linalg.qr(np.concatenate([rows, prior], axis=1), mode="r"))
    triangle, target = upper[:, :columns, :columns], upper[:, :columns, columns]
    diagonal = np.abs(np.diagonal(triangle, axis1=1, axis2=2))
    if columns and np.any(diagonal <= 1e-13 * np.linalg.norm(triangle, axis=1)):
        raise ValueError("columns with flat priors cannot be told apart; give one of them a prior sd, or leave it out.")
    squares = upper[:, columns, columns] ** 2 if upper.shape[1] > columns else np.zeros(len(rows))
    log_det_prior = -2.0 * np.log(weight[weight > 0]).sum()
    log_det_posterior = 2.0 * np.log(diagonal).sum(axis=1)
    evidence = -0.5 * (data.log_det + log_det_prior + log_det_posterior + squares)
    means = np.repeat(mean[None], len(rows), axis=0)
    roots = np.zeros((len(rows), len(mean), len(mean)))
    inverse = np.stack([dtrtri(one)[0] for one in triangle])
    means[:, free] = np.einsum("sij,sj->si", inverse, target)
    roots[:, free[:, None] & free] = inverse.reshape(len(rows), -1)
    return Conjugate(means, roots, evidence)


def stacked_gls(
    design: np.ndarray, response: np.ndarray, covariance: np.ndarray, mean: np.ndarray, sd: np.ndarray
) -> Any:
    """Fit by ``statsmodels`` GLS on data and priors stacked as rows: what `conjugate` computes in closed form.

    Parameters
    ----------
    design, response, covariance, mean, sd
        As for `conjugate`, with one covariance. Flat priors add no row.

    Returns
    -------
    statsmodels RegressionResults
        With the scale fixed at one.
    """
    from statsmodels.regression.linear_model import GLS

    proper = np.isfinite(sd)
    rows = np.vstack([design, np.eye(design.shape[1])[proper]])
    values = np.concatenate([response, mean[proper]])
    n = len(response)
    sigma = np.zeros((len(values), len(values)))
    sigma[:n, :n] = covariance
    sigma[n:, n:] = np.diag(sd[proper] ** 2)
    return GLS(values, rows, sigma=sigma).fit(cov_type="fixed scale")
