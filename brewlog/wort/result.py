"""The extract balance of a brew as a result that stands on its own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import pandas as pd

from brewlog.quantities import with_unit
from brewlog.wort.account import STAGE_STATES
from brewlog.wort.losses import water_account, waterfall

if TYPE_CHECKING:
    from matplotlib.axes import Axes

DEFINITIONS = {
    "conversion": "extract dissolved at the end of the mash / potential",
    "lauter": "extract in the kettle before the boil / extract dissolved",
    "mash": "extract in the kettle before the boil / potential",
    "brewhouse": "extract from malt in the fermenter / potential",
}
"""What each efficiency is."""
_WORDS = {"volume": "volume", "extract": "gravity", "wort": "gravity"}  # of a state's name


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
    """Mean laboratory extract of the grist, fine grind, dry basis. [1]"""
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
                    row["against_coarse"] = (value * self.potential / self.potential_coarse).nominal_value
            rows[name] = row
        columns = ["estimate", "sd", "low", "high", "against_coarse", "definition", "reason"]
        frame = pd.DataFrame.from_dict(rows, orient="index", columns=columns)
        frame.attrs["units"] = dict.fromkeys(["estimate", "sd", "low", "high", "against_coarse"], "%")
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
        lines = [f"Extract balance of brew {self.brew}", ""]
        if self.potential is None:
            lines.append(f"potential      not known: {self.reasons['potential']}")
        else:
            lines.append(f"potential      {_pm(self.potential, 2)} kg extract, fine grind")
        for name, definition in DEFINITIONS.items():
            value = getattr(self, name)
            if value is None:
                lines.append(f"{name:<14} not known: {self.reasons.get(name, 'no reading')}")
            else:
                lines.append(f"{name:<14} {_pm(value, 1)} %   ({definition})")
        lines.append("")
        for stage in ("first wort", "pre-boil", "post-boil", "fermenter"):
            parts = [
                f"{_pm(table[stage], digits)}{unit}"
                for table, digits, unit in (
                    (self.volume, 1, " L"),
                    (self.gravity, 4, " SG"),
                    (self.extract_mass, 2, " kg"),
                )
                if stage in table
            ]
            if parts:
                guessed = " and ".join(
                    _WORDS[name.split("_")[1]]
                    for name in STAGE_STATES[stage]
                    if name is not None and name not in self.read
                )
                remark = f"   ({guessed} worked out)" if guessed else ""
                lines.append(f"{stage:<14} {', '.join(parts)}{remark}")
        steps = self.waterfall
        if len(steps):
            lines += ["", "Where the extract went"]
            for step, row in steps.iterrows():
                share = "" if pd.isna(row["share"]) else f"  {row['share']:6.1f} %"
                lines.append(f"{step!s:<38} {row['estimate']:7.2f} +- {row['sd']:.2f} kg{share}")
            told = [text for text in steps["would_tell"] if text]
            lines += list(dict.fromkeys(told))
        whole = str(self.checks["verdict"].iloc[0])
        lines += ["", f"check          {whole}"]
        wrong = self.checks["verdict"].astype(str).str.contains("cannot be|seldom met|may be wrong|most likely")
        lines += [
            f"               {check}: {row['verdict']}"
            for check, row in self.checks[wrong].iterrows()
            if check != "whole account"
        ]
        lines += [f"[{number}] {note}" for number, note in enumerate(self.notes, start=1)]
        return "\n".join(lines)

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw where the extract went, from potential to fermenter; return the Axes drawn on."""
        from brewlog.figures import plot_waterfall

        return plot_waterfall(self.waterfall, ax)


def _interval(value: Any) -> dict[str, float]:
    estimate, sd = value.nominal_value, value.std_dev
    return {"estimate": estimate, "sd": sd, "low": estimate - 1.96 * sd, "high": estimate + 1.96 * sd}


def _pm(value: Any, digits: int) -> str:
    return f"{value.nominal_value:.{digits}f} +- {value.std_dev:.{digits}f}"
