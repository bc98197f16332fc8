"""The rules: when the log is refused, and which verdict an interval earns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brewlog.findings.design import Move, joint_move
from brewlog.findings.effects import CAUSED, Effect, Sides
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
COINCIDES = 0.65
"""Share of a setting's variation that went with the only move, from which on the two count as one change."""
AGAINST = 4
"""Brews against the move that tell it apart from what came with it."""
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


def judge(gain: Effect, doubled: Effect, to_stand: list[Effect]) -> str:
    """Verdict of an interval and of its checks.

    Parameters
    ----------
    gain : Effect
        As fitted.
    doubled : Effect
        With the prior sds of all covariates and of the trend doubled.
    to_stand : list of Effect
        Without each of the most influential brews, and with more unwritten at the move: the sign must be kept.

    Returns
    -------
    str
        `supported`, `leaning`, `opposite`, `too small to matter` or `not settled`.
    """
    low, high = gain.low, gain.high
    if low > 0:
        return "supported" if doubled.low > 0 and all(map(stands, to_stand)) else "leaning"
    if high < 0:
        return "opposite"
    if max(abs(low), abs(high)) <= MATTERS:
        return "too small to matter"
    return "not settled"


def stands(effect: Effect) -> bool:
    """Whether an effect keeps its sign with a two-sided tail below 0.10."""
    return bool(effect.estimate > 0 and effect.distribution is not None and effect.distribution.two_sided() < TAIL)


@dataclass(frozen=True)
class Rival:
    """A recorded setting that changed together with the control sensor, which each rig moved once."""

    name: str
    words: str
    """What it is, with its means before and after the move."""
    points: float
    """What its change may be worth at most: two prior sds. [points]"""


def settings_moved(fit: Fit, move: Move, share: float) -> list[Rival]:
    """Recorded settings of whose variation at least `share` went with a move; not those that the sensor moves."""
    found = []
    before, after = move.after < 0, move.after > 0
    for column in fit.rows.columns:
        known = ~column.filled
        if column.name in CAUSED or min((known & before).sum(), (known & after).sum()) < 2:
            continue
        use = known & (move.after != 0)
        if _went_with(column.values[use], move.after[use]) < share:
            continue
        means = [float(column.values[known & side].mean()) for side in (before, after)]
        most = abs(fit.priors.mean(column.name)) + 2.0 * fit.priors.sd(column.name)
        first, then = (mean + column.centre for mean in means)
        words = f"{column.words} {first:.3g} to {then:.3g} {column.per}"
        found.append(Rival(column.name, words, abs(means[1] - means[0]) * most))
    return sorted(found, key=lambda rival: -rival.points)


def _went_with(values: np.ndarray, other: np.ndarray) -> float:
    """Squared correlation of two columns; 0 where one of them never changed."""
    values, other = values - values.mean(), other - other.mean()
    size = (values @ values) * (other @ other)
    return float((values @ other) ** 2 / size) if size > 0 else 0.0


def rival(fit: Fit) -> Rival | None:
    """Setting that changed with the only move of each rig and could be behind it; None where brews tell the two apart.

    Brews that went against the move, as in random pairs, tell them apart; so do enough brews between the moves of
    several rigs.
    """
    move = joint_move(fit.design.moves)
    if move is None:
        return None
    wanted = np.where(move.after > 0, move.to, "mash" if move.to == "base" else "base")
    inside = (move.after != 0) & (fit.rows.control != "")
    if (inside & (fit.rows.control != wanted)).sum() >= AGAINST:
        return None
    found = settings_moved(fit, move, COINCIDES)
    return found[0] if found and found[0].points >= MATTERS else None


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
