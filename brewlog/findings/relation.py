"""`relate`: how an efficiency moves with how tightly the mash was held, over many brews."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from brewlog.findings import sentences
from brewlog.findings.effects import Effect, Sides, control_changes, control_effect_of, gain_of, split_sides
from brewlog.findings.model import Fit, fit_model, leave_out_changes
from brewlog.findings.notes import culprit_words, moves_sentence, numbered_notes
from brewlog.findings.power import MOST_PAIRS, pairs_chance, pairs_for_chance
from brewlog.findings.priors import SHORT_LIST, Priors, resolve_priors
from brewlog.findings.rows import RESPONSES, Rows, as_numbers, check_table, own_columns, usable_rows
from brewlog.findings.sentences import kelvin, points
from brewlog.findings.verdict import confusion, judge, refusal, rival, stands

if TYPE_CHECKING:
    from matplotlib.axes import Axes

TELLING = 3
"""Most influential brews, each left out in turn."""
LOOSENED = "covariate and trend priors twice as wide"
WANTED_EFFECT = 2.0
"""Effect that the sentence plans for where the log cannot settle it. [points]"""
WANTED_CHANCE = 0.8


@dataclass(frozen=True)
class Relation:
    """How an efficiency moves with how tightly the mash was held, over many brews.

    Points are percentage points of efficiency. Intervals are 95 % unless a level is given.
    """

    response: str
    """Efficiency that is related: `brewhouse`, `mash`, `conversion` or `lauter`."""
    verdict: str
    """`supported`, `leaning`, `opposite`, `too small to matter`, `not settled` or `refused`."""
    gain: Effect
    """Points gained between the loose and the tight half of the brews; positive when tighter is better."""
    control_effect: Effect
    """Points that moving the control sensor into the mash brings: through tightness, mash time and mash-out.

    The move is where everything else changes too, so its range allows for twice as much of it as `gain` does."""
    control_bound: Effect
    """The same with whatever else came unwritten with the move."""
    sensitivity: pd.DataFrame
    """Gain under other assumptions, and without each of the most telling brews: estimate, low, high, p. [points]"""
    prior_table: Priors
    rows: Rows
    """The usable brews, as arrays."""
    fit: Fit | None
    """The fitted model; None where nothing could be fitted."""
    loose: Fit | None
    """The same with the prior sds of covariates and trend doubled: what the effects of the control sensor rest on."""
    sides: Sides | None
    """Tight and loose half."""
    refused: tuple[str, str] | None = None
    """Reason why nothing is said, and what would help."""
    measured_sd: Mapping[str, float] = field(default_factory=dict)
    """Usual standard uncertainty of each efficiency of the table. [points]"""
    rests_on: tuple[str, ...] = ()
    """What a leaning verdict rests on."""
    split: pd.DataFrame | None = None
    """Gain through conversion and through lauter, where first-wort gravity was read often enough."""

    @property
    def priors(self) -> pd.DataFrame:
        """What was assumed: mean, sd, unit and meaning per name. [points]"""
        return self.prior_table.table.copy()

    @property
    def left_out(self) -> pd.Series:
        """Reason per brew that was not used."""
        return self.rows.left_out

    @property
    def n(self) -> int:
        """Number of brews used."""
        return self.rows.n

    @cached_property
    def params(self) -> pd.Series:
        """Coefficients: posterior means, in the units of `units`."""
        if self.fit is None:
            return pd.Series(dtype=float, name="estimate")
        return pd.Series(self.fit.posterior.mean, index=list(self.fit.design.names), name="estimate")

    @cached_property
    def cov(self) -> pd.DataFrame:
        """Posterior covariance of the coefficients."""
        names = list(self.params.index)
        values = np.zeros((0, 0)) if self.fit is None else self.fit.posterior.cov
        return pd.DataFrame(values, index=names, columns=names)

    @property
    def units(self) -> dict[str, str]:
        """Unit of each coefficient."""
        return {} if self.fit is None else dict(zip(self.fit.design.names, self.fit.design.units, strict=True))

    def conf_int(self, level: float = 0.95) -> pd.DataFrame:
        """Interval of every coefficient: columns `low`, `high`.

        Parameters
        ----------
        level : float
            Probability that an interval holds its coefficient, between 0 and 1.

        Returns
        -------
        pandas.DataFrame
        """
        if not 0.0 < level < 1.0:
            raise ValueError(f"level is {level!r}; expected a share between 0 and 1, for example 0.95.")
        names = list(self.params.index)
        bounds = []
        for k in range(len(names)):
            assert self.fit is not None
            bounds.append(self.fit.posterior.along(np.eye(len(names))[k]).interval(level))
        return pd.DataFrame(bounds, index=names, columns=["low", "high"], dtype=float)

    @cached_property
    def confusion(self) -> pd.Series:
        """Squared posterior correlation of each column with the tightness slope, the hardest to tell apart first."""
        values = {} if self.fit is None else confusion(self.fit)
        return pd.Series(values, dtype=float, name="squared correlation").sort_values(ascending=False)

    @cached_property
    def culprit(self) -> str | None:
        """Recorded column that is hardest to tell apart from tightness; None where none is in the model.

        A setting that changed with the only lasting move of the control sensor; without one, the column with the
        largest squared posterior correlation with the tightness slope.
        """
        if self.fit is None:
            return None
        found = rival(self.fit)
        if found is not None:
            return found.name
        recorded = {column.name for column in self.rows.columns}
        for name in self.confusion.index:
            plain = name.removesuffix(" not recorded")
            if plain in recorded:
                return plain
        return None

    @cached_property
    def diagnostics(self) -> pd.DataFrame:
        """Remarks on the fit, never gates: columns `value`, `remark`."""
        from brewlog.findings.notes import diagnose

        return diagnose(self.fit, self.confusion)

    @cached_property
    def sentence(self) -> str:
        """The finding in plain words."""
        return _sentence(self)

    @cached_property
    def control_sentence(self) -> str:
        """What moving the control sensor does, in plain words."""
        if np.isnan(self.control_effect.estimate):
            return sentences.CONTROL_UNKNOWN.format(reason=self.control_effect.reason)
        caused = set(control_changes(self.rows) or {}) & {"mash_time", "mash_out"}
        words = [word for name, word in (("mash_time", "mash time"), ("mash_out", "mash-out")) if name in caused]
        bound = self.control_bound
        return sentences.CONTROL.format(
            gain=points(self.control_effect.estimate),
            low=points(self.control_effect.low),
            high=points(self.control_effect.high),
            response=self.response,
            caused=f", and what it does to {sentences.join(words)}" if words else "",
            bound=sentences.CONTROL_BOUND.format(
                gain=points(bound.estimate), low=points(bound.low), high=points(bound.high)
            ),
        )

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """Numbered in `summary`: brews and sides, what was filled, what is hardest to tell apart, what was assumed."""
        return numbered_notes(self)

    def summary(self) -> str:
        """The finding, one row per coefficient, the gain under other assumptions, then the numbered notes."""
        lines = [self.sentence, ""]
        if self.fit is not None:
            table = self.conf_int()
            table.insert(0, "estimate", self.params)
            table["unit"] = pd.Series(self.units)
            proper = self.fit.design
            table["prior"] = [f"{m:.3g} +- {s:.3g}" for m, s in zip(proper.mean, proper.sd, strict=True)]
            lines += [table.to_string(float_format="{:.2f}".format), ""]
        if len(self.sensitivity):
            title = f"gain of {self.response} efficiency [points], tight against loose half"
            lines += [title, self.sensitivity.to_string(float_format="{:.2f}".format), ""]
        lines += [f"[{number}] {note}" for number, note in enumerate(self.notes, start=1)]
        return "\n".join(lines)

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the brews and the relation; return the Axes drawn on."""
        from brewlog.figures import plot_relation

        return plot_relation(self, ax=ax)

    def __str__(self) -> str:
        return self.sentence

    def _repr_html_(self) -> str:
        return f"<p>{escape(self.sentence)}</p>"


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
    sensor + slow wander + scatter, with weak normal priors on everything but bT. For each of eleven sizes of the
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
    known = [item.name for item in SHORT_LIST]
    own, notes = own_columns(table, columns, known)
    resolved = resolve_priors(priors, own)
    rows = usable_rows(table, response, resolved.covariates, own, notes)
    sides = split_sides(rows.tight) if rows.n else None
    fit = _try_fit(rows, resolved)
    refused = refusal(rows, sides, fit)
    stated = _stated_sd(table)
    unknown = Effect("points", reason=refused[0] if refused else None)
    gain = gain_of(fit, sides) if fit and sides else unknown
    loose = fit_model(rows, resolved.loosened(), start=fit) if fit else None
    control = control_effect_of(loose) if loose else unknown
    bound = control_effect_of(loose, with_step=True) if loose else unknown
    if fit is None or loose is None or sides is None or refused:
        empty = pd.DataFrame(columns=["estimate", "low", "high", "p"], dtype=float)
        return Relation(
            response, "refused", gain, control, bound, empty, resolved, rows, fit, loose, sides, refused, stated
        )
    other, telling = _other_fits(fit, loose, sides)
    verdict = judge(gain, other[LOOSENED], list(telling.values()))
    beaten = rival(fit) if verdict in ("supported", "leaning") else None
    if beaten is not None and beaten.points >= gain.estimate:
        verdict = "not settled"
    split = split_gain(table, response, resolved, own) if verdict in ("supported", "leaning") else None
    rests_on = _rests_on(fit, gain, other, telling, split) if verdict in ("supported", "leaning") else ()
    if verdict == "supported" and rests_on:
        verdict = "leaning"
    sensitivity = _sensitivity(fit, sides, {"as fitted": gain} | other | telling)
    return Relation(
        response,
        verdict,
        gain,
        control,
        bound,
        sensitivity,
        resolved,
        rows,
        fit,
        loose,
        sides,
        None,
        stated,
        rests_on,
        split,
    )


