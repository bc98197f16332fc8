"""`Relation`: how an efficiency moves with how tightly the mash was held, over many brews."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from brewlog.findings.effects import Effect, Sides
from brewlog.findings.model import Fit
from brewlog.findings.notes import numbered_notes
from brewlog.findings.priors import Priors
from brewlog.findings.result import Result
from brewlog.findings.rows import Rows
from brewlog.findings.sensitivity import Checks, sensitivity_table
from brewlog.findings.verdict import confusion, rival
from brewlog.findings.wording import control_sentence, mill_sentence, relation_sentence
from brewlog.plain import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True)
class Relation(Result):
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
    prior_table: Priors
    rows: Rows
    """The usable brews, as arrays."""
    fit: Fit | None
    """The fitted model; None where nothing could be fitted."""
    loose: Fit | None
    """The same with the prior sds of covariates and trend doubled: what the effects of the control sensor rest on."""
    sides: Sides | None
    """Tight and loose half."""
    checks: Checks | None = None
    """The fit under other assumptions and without single brews; None where nothing is said."""
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
        bounds = np.zeros((0, 2)) if self.fit is None else self.fit.posterior.intervals(level)
        return pd.DataFrame(bounds, index=names, columns=["low", "high"], dtype=float)

    @cached_property
    def confusion(self) -> pd.Series:
        """Squared posterior correlation of each column with the tightness slope, the hardest to tell apart first."""
        values = {} if self.fit is None else confusion(self.fit)
        return pd.Series(values, dtype=float, name="squared correlation").sort_values(ascending=False)

    @cached_property
    def culprit(self) -> str | None:
        """Recorded column that is hardest to tell apart from tightness; None where none is in the model.

        A setting that changed with the only lasting move of the control sensor on each rig; without one, the column
        with the largest squared posterior correlation with the tightness slope.
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
    def sensitivity(self) -> pd.DataFrame:
        """Gain under other assumptions, and without the most telling brews: estimate, low, high, p. [points]"""
        if self.checks is None or self.fit is None or self.sides is None:
            return pd.DataFrame(columns=["estimate", "low", "high", "p"], dtype=float)
        return sensitivity_table(self.fit, self.sides, self.gain, self.checks)

    @cached_property
    def diagnostics(self) -> pd.DataFrame:
        """Remarks on the fit, never gates: columns `value`, `remark`."""
        from brewlog.findings.notes import diagnose

        return diagnose(self.fit, self.confusion)

    @cached_property
    def sentence(self) -> str:
        """The finding in plain words."""
        return relation_sentence(self)

    @cached_property
    def control_sentence(self) -> str:
        """What moving the control sensor does, in plain words."""
        return control_sentence(self)

    @cached_property
    def mill_sentence(self) -> str:
        """What a finer mill gap went with, in plain words; empty where the gap is not in the model."""
        return mill_sentence(self)

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
            table["prior"] = [f"{m:.3g} ± {s:.3g}" for m, s in zip(proper.mean, proper.sd, strict=True)]
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

    def to_dict(self) -> dict[str, Any]:
        """Return the finding as plain Python values, ready for JSON; missing is None. [points]"""
        names = ["response", "verdict", "sentence", "control_sentence", "n", "gain", "control_effect", "control_bound"]
        names += ["culprit", "rests_on", "refused", "sensitivity", "split", "priors", "left_out", "notes"]
        found = {name: plain(getattr(self, name)) for name in names}
        table = self.conf_int().assign(estimate=self.params, unit=pd.Series(self.units, dtype=object))
        return found | {"params": plain(table)}
