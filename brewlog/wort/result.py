"""The extract balance of a brew as a result that stands on its own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import pandas as pd

from brewlog.plain import plain
from brewlog.quantities import with_unit
from brewlog.wort.losses import water_account, waterfall
from brewlog.wort.summary import DEFINITIONS, account_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True)
class ExtractBalance:
    """Where the extract of one brew went, with one standard deviation on every number.

    Numbers are `uncertainties` values that know which errors they share; `quantity` gives them with their unit.
    """

    brew: str
    """Label of the brew."""
    potential: Any
    """Extract that the grist could give, fine grind; None with a reason. [kg]"""
    potential_coarse: Any
    """The same by coarse grind. [kg]"""
    grist: float | None
    """Mass of the malts as weighed. [kg]"""
    malt_extract: float | None
    """Mean laboratory extract of the grist, fine grind, dry basis. [%]"""
    extract_mass: Mapping[str, Any]
    """By stage; `dissolved` is what the mash liquor held at its end. [kg]"""
    volume: Mapping[str, Any]
    """By stage, at 20 degC, adjusted; where it was not read, worked out from the others. [L]"""
    gravity: Mapping[str, Any]
    """By stage, apparent, 20/20, adjusted; where it was not read, worked out from the others. [SG]"""
    states: Mapping[str, Any]
    """Everything in the account that is known: water, evaporation, losses, additions. [kg or L]"""
    conversion: Any
    """[%]"""
    lauter: Any
    """[%]"""
    mash: Any
    """[%]"""
    brewhouse: Any
    """[%]"""
    reasons: Mapping[str, str]
    """Why a quantity is missing."""
    notes: tuple[str, ...]
    """What was assumed."""
    read: frozenset[str]
    """Names of the states that a reading was taken of."""
    make_checks: Callable[[], pd.DataFrame] = field(repr=False, compare=False)
    """Makes `checks`, when asked for."""
    dead_volume: Any = None
    """Wort left under the tap, as the rig states it; None where it does not. [L]"""

    @cached_property
    def checks(self) -> pd.DataFrame:
        """The test of the whole account, each reading with its adjustment, and what is not plausible.

        `value`, `sd`, `adjusted` and `slip` stand in the row's `unit`; `slip` is by how much the reading would have to
        be wrong to explain the misfit alone, `standardised` is that over its sd.
        """
        return self.make_checks()

    @property
    def efficiencies(self) -> pd.DataFrame:
        """The four efficiencies side by side: against fine and coarse grind, with 95 % range and definition.

        Missing numbers are NaN; `reason` says why.
        """
        rows = {}
        for name, definition in DEFINITIONS.items():
            value = getattr(self, name)
            row: dict[str, Any] = {"definition": definition, "reason": self.reasons.get(name, "")}
            if value is not None:
                row |= _interval(value)
                if self.potential_coarse is not None and name != "lauter":
                    coarse = value * self.potential / self.potential_coarse
                    row |= {"against_coarse": coarse.nominal_value, "against_coarse_sd": coarse.std_dev}
            rows[name] = row
        numbers = ["estimate", "sd", "low", "high", "against_coarse", "against_coarse_sd"]
        frame = pd.DataFrame.from_dict(rows, orient="index", columns=[*numbers, "definition", "reason"])
        frame.attrs["units"] = dict.fromkeys(numbers, "%")
        return frame

    @property
    def waterfall(self) -> pd.DataFrame:
        """Extract from potential to fermenter, one row per step, in kg and in per cent of potential."""
        return waterfall(self)

    @property
    def water(self) -> pd.DataFrame:
        """Water into and out of the brew, one row per place. [kg]"""
        return water_account(self)

    def quantity(self, name: str) -> Any:
        """An efficiency or a potential as a pint quantity that carries its standard deviation.

        Parameters
        ----------
        name : str
            `conversion`, `lauter`, `mash`, `brewhouse` or `potential`.

        Returns
        -------
        pint.Quantity or None
            None where it is missing.

        Raises
        ------
        KeyError
            If `name` is another word.
        """
        units = {**dict.fromkeys(DEFINITIONS, "%"), "potential": "kg"}
        if name not in units:
            raise KeyError(f"no quantity {name!r}; there are {', '.join(units)}.")
        value = getattr(self, name)
        return None if value is None else with_unit(value, units[name])

    def budget(self, name: str) -> pd.Series:
        """Variance of an efficiency by source of error, largest first, as shares that sum to 1.

        Parameters
        ----------
        name : str
            `conversion`, `lauter`, `mash` or `brewhouse`.

        Returns
        -------
        pandas.Series
            Empty where the efficiency is missing.
        """
        value = self.quantity(name)
        if value is None or not value.magnitude.std_dev:
            return pd.Series(dtype=float, name=name)
        total = value.magnitude.std_dev**2
        shares = {
            str(source.tag): part**2 / total for source, part in value.magnitude.error_components().items() if part
        }
        return pd.Series(shares, name=name).sort_values(ascending=False)

    def summary(self) -> str:
        """The account in words and numbers: efficiencies, stages, where extract was lost, checks, notes."""
        return account_text(self)

    def to_dict(self) -> dict[str, Any]:
        """Efficiencies, account and stages as plain values ready for JSON; missing is None."""
        names = ("potential", *DEFINITIONS)
        steps = [
            {"step": step, "kind": row["kind"], "estimate": row["estimate"], "sd": row["sd"]}
            for step, row in self.waterfall.iterrows()
        ]
        stages = {"volume": self.volume, "gravity": self.gravity, "extract_mass": self.extract_mass}
        values = {
            "brew": self.brew,
            **{name: _estimate(getattr(self, name)) for name in names},
            **{what: {stage: _estimate(value) for stage, value in table.items()} for what, table in stages.items()},
            "waterfall": steps,
            "reasons": self.reasons,
            "notes": self.notes,
            "units": {**dict.fromkeys(DEFINITIONS, "%"), "potential": "kg", "volume": "L", "gravity": "SG"},
        }
        return {name: plain(value) for name, value in values.items()}

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(self.summary())}</pre>"

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw where the extract went, from potential to fermenter; return the Axes drawn on."""
        from brewlog.figures import plot_waterfall

        return plot_waterfall(self.waterfall, ax)


def _estimate(value: Any) -> dict[str, Any] | None:
    return None if value is None else {"estimate": value.nominal_value, "sd": value.std_dev}


def _interval(value: Any) -> dict[str, float]:
    estimate, sd = value.nominal_value, value.std_dev
    return {"estimate": estimate, "sd": sd, "low": estimate - 1.96 * sd, "high": estimate + 1.96 * sd}