def _stated_sd(table: pd.DataFrame) -> dict[str, float]:
    found = {}
    for name in RESPONSES:
        if f"{name}_sd" in table.columns:
            values = as_numbers(table, f"{name}_sd")[0]
            if values.notna().any():
                found[name] = float(np.sqrt((values**2).mean()))
    return found


def _try_fit(rows: Rows, priors: Priors) -> Fit | None:
    if rows.n < 3:
        return None
    try:
        return fit_model(rows, priors)
    except (ValueError, np.linalg.LinAlgError):
        return None


def _other_fits(fit: Fit, loose: Fit, sides: Sides) -> tuple[dict[str, Effect], dict[str, Effect]]:
    """Gain under other assumptions, and without each of the most influential brews."""
    shrunk = fit.rows.shrunk
    change = float(shrunk[sides.tight].mean() - shrunk[~sides.tight].mean())
    cases = {
        "no step at the moves": fit.priors.replace(step=0.0),
        "step at the moves up to 2 points": fit.priors.replace(step=2.0),
    }
    other = {LOOSENED: Effect("points", loose.posterior.along(change * loose.slope))}
    for name, priors in cases.items():
        again = fit_model(fit.rows, priors, start=fit)
        other[name] = Effect("points", again.posterior.along(change * again.slope))
    telling = {}
    for row in np.argsort(-np.abs(leave_out_changes(fit)), kind="stable")[:TELLING]:
        again = fit_model(fit.rows.without(int(row)), fit.priors, start=fit)
        telling[f"without brew {fit.rows.brew[row]}"] = Effect("points", again.posterior.along(change * again.slope))
    return other, telling


