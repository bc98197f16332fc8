"""Where a gain sits, in the mash (conversion) or in the rinse (lauter), where first-wort gravity tells."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from brewlog.findings.cells import RESPONSES, numbers_or_nan
from brewlog.findings.effects import Effect, split_sides
from brewlog.findings.model import try_fit
from brewlog.findings.priors import Priors
from brewlog.findings.rows import usable_rows
from brewlog.findings.verdict import refusal

PAIR = RESPONSES[2:]


def split_gain(
    table: pd.DataFrame, response: str, priors: Priors, own: Mapping[str, np.ndarray]
) -> pd.DataFrame | None:
    """Gain through conversion and through lauter, each in points of mash efficiency.

    Returns
    -------
    pandas.DataFrame or None
        Index `conversion`, `lauter`; columns estimate, low, high, brews. None where either efficiency is missing too
        often to be related, or where the response is one of the two.

    Notes
    -----
    mash = conversion x lauter, so a change of one counts with the mean of the other.
    """
    if response in PAIR or any(name not in table.columns for name in PAIR):
        return None
    fits = {}
    for name in PAIR:
        rows = usable_rows(table, name, priors.covariates, own, [])
        sides = split_sides(rows.tight) if rows.n else None
        fit = try_fit(rows, priors)
        if refusal(rows, sides, fit) or fit is None or sides is None:
            return None
        fits[name] = (fit, sides)
    rows_ = {}
    for name, partner in (PAIR, PAIR[::-1]):
        fit, sides = fits[name]
        share = float(fits[partner][0].rows.response.mean()) / 100.0
        shrunk = fit.rows.shrunk
        change = float(shrunk[sides.tight].mean() - shrunk[~sides.tight].mean())
        effect = Effect("points", fit.posterior.along(share * change * fit.slope))
        rows_[name] = (effect.estimate, *effect.conf_int(), fit.rows.n)
    return pd.DataFrame.from_dict(rows_, orient="index", columns=["estimate", "low", "high", "brews"])


def sits_in_rinse(split: pd.DataFrame | None) -> bool:
    """Whether a gain sits in the rinse: the lauter part is above zero, the smaller conversion part is not."""
    if split is None:
        return False
    estimate, low = split["estimate"].to_dict(), split["low"].to_dict()
    return bool(low["lauter"] > 0 >= low["conversion"] and estimate["conversion"] < estimate["lauter"])


def where_changed(table: pd.DataFrame, before: np.ndarray, after: np.ndarray) -> pd.DataFrame | None:
    """Split a change of mash efficiency into conversion and lauter.

    Parameters
    ----------
    table : pandas.DataFrame
    before, after : numpy.ndarray of bool

    Returns
    -------
    pandas.DataFrame or None
        Index `conversion`, `lauter`; estimate, low, high in points of mash efficiency. None with fewer than two brews
        of either period that have both efficiencies.

    Notes
    -----
    mash = conversion x lauter; each part is its own change times the mean of the other over both periods, which is the
    average over both orders (Shapley, "A value for n-person games", 1953). The interval is a t interval of the scatter
    between brews (Welch, "The generalization of Student's problem when several different population variances are
    involved", Biometrika 34, 28-35, 1947).
    """
    from scipy import stats

    if any(name not in table.columns for name in PAIR):
        return None
    pair = np.column_stack([numbers_or_nan(table, name) for name in PAIR])
    known = np.isfinite(pair).all(axis=1)
    sides = [pair[known & side] for side in (before, after)]
    if min(len(side) for side in sides) < 2:
        return None
    middle = (sides[0].mean(axis=0) + sides[1].mean(axis=0)) / 2.0
    rows = {}
    for k, name in enumerate(PAIR):
        share = middle[1 - k] / 100.0
        change = share * (sides[1][:, k].mean() - sides[0][:, k].mean())
        parts = [share**2 * side[:, k].var(ddof=1) / len(side) for side in sides]
        freedom = sum(parts) ** 2 / max(
            sum(part**2 / (len(side) - 1) for part, side in zip(parts, sides, strict=True)), 1e-300
        )
        half = float(stats.t.ppf(0.975, max(freedom, 1.0))) * sum(parts) ** 0.5
        rows[name] = (change, change - half, change + half)
    return pd.DataFrame.from_dict(rows, orient="index", columns=["estimate", "low", "high"])
