"""The one model behind every finding: error covariance, and the passes that settle the weights."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from brewlog.findings.conjugate import Whitened, posterior_of, whiten
from brewlog.findings.design import Design, averages_rigs, build_design
from brewlog.findings.mixture import SCATTERS, Mixture, mix
from brewlog.findings.priors import Priors
from brewlog.findings.rows import Rows

WANDER_BREWS = 10.0
"""Brews over which a rig's slow wander is forgotten."""
SLOPE_SQUARE_CAP = 9.0
"""Most that the mean squared slope may count when an uncertain tightness widens a brew's error. [points^2/K^2]"""
BLUNDER = 2.5
"""Standardised residual beyond which a brew counts for less."""
PASSES = 4


@dataclass(frozen=True)
class Fit:
    """The model fitted to the usable brews."""

    rows: Rows
    priors: Priors
    design: Design
    posterior: Mixture
    """Of the columns of the design; pinned columns have no spread."""
    downweight: np.ndarray
    """Factor on each brew's error variance, 1 unless it stands far off."""
    residual: np.ndarray
    """Response minus the mixture mean. [points]"""
    standardised: np.ndarray
    """Residual over its own standard deviation, before any brew counts for less."""
    noise: np.ndarray
    """Variance of each brew beside the scatter: efficiency, tightness and fills. [points^2]"""
    squares: np.ndarray
    """Mean of each squared coefficient."""
    whitened: Whitened = field(repr=False)
    """Columns and response in units of the errors that the fit ended with."""

    @property
    def slope(self) -> np.ndarray:
        """Contrast that picks the tightness slope."""
        return self.contrast({"hold_rms": 1.0})

    def contrast(self, parts: dict[str, float]) -> np.ndarray:
        """Vector that adds up the named coefficients with these factors."""
        vector = np.zeros(len(self.design.names))
        for name, factor in parts.items():
            vector[self.design.index(name)] = factor
        return vector

    @property
    def scatter(self) -> float:
        """Mixture mean of the scatter from brew to brew. [points]"""
        return float(self.posterior.weights @ SCATTERS)

    @property
    def pair_scatter(self) -> float:
        """Scatter of one brew against the other of its pair: process, measuring error, one step of the wander.

        In points; the difference of a pair scatters by sqrt(2) times this.
        """
        step = self.priors.sd("wander") ** 2 * (1.0 - np.exp(-1.0 / WANDER_BREWS))
        return float(np.sqrt(self.scatter**2 + np.mean(self.rows.response_sd**2) + step))


def wander_covariance(rows: Rows, sd: float) -> np.ndarray:
    """Covariance of the slow wander: sd^2 exp(-|i - j| / 10) within a rig, i in order of time. [points^2]"""
    place = np.zeros(rows.n)
    for number in range(len(rows.rigs)):
        mine = np.flatnonzero(rows.rig == number)
        place[mine] = np.arange(len(mine))
    same = rows.rig[:, None] == rows.rig[None, :]
    return sd**2 * np.where(same, np.exp(-np.abs(place[:, None] - place[None, :]) / WANDER_BREWS), 0.0)


def shared_covariance(rows: Rows, priors: Priors) -> np.ndarray:
    """Covariance that brews share: slow wander, mash programme, and levels of rigs averaged over. [points^2]"""
    shared = wander_covariance(rows, priors.sd("wander"))
    if (rows.programme != "").any():
        same = rows.programme[:, None] == rows.programme[None, :]
        shared = shared + priors.sd("programme") ** 2 * (same & (rows.programme != ""))
    if averages_rigs(rows, priors):
        shared = shared + priors.sd("rig") ** 2 * (rows.rig[:, None] == rows.rig[None, :])
    return shared


def error_covariances(shared: np.ndarray, downweight: np.ndarray, noise: np.ndarray) -> np.ndarray:
    """Error covariance of the brews at each point of the scatter, shape (scatters, brews, brews). [points^2]"""
    covariances = np.repeat(shared[None], len(SCATTERS), axis=0)
    diagonal = np.arange(len(shared))
    covariances[:, diagonal, diagonal] += downweight * (SCATTERS[:, None] ** 2 + noise)
    return covariances


def mixed_squares(posterior: Mixture, design: Design) -> np.ndarray:
    """Mean of each squared coefficient; that of the slope is capped, as its prior is nearly flat."""
    squares = posterior.squares.copy()
    slope = design.index("hold_rms")
    squares[slope] = min(squares[slope], SLOPE_SQUARE_CAP)
    return squares


def fit_model(rows: Rows, priors: Priors, robust: bool = True) -> Fit:
    """Fit the model: at most four passes, each with the weights that the pass before it left.

    Parameters
    ----------
    rows : Rows
        At least one brew.
    priors : Priors
    robust : bool
        Whether brews that stand far off count for less.

    Returns
    -------
    Fit

    Notes
    -----
    Error variance of brew i: q_i (s^2 + u_i^2 + fills_i + E[slope^2] v_i), plus the wander's covariance;
    q_i = max(1, |standardised residual| / 2.5)^2, one q for all points of the scatter s.
    """
    design = build_design(rows, priors)
    shared = shared_covariance(rows, priors)
    own = np.diag(shared)
    uncertain = [(design.index("hold_rms"), rows.shrunk_variance)]
    uncertain += [(design.index(column.name), column.variance) for column in rows.columns if column.variance.any()]
    squares = np.where(np.isfinite(design.sd), design.mean**2 + design.sd**2, SLOPE_SQUARE_CAP)
    squares[design.index("hold_rms")] = min(squares[design.index("hold_rms")], SLOPE_SQUARE_CAP)
    new_q = np.ones(rows.n)
    for _ in range(PASSES):
        q = new_q
        noise = rows.response_sd**2 + sum(squares[k] * variance for k, variance in uncertain)
        data = whiten(design.matrix, rows.response, error_covariances(shared, q, noise))
        fits = posterior_of(data, design.mean, design.sd)
        posterior = mix(fits, SCATTERS, priors.mean("scatter"), priors.sd("scatter"))
        residual = rows.response - design.matrix @ posterior.mean
        standardised = residual / np.sqrt(posterior.weights @ SCATTERS**2 + noise + own)
        new_squares = mixed_squares(posterior, design)
        new_q = np.maximum(1.0, np.abs(standardised) / BLUNDER) ** 2 if robust else q
        settled = _near(new_q, q, 1e-3) and _near(new_squares, squares, 1e-2)
        squares = new_squares
        if settled:
            break
    return Fit(rows, priors, design, posterior, q, residual, standardised, noise, squares, data)


def _near(new: np.ndarray, old: np.ndarray, share: float) -> bool:
    return bool(np.all(np.abs(new - old) <= share * np.abs(old) + 1e-8))


def try_fit(rows: Rows, priors: Priors) -> Fit | None:
    """Fit the model; None with fewer than three brews, or where flat columns cannot be told apart."""
    if rows.n < 3:
        return None
    try:
        return fit_model(rows, priors)
    except (ValueError, np.linalg.LinAlgError):
        return None
