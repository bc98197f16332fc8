"""What a gain rests on: the same under other assumptions, without single brews, and by plain least squares."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from brewlog.findings import sentences
from brewlog.findings.effects import Effect, Sides, change_of
from brewlog.findings.loosened import leave_out, under
from brewlog.findings.model import Fit
from brewlog.findings.notes import culprit_words
from brewlog.findings.rows import Rows
from brewlog.findings.verdict import stands
from brewlog.findings.where import sits_in_rinse

TELLING = 3
"""Most influential brews, each left out in turn."""
LOOSENED = "covariate and trend priors twice as wide"
UNWRITTEN = "step at the moves up to 2 points"
STEPS = {"no step at the moves": 0.0, UNWRITTEN: 2.0}
"""Other sds of the step. [points]"""


@dataclass(frozen=True)
class Checks:
    """The gain once more, under other assumptions and without single brews."""

    loose: Fit
    """The fit with the prior sds of covariates and trend doubled."""
    other: dict[str, Effect]
    """Gain under other assumptions."""
    telling: dict[str, Effect]
    """Gain without each of the most influential brews, by label."""

    @property
    def to_stand(self) -> list[Effect]:
        """Effects whose sign a supported gain must keep."""
        return [*self.telling.values(), self.other[UNWRITTEN]]


def loosened_fit(fit: Fit) -> Fit:
    """Return the fit with the prior sds of covariates and trend doubled."""
    return under(fit, fit.priors.loosened())


def check(fit: Fit, sides: Sides) -> Checks:
    """Gain under other assumptions, and without each of the most influential brews."""
    few = fit.whitened.condensed()
    change = change_of(fit, sides)
    loose = under(fit, fit.priors.loosened(), few)
    other = {LOOSENED: Effect("points", loose.posterior.along(change * loose.slope))}
    for name, sd in STEPS.items():
        again = under(fit, fit.priors.replace(step=sd), few)
        other[name] = Effect("points", again.posterior.along(change * again.slope))
    without = leave_out(fit)
    worst = np.argsort(-np.abs(without.changes), kind="stable")[:TELLING]
    labels = fit.rows.brew.tolist()
    telling = {}
    for row in worst:
        twice = f" (row {fit.rows.source[row] + 1} of the table)" if labels.count(labels[row]) > 1 else ""
        telling[f"{labels[row]}{twice}"] = Effect("points", without.times(int(row), change))
    return Checks(loose, other, telling)


def sensitivity_table(fit: Fit, sides: Sides, gain: Effect, checks: Checks) -> pd.DataFrame:
    """Gain under other assumptions: estimate, low, high, two-sided p. [points]"""
    effects = {"as fitted": gain} | checks.other
    effects |= {f"without brew {brew}": effect for brew, effect in checks.telling.items()}
    rows = {}
    for name, effect in effects.items():
        assert effect.distribution is not None
        rows[name] = (effect.estimate, effect.low, effect.high, effect.distribution.two_sided())
    rows["least squares, short list, no priors"] = short_list_ols(fit.rows, sides)
    return pd.DataFrame.from_dict(rows, orient="index", columns=["estimate", "low", "high", "p"])


def short_list_ols(rows: Rows, sides: Sides) -> tuple[float, float, float, float]:
    """Gain by plain least squares on tightness, grain bill, mill gap, trend and rig, for comparison.

    Returns
    -------
    tuple of float
        Estimate, low, high [points] and p; NaN where fewer than three degrees of freedom are left.
    """
    from statsmodels.regression.linear_model import OLS

    columns = [np.ones(rows.n), rows.shrunk, np.linspace(-0.5, 0.5, rows.n)]
    columns += [column.values for column in rows.columns if column.name in ("grist", "mill_gap")]
    columns += [(rows.rig == k).astype(float) for k in range(1, len(rows.rigs))]
    matrix = np.column_stack(columns)
    if rows.n - matrix.shape[1] < 3:
        return (np.nan,) * 4
    result = OLS(rows.response, matrix).fit()
    change = rows.shrunk[sides.tight].mean() - rows.shrunk[~sides.tight].mean()
    low, high = sorted(change * result.conf_int()[1])
    return float(change * result.params[1]), float(low), float(high), float(result.pvalues[1])


def rests_on(fit: Fit, checks: Checks, split: pd.DataFrame | None) -> tuple[str, ...]:
    """What a gain rests on: the checks that it fails, in words."""
    found = []
    if checks.other[LOOSENED].low <= 0:
        found.append(f"what is assumed about {culprit_words(fit)}")
    fallen = [f"brew {brew}" for brew, effect in checks.telling.items() if not stands(effect)]
    if fallen:
        found.append(f"{sentences.join(fallen)} alone" if len(fallen) == 1 else sentences.join(fallen))
    if not stands(checks.other[UNWRITTEN]):
        found.append(sentences.RESTS_ON_STEP)
    if sits_in_rinse(split):
        found.append(sentences.RESTS_ON_RINSE)
    return tuple(found)
