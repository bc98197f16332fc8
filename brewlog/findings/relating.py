"""`relate`: from the brew table to the finding."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from brewlog.findings.cells import RESPONSES, check_table, numbers_or_nan, own_columns
from brewlog.findings.effects import Effect, control_effect_of, gain_of, split_sides
from brewlog.findings.model import Fit, try_fit
from brewlog.findings.priors import SHORT_LIST, resolve_priors
from brewlog.findings.relation import Relation
from brewlog.findings.rows import usable_rows
from brewlog.findings.sensitivity import LOOSENED, check, loosened_fit, rests_on
from brewlog.findings.verdict import judge, refusal, rival
from brewlog.findings.where import split_gain


def relate(
    table: pd.DataFrame,
    response: str = "brewhouse",
    columns: Sequence[str] | None = None,
    priors: Mapping[str, Any] | pd.DataFrame | None = None,
) -> Relation:
    """Relate an efficiency to how tightly the mash was held.

    Brews without the efficiency or without a tightness are left out and listed; every other gap is filled and its
    uncertainty carried. Where the log cannot tell, the verdict is `not settled` or `refused` with the reason.

    Parameters
    ----------
    table : pandas.DataFrame
        As from `brew_table`: one row per brew. Needed are `response` [%] and `hold_rms` [K]; used where present are
        their `_sd`, `hold_bias` [K], `control`, `rig`, `date`, `grist` [kg], `mill_gap` [mm], `thickness` [L/kg],
        `mash_time` [min], `mash_out` [1], `sparge` [L], `planned_volume` [L], `programme`, `changes`.
    response : str
        `brewhouse`, `mash`, `conversion` or `lauter`; one for all rows, never mixed.
    columns : sequence of str, optional
        The brewer's own number columns that join the short list of covariates. The short list is fixed beforehand and
        always in the model; `priors={"sparge": None}` leaves one out.
    priors : mapping or DataFrame, optional
        Name to (mean, sd) in points; see `default_priors`. An own column without one gets (0, 2 points per its sd).

    Returns
    -------
    Relation

    Raises
    ------
    ValueError
        If a column or a prior is not what it should be; the text names it and what was expected.

    Notes
    -----
    efficiency = b0 + bT T + sum of b_k x_k + trend + rig + mash programme + step at each lasting move of the control
    sensor + slow wander + scatter, with weak normal priors, bT all but free. For each of eleven sizes of the
    scatter the posterior is that of generalised least squares with the priors stacked as rows [1]_; the intervals are
    quantiles of their mixture, weighted by marginal likelihood and a lognormal prior. gain = bT x (mean T of the tight
    half - mean T of the loose half).

    References
    ----------
    .. [1] Theil and Goldberger, "On pure and mixed statistical estimation in economics", International Economic Review
       2, 65-78, 1961.

    Examples
    --------
    >>> import pandas as pd
    >>> few = pd.DataFrame({"brew": ["1", "2"], "brewhouse": [70.0, 73.0], "hold_rms": [1.5, 0.4]})
    >>> relate(few).verdict
    'refused'
    """
    check_table(table, response)
    own, notes = own_columns(table, columns, [item.name for item in SHORT_LIST])
    resolved = resolve_priors(priors, own)
    rows = usable_rows(table, response, resolved.covariates, own, notes)
    sides = split_sides(rows.tight) if rows.n else None
    fit = try_fit(rows, resolved)
    refused = refusal(rows, sides, fit)
    unknown = Effect("points", reason=refused[0] if refused else None)
    found: dict[str, Any] = {"gain": gain_of(fit, sides) if fit and sides else unknown, "fit": fit}
    if fit is None or sides is None or refused:
        loose = loosened_fit(fit) if fit else None
        found |= {"verdict": "refused", "refused": refused, "loose": loose}
    else:
        checks = check(fit, sides)
        loose = checks.loose
        found |= {"loose": loose, "checks": checks}
        found["verdict"] = judge(found["gain"], checks.other[LOOSENED], checks.to_stand)
        if found["verdict"] in ("supported", "leaning"):
            found["split"] = split_gain(table, response, resolved, own)
            found["rests_on"] = rests_on(fit, checks, found["split"])
            found["verdict"] = _tempered(found["verdict"], fit, found["gain"], found["rests_on"])
    return Relation(
        response=response,
        prior_table=resolved,
        rows=rows,
        sides=sides,
        control_effect=control_effect_of(loose) if loose else unknown,
        control_bound=control_effect_of(loose, with_step=True) if loose else unknown,
        measured_sd=_stated_sd(table),
        **found,
    )


def _tempered(verdict: str, fit: Fit, gain: Effect, rests: tuple[str, ...]) -> str:
    """Verdict after a look at what came with the only move, and at what the gain rests on."""
    beaten = rival(fit)
    if beaten is not None and beaten.points >= gain.estimate:
        return "not settled"
    return "leaning" if rests else verdict


def _stated_sd(table: pd.DataFrame) -> dict[str, float]:
    found = {}
    for name in RESPONSES:
        values = numbers_or_nan(table, f"{name}_sd")
        if not np.isnan(values).all():
            found[name] = float(np.sqrt(np.nanmean(values**2)))
    return found
