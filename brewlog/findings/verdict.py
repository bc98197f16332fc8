"""The rules: when the log is refused, and which verdict an interval earns."""

from __future__ import annotations

import numpy as np

from brewlog.findings.effects import Effect, Sides
from brewlog.findings.model import Fit
from brewlog.findings.rows import Rows
from brewlog.findings.sentences import REFUSALS, kelvin

FEWEST = 8
"""Usable brews below which nothing is said."""
FEWEST_ON_A_SIDE = 3
NARROWEST = 0.3
"""10-90 % range of tightness below which nothing is said. [K]"""
WIDEST_SLOPE = 5.0
"""Posterior sd of the slope above which nothing is said. [points/K]"""
MATTERS = 1.0
"""An effect within this of zero is too small to matter. [points]"""
TAIL = 0.10
"""Two-sided tail that must remain when one of the most telling brews is left out."""


def refusal(rows: Rows, sides: Sides | None, fit: Fit | None) -> tuple[str, str] | None:
    """Reason why nothing is said and what would help, or None where something can be said."""
    n = rows.n
    if n < FEWEST or sides is None:
        lost = f"; {len(rows.left_out)} were left out, see why under left_out" if len(rows.left_out) else ""
        return _say("few", n=n, brews="brew" if n == 1 else "brews", lost=lost)
    few = min(sides.counts)
    if sides.spread < NARROWEST:
        return _say("narrow", spread=f"{sides.spread:.2f}")
    if few < FEWEST_ON_A_SIDE:
        tight = sides.counts[0] == few
        side, sign = ("tightly", "up to") if tight else ("loosely", "above")
        return _say("side", few=few, n=n, side=side, sign=sign, split=kelvin(sides.split))
    uncertainty, variance = float((rows.tight_sd**2).mean()), float(rows.tight.var(ddof=1))
    if uncertainty > 0.5 * variance:
        return _say("vague", uncertainty=f"{uncertainty**0.5:.2f}", spread=f"{variance**0.5:.2f}")
    if fit is None:
        return _say("flat", n=n, columns="too many")
    sd = fit.posterior.along(fit.slope).sd
    if sd > WIDEST_SLOPE:
        return _say("wide", sd=f"{sd:.1f}")
    return None


def _say(kind: str, **values: object) -> tuple[str, str]:
    reason, help_ = REFUSALS[kind]
    return reason.format(**values), help_.format(**values)


def judge(gain: Effect, doubled: Effect, without: list[Effect]) -> str:
    """Verdict of an interval and of its checks.

    Parameters
    ----------
    gain : Effect
        As fitted.
    doubled : Effect
        With the prior sds of all covariates and of the trend doubled.
    without : list of Effect
        Without each of the most influential brews.

    Returns
    -------
    str
        `supported`, `leaning`, `opposite`, `too small to matter` or `not settled`.
    """
    low, high = gain.low, gain.high
    if low > 0:
        return "supported" if doubled.low > 0 and all(map(stands, without)) else "leaning"
    if high < 0:
        return "opposite"
    if max(abs(low), abs(high)) <= MATTERS:
        return "too small to matter"
    return "not settled"


def stands(effect: Effect) -> bool:
    """Whether an effect keeps its sign with a two-sided tail below 0.10."""
    return bool(effect.estimate > 0 and effect.distribution is not None and effect.distribution.two_sided() < TAIL)


def confusion(fit: Fit) -> dict[str, float]:
    """Squared posterior correlation of every column with the tightness slope."""
    cov = fit.posterior.cov
    slope = fit.design.index("hold_rms")
    diagonal = np.diag(cov)
    scale = np.sqrt(np.maximum(diagonal * diagonal[slope], 1e-300))
    squared = (cov[slope] / scale) ** 2
    skip = ("intercept", "hold_rms")
    return {
        name: float(value)
        for name, value, kind in zip(fit.design.names, squared, fit.design.kinds, strict=True)
        if kind not in skip
    }
