"""Posteriors mixed over the unknown scatter, and one number known as a mixture of normals."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from brewlog.findings.conjugate import Conjugate

SCATTERS = np.geomspace(0.5, 8.0, 11)
"""Points of the scatter over which the fits are mixed. [points]"""


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

    def intervals(self, level: float = 0.95) -> np.ndarray:
        """Central interval of every coefficient, shape (columns, 2)."""
        sds = np.sqrt((self.roots**2).sum(axis=2))
        return quantiles(self.weights, self.means.T, sds.T, np.array([(1 - level) / 2, (1 + level) / 2]))

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
        """Value below which it lies with that probability."""
        wanted = np.asarray(probability, dtype=float)
        found = quantiles(self.weights, self.means[None], self.sds[None], wanted.ravel())
        return found[0].reshape(wanted.shape)

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Central interval that holds it with probability `level`."""
        low, high = self.quantile(np.array([(1 - level) / 2, (1 + level) / 2]))
        return float(low), float(high)

    def two_sided(self) -> float:
        """Two-sided tail beyond zero."""
        below = float(self.cdf(0.0))
        return 2.0 * min(below, 1.0 - below)


def quantiles(weights: np.ndarray, means: np.ndarray, sds: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Quantiles of several mixtures of normals, by Newton steps kept inside a shrinking bracket.

    Parameters
    ----------
    weights : numpy.ndarray, shape (scatters,)
        Of the parts, the same for all mixtures.
    means, sds : numpy.ndarray, shape (mixtures, scatters)
    wanted : numpy.ndarray, shape (probabilities,)

    Returns
    -------
    numpy.ndarray, shape (mixtures, probabilities)
    """
    certain = np.min(sds, axis=1) <= 0
    safe = np.where(certain[:, None], 1.0, sds)[:, None, :]
    middle = means[:, None, :]
    centre = means @ weights
    spread = np.sqrt((safe[:, 0] ** 2 + (means - centre[:, None]) ** 2) @ weights)[:, None]
    low = np.repeat((means - 12.0 * safe[:, 0]).min(axis=1)[:, None], len(wanted), axis=1)
    high = np.repeat((means + 12.0 * safe[:, 0]).max(axis=1)[:, None], len(wanted), axis=1)
    scaled = weights / safe / np.sqrt(2.0 * np.pi)
    value = np.clip(centre[:, None] + spread * ndtri(wanted), low, high)
    for _ in range(60):
        away = (value[..., None] - middle) / safe
        excess = ndtr(away) @ weights - wanted
        low, high = np.where(excess < 0, value, low), np.where(excess < 0, high, value)
        density = (np.exp(-0.5 * away**2) * scaled).sum(axis=2)
        new = value - excess / np.maximum(density, 1e-300)
        new = np.where((new >= low) & (new <= high), new, 0.5 * (low + high))
        settled = np.all(np.abs(new - value) <= 1e-9 * spread)
        value = new
        if settled:
            break
    for row in np.flatnonzero(certain):
        value[row] = _bisected(NormalMixture(weights, means[row], sds[row]), wanted)
    return value


def _bisected(mixture: NormalMixture, wanted: np.ndarray) -> np.ndarray:
    """Quantiles of a mixture that holds parts without any spread."""
    low = np.full(wanted.shape, (mixture.means - 12.0 * mixture.sds).min())
    high = np.full(wanted.shape, (mixture.means + 12.0 * mixture.sds).max())
    for _ in range(60):
        middle = 0.5 * (low + high)
        below = mixture.cdf(middle) < wanted
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return 0.5 * (low + high)


def mix(conj: Conjugate, scatters: np.ndarray, median: float, log_sd: float) -> Mixture:
    """Weigh the fits by their evidence and by the lognormal prior of the scatter.

    `scatters` are spaced evenly in their logarithm, so the weights need no spacing factor.
    """
    log_weight = conj.log_evidence - 0.5 * (np.log(scatters / median) / log_sd) ** 2
    weights = np.exp(log_weight - log_weight.max())
    return Mixture(weights / weights.sum(), conj.means, conj.roots)
