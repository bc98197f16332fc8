"""The estimator: least squares with the priors stacked as rows, mixed over the unknown scatter."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg.lapack import dtrtrs
from scipy.special import ndtr, ndtri

SCATTERS = np.geomspace(0.5, 8.0, 11)
"""Points of the scatter over which the fits are mixed. [points]"""


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
        Normal priors; `sd` above 0, infinite = flat.

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
    columns = design.shape[1]
    factor = np.linalg.cholesky(covariances)
    rows = np.column_stack([design, response])
    data = np.stack([dtrtrs(one, rows, lower=1)[0] for one in factor])
    weight = 1.0 / sd
    prior = np.column_stack([np.diag(weight), weight * mean])
    stacked = np.concatenate([data, np.broadcast_to(prior, (len(data), *prior.shape))], axis=1)
    upper: np.ndarray = np.asarray(np.linalg.qr(stacked, mode="r"))
    triangle, target = upper[:, :columns, :columns], upper[:, :columns, columns]
    diagonal = np.abs(np.diagonal(triangle, axis1=1, axis2=2))
    norms = np.linalg.norm(triangle, axis=1)
    if columns and np.any(diagonal <= 1e-13 * norms):
        raise ValueError("columns with flat priors cannot be told apart; give one of them a prior sd, or leave it out.")
    wanted = np.concatenate([np.broadcast_to(np.eye(columns), triangle.shape), target[..., None]], axis=2)
    solved = np.stack([dtrtrs(*pair)[0] for pair in zip(triangle, wanted, strict=True)])
    inverse, means = solved[..., :columns], solved[..., columns]
    squares = upper[:, columns, columns] ** 2 if upper.shape[1] > columns else np.zeros(len(data))
    log_det_errors = 2.0 * np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(axis=1)
    log_det_prior = -2.0 * np.log(weight[weight > 0]).sum()
    log_det_posterior = 2.0 * np.log(diagonal).sum(axis=1)
    return Conjugate(means, inverse, -0.5 * (log_det_errors + log_det_prior + log_det_posterior + squares))


@dataclass(frozen=True)
class Mixture:
    """Posterior of the coefficients: a mixture of normals, one per point of the scatter."""

    weights: np.ndarray
    means: np.ndarray
    roots: np.ndarray

    @cached_property
    def mean(self) -> np.ndarray:
        """Mean of each coefficient."""
        return self.weights @ self.means

    @cached_property
    def cov(self) -> np.ndarray:
        """Covariance of the coefficients, spread between the points of the scatter included."""
        away = (self.means - self.mean) * np.sqrt(self.weights)[:, None]
        inner = self.roots * np.sqrt(self.weights)[:, None, None]
        return np.einsum("sij,skj->ik", inner, inner) + away.T @ away

    @cached_property
    def squares(self) -> np.ndarray:
        """Mean of each squared coefficient."""
        return self.weights @ (self.means**2 + (self.roots**2).sum(axis=2))

    def along(self, contrast: np.ndarray, variance: float = 0.0) -> NormalMixture:
        """Distribution of `contrast` @ coefficients plus an independent error of that `variance`."""
        spread = np.einsum("j,sjk->sk", contrast, self.roots)
        return NormalMixture(self.weights, self.means @ contrast, np.sqrt((spread**2).sum(axis=1) + variance))


@dataclass(frozen=True)
class NormalMixture:
    """One number known as a mixture of normals."""

    weights: np.ndarray
    means: np.ndarray
    sds: np.ndarray

    @property
    def mean(self) -> float:
        """Its mean."""
        return float(self.weights @ self.means)

    @property
    def sd(self) -> float:
        """Its standard deviation."""
        return float(np.sqrt(self.weights @ (self.sds**2 + (self.means - self.mean) ** 2)))

    def cdf(self, value: ArrayLike) -> np.ndarray:
        """Probability of a value at or below `value`."""
        away = np.asarray(value, dtype=float)[..., None] - self.means
        scaled = np.divide(away, self.sds, out=np.where(away < 0, -np.inf, np.inf), where=self.sds > 0)
        return ndtr(scaled) @ self.weights

    def quantile(self, probability: ArrayLike) -> np.ndarray:
        """Value below which it lies with that probability, by Newton steps kept inside a shrinking bracket."""
        wanted = np.asarray(probability, dtype=float)
        low = np.full(wanted.shape, (self.means - 12.0 * self.sds).min())
        high = np.full(wanted.shape, (self.means + 12.0 * self.sds).max())
        if not np.all(self.sds > 0):
            return self._bisected(wanted, low, high)
        spread, scaled = self.sd, self.weights / self.sds / np.sqrt(2.0 * np.pi)
        value = np.clip(self.mean + spread * ndtri(wanted), low, high)
        for _ in range(60):
            away = (value[..., None] - self.means) / self.sds
            excess = ndtr(away) @ self.weights - wanted
            low, high = np.where(excess < 0, value, low), np.where(excess < 0, high, value)
            density = np.exp(-0.5 * away**2) @ scaled
            step = excess / np.maximum(density, 1e-300)
            new = value - step
            new = np.where((new >= low) & (new <= high), new, 0.5 * (low + high))
            settled = np.max(np.abs(new - value), initial=0.0) <= 1e-9 * spread
            value = new
            if settled:
                break
        return value

    def _bisected(self, wanted: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
        for _ in range(60):
            middle = 0.5 * (low + high)
            below = self.cdf(middle) < wanted
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return 0.5 * (low + high)

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Central interval that holds it with probability `level`."""
        low, high = self.quantile(np.array([(1 - level) / 2, (1 + level) / 2]))
        return float(low), float(high)

    def two_sided(self) -> float:
        """Two-sided tail beyond zero."""
        below = float(self.cdf(0.0))
        return 2.0 * min(below, 1.0 - below)


def mix(conj: Conjugate, scatters: np.ndarray, median: float, log_sd: float) -> Mixture:
    """Weigh the fits by their evidence and by the lognormal prior of the scatter.

    `scatters` are spaced evenly in their logarithm, so the weights need no spacing factor.
    """
    log_weight = conj.log_evidence - 0.5 * (np.log(scatters / median) / log_sd) ** 2
    weights = np.exp(log_weight - log_weight.max())
    return Mixture(weights / weights.sum(), conj.means, conj.roots)


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
