"""The fit once more under other assumptions or without a brew: in closed form, the weights of the brews kept."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from brewlog.findings.conjugate import Whitened, posterior_of
from brewlog.findings.mixture import SCATTERS, NormalMixture, mix
from brewlog.findings.model import Fit, mixed_squares
from brewlog.findings.priors import Priors


def under(fit: Fit, priors: Priors, data: Whitened | None = None) -> Fit:
    """Return the fit with other priors of its columns, the weights of the brews kept.

    Parameters
    ----------
    fit : Fit
    priors : Priors
        With the same sds of wander, programme and averaged rigs: those sit in the errors.
    data : Whitened, optional
        The fit's own rows, condensed, where several sets of priors are tried.
    """
    design = fit.design.under(priors)
    conj = posterior_of(fit.whitened if data is None else data, design.mean, design.sd)
    posterior = mix(conj, SCATTERS, priors.mean("scatter"), priors.sd("scatter"))
    residual = fit.rows.response - design.matrix @ posterior.mean
    squares = mixed_squares(posterior, design)
    return replace(fit, priors=priors, design=design, posterior=posterior, residual=residual, squares=squares)


@dataclass(frozen=True)
class LeftOut:
    """The tightness slope without each brew in turn."""

    weights: np.ndarray
    """Of the points of the scatter, shape (scatters, brews)."""
    means: np.ndarray
    """[points/K]"""
    sds: np.ndarray
    """[points/K]"""
    changes: np.ndarray
    """Slope without the brew minus slope with it. [points/K]"""

    def times(self, row: int, factor: float) -> NormalMixture:
        """`factor` times the slope without one brew."""
        sds = abs(factor) * self.sds[:, row]
        return NormalMixture(self.weights[:, row], factor * self.means[:, row], sds)


def leave_out(fit: Fit) -> LeftOut:
    """Slope without each brew in turn.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    LeftOut

    Notes
    -----
    Exact as long as the other brews keep their weights: leaving out row i is the same as giving it a coefficient of its
    own. With precision V^-1, posterior covariance C and k = V^-1 X C: misfit_i = (V^-1 (y - X b))_i,
    leverage_i = (V^-1)_ii - (k X' V^-1)_ii; b without i = b - k_i misfit_i / leverage_i, its covariance
    C + k_i' k_i / leverage_i, and the density of y_i given the others, which leaves the evidence, is normal about its
    prediction with variance 1 / leverage_i.
    """
    data = fit.whitened
    inverse, columns, target = data.inverses, data.rows[:, :, :-1], data.rows[:, :, -1]
    back = np.swapaxes(inverse, 1, 2)
    weighted = back @ columns
    roots, means, weights = fit.posterior.roots, fit.posterior.means, fit.posterior.weights
    slope = fit.design.index("hold_rms")
    away = target - np.einsum("snk,sk->sn", columns, means)
    misfit = np.einsum("snm,sm->sn", back, away)
    pulled = weighted @ roots
    alone = (inverse**2).sum(axis=1)
    leverage = alone - (pulled**2).sum(axis=2)
    # a brew that alone tells a coefficient without a prior leaves the slope as it is
    leverage = np.where(leverage > 1e-9 * alone, leverage, np.inf)
    gain = np.einsum("snk,sk->sn", pulled, roots[:, slope, :])
    own = (roots[:, slope, :] ** 2).sum(axis=1)
    log_weight = np.log(np.maximum(weights, 1e-300))[:, None] + 0.5 * (
        misfit**2 / leverage - np.log(np.where(np.isinf(leverage), 1.0, leverage))
    )
    left = np.exp(log_weight - log_weight.max(axis=0))
    left /= left.sum(axis=0)
    slopes = means[:, slope, None] - gain * misfit / leverage
    sds = np.sqrt(own[:, None] + gain**2 / leverage)
    return LeftOut(left, slopes, sds, (left * slopes).sum(axis=0) - float(weights @ means[:, slope]))