def _sensitivity(fit: Fit, sides: Sides, effects: dict[str, Effect]) -> pd.DataFrame:
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


def split_gain(table: pd.DataFrame, response: str, priors: Priors, own: dict[str, pd.Series]) -> pd.DataFrame | None:
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
    pair = RESPONSES[2:]
    if response in pair or any(name not in table.columns for name in pair):
        return None
    fits = {}
    for name in pair:
        rows = usable_rows(table, name, priors.covariates, own, [])
        sides = split_sides(rows.tight) if rows.n else None
        fit = _try_fit(rows, priors)
        if refusal(rows, sides, fit) or fit is None or sides is None:
            return None
        fits[name] = (fit, sides)
    rows_ = {}
    for name, partner in (pair, pair[::-1]):
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


def _rests_on(
    fit: Fit, gain: Effect, other: dict[str, Effect], telling: dict[str, Effect], split: pd.DataFrame | None
) -> tuple[str, ...]:
    """What a gain rests on: the checks that it fails, in words."""
    found = []
    if other[LOOSENED].low <= 0:
        found.append(f"what is assumed about {culprit_words(fit)}")
    fallen = [name.removeprefix("without ") for name, effect in telling.items() if not stands(effect)]
    if fallen:
        found.append(f"{sentences.join(fallen)} alone" if len(fallen) == 1 else f"{sentences.join(fallen)}")
    if sits_in_rinse(split):
        found.append(sentences.RESTS_ON_RINSE)
    return tuple(found)


def _sentence(relation: Relation) -> str:
    template = sentences.RELATION[relation.verdict]
    if relation.refused is not None:
        reason, help_ = relation.refused
        return template.format(response=relation.response, reason=reason, help=help_)
    fit, sides, gain = relation.fit, relation.sides, relation.gain
    assert fit is not None
    assert sides is not None
    low, high = gain.low, gain.high
    values: dict[str, object] = {
        "n": relation.n,
        "response": relation.response,
        "tight": kelvin(relation.rows.tight[sides.tight].mean()),
        "loose": kelvin(relation.rows.tight[~sides.tight].mean()),
        "gain": points(gain.estimate),
        "low": points(low),
        "high": points(high),
        "loss": points(-gain.estimate),
        "less_low": points(-high),
        "less_high": points(-low),
        "allowed": _allowed(fit),
        "rests_on": sentences.join(relation.rests_on),
    }
    if relation.verdict == "not settled":
        scatter = fit.pair_scatter
        pairs = pairs_for_chance(WANTED_EFFECT, scatter, WANTED_CHANCE) or MOST_PAIRS
        hardest = "" if relation.culprit is None else sentences.HARDEST.format(culprit=culprit_words(fit))
        chance = pairs_chance(pairs, WANTED_EFFECT, scatter)
        values |= {"hardest": hardest, "brews": 2 * pairs}
        values |= {"effect": f"{WANTED_EFFECT:.0f}", "chance": f"{100 * chance:.0f}"}
        if low > 0:
            found = rival(fit)
            assert found is not None
            template = sentences.COINCIDES
            values |= {"rival": found.words, "worth": points(found.points), "when": fit.design.moves[0].when}
    text = template.format(**values)
    if relation.verdict != "supported":
        move = moves_sentence(fit)
        text += f" {move}" if move else ""
    return text


def _allowed(fit: Fit) -> str:
    words = [column.words for column in fit.rows.columns]
    kinds = {"trend": "steady learning", "rig": "the rig", "step": "what may have come unwritten with the move"}
    words += [word for kind, word in kinds.items() if kind in fit.design.kinds]
    words += ["the mash programme"] if (fit.rows.programme != "").any() else []
    return sentences.join(words)
