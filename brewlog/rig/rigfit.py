"""What is known of one rig: its constants with their intervals, and what can be computed from them."""

from __future__ import annotations

from dataclasses import dataclass, field
from html import escape
from typing import Any

import numpy as np
import pandas as pd

from brewlog.logbook.records import Rig
from brewlog.plain import plain
from brewlog.rig.capacity import Inventory, malt_heat_capacity, vessel_from_records, water_heat_capacity
from brewlog.rig.daily import TYPICAL, DayFit, bed_part
from brewlog.rig.fitting import states
from brewlog.rig.lackoffit import LackOfFit
from brewlog.rig.model import Model
from brewlog.rig.series import make_series
from brewlog.rig.strike import strike_temp


@dataclass(frozen=True)
class RigFit:
    """One rig's constants, from the brews that tell them."""

    rig: str
    """Label of the rig."""
    constants: pd.DataFrame
    """Index = name; estimate, sd, low, high, unit, brews, verdict, rests_on."""
    per_brew: pd.DataFrame
    """Index = brew; the estimates behind the intervals."""
    per_stretch: pd.DataFrame
    """Which stretch of which day told what: brew, stretch, constant, estimate, sd, and weight, the part of the day's
    value that rests on it (0: shown as a check)."""
    left_out: pd.Series
    """Reason per brew (or stretch of a brew) that was not used."""
    notes: tuple[str, ...]
    model: Model = field(repr=False)
    record: Rig | None = field(repr=False, default=None)
    days: dict[str, DayFit] = field(repr=False, default_factory=dict)
    """The fitted days, for figures and for the watch."""
    spread: pd.DataFrame = field(repr=False, default_factory=pd.DataFrame)
    """Index = name; low and high from the spread between brews alone; `bound_sd`, the sd by which a real rig may differ
    from the model (relative; of vapour_loss and the probe's lag and offset in their units); and `added_sd`, the part of
    it that widens the interval in `constants`, less where the brews show no lack of fit."""
    power_before: bool = False
    """A row's power is the mean up to its time stamp."""
    lack_of_fit: LackOfFit | None = field(repr=False, default=None)
    """Whether the mashes show, alike, something that the model leaves out."""

    def __getitem__(self, name: str) -> float:
        return float(self.constants.loc[name, "estimate"])  # type: ignore[arg-type]

    def verdict(self, name: str) -> str:
        """Verdict on one constant, in words."""
        return str(self.constants.loc[name, "verdict"])

    def summary(self) -> str:
        """One row per constant, then the numbered notes."""
        lines = [f"Rig {self.rig!r}: constants from {len(self.per_brew)} brews, {self.model.name}", ""]
        table = self.constants[["estimate", "low", "high", "unit", "brews", "verdict"]]
        lines.append(table.to_string(float_format=lambda v: f"{v:.4g}", na_rep="-"))
        lines.append("")
        lines += [f"[{n}] {text}" for n, text in enumerate(self.notes, start=1)]
        return "\n".join(lines)

    def to_dict(self) -> dict[str, Any]:
        """The constants with their intervals, per brew, and what was left out, as plain values ready for JSON."""
        names = ("constants", "per_brew", "left_out", "notes")
        return {"rig": self.rig, "model": self.model.name} | {name: plain(getattr(self, name)) for name in names}

    def _repr_html_(self) -> str:
        return f"<pre>{escape(self.summary())}</pre>"

    def heat_capacity(self, water: Any, grain: Any, moisture: float = 0.045, temp: float = 65.0) -> Any:
        """Heat capacity of a whole charge with the vessel, as `uncertainties` value. [J/K]

        Parameters
        ----------
        water : float or pint.Quantity
            At 20 degC. [L]
        grain : float or pint.Quantity
            As weighed. [kg]
        moisture : float
            Of the grain, mass fraction. [1]
        temp : float
            [degC]
        """
        from uncertainties import ufloat

        from brewlog.rig.capacity import MALT_SD, WATER_SD

        wet = float(water_heat_capacity(water, temp))
        malt = float(malt_heat_capacity(grain, moisture, temp))
        vessel, sd = self._vessel()
        whole = ufloat(wet, WATER_SD * wet) + ufloat(vessel, sd)
        return whole + ufloat(malt, MALT_SD * malt) if malt > 0 else whole

    def heating_rate(self, water: Any, grain: Any = 0.0, temp: float = 65.0, room: float = 20.0) -> Any:
        """Rate at which full power warms a charge, less what is lost to the room, as `uncertainties` value. [K/min]

        Parameters
        ----------
        water : float or pint.Quantity
            At 20 degC. [L]
        grain : float or pint.Quantity
            As weighed. [kg]
        temp : float
            Of the charge. [degC]
        room : float
            [degC]

        Raises
        ------
        ValueError
            If nameplate power, heater share or loss is not known, with the reason.
        """
        from uncertainties import ufloat

        if self.record is None or self.record.heater_power is None:
            raise ValueError(f"rig {self.rig!r} has no heater_power in rigs.csv; the heating rate needs it.")
        parts = []
        for name in ("heat_share", "heat_loss"):
            value, sd = self.constants.loc[name, "estimate"], self.constants.loc[name, "sd"]
            if not np.isfinite(value):  # type: ignore[arg-type]
                raise ValueError(f"{name} of rig {self.rig!r} is not known: {self.verdict(name)}.")
            parts.append(ufloat(value, sd if np.isfinite(sd) else 0.1 * value))  # type: ignore[arg-type, operator]
        heat = parts[0] * self.record.heater_power - parts[1] * (temp - room)
        return 60 * heat / self.heat_capacity(water, grain, temp=temp)

    def strike_temp(
        self, water: Any, grain: Any, mash_temp: float, grain_temp: float = 20.0, moisture: float = 0.045
    ) -> Any:
        """Temperature of the strike water that gives a mash temperature, heater off, as `uncertainties` value. [degC]

        Parameters
        ----------
        water, grain : float or pint.Quantity
            Water in the kettle at 20 degC, and grain as weighed. [L, kg]
        mash_temp, grain_temp : float
            Of the whole mash when its heat has spread, and of the dry grain. [degC]
        moisture : float
            Of the grain, mass fraction. [1]

        Raises
        ------
        ValueError
            As of `strike.strike_temp`, which has the formula and its source.
        """
        from uncertainties import ufloat

        vessel, sd = self._vessel()
        found = strike_temp(
            water, grain, mash_temp, grain_temp=grain_temp, moisture=moisture, vessel=vessel, vessel_sd=sd
        )
        return ufloat(*found)

    def _vessel(self) -> tuple[float, float]:
        """Heat capacity of the empty vessel and its sd; from the records where no heat-up told it. [J/K]"""
        row = self.constants.loc["vessel_heat_capacity"]
        found: tuple[float, float] = float(row["estimate"]), float(row["sd"])  # type: ignore[arg-type]
        return found if np.isfinite(found[0]) else vessel_from_records(self.record)[:2]

    def model_constants(self, water: float, grain: float, moisture: float = 0.045) -> dict[str, float]:
        """Constants of the mash model for a batch.

        Raises
        ------
        ValueError
            If the coupling of the bed or the loss is not known.
        """
        total = self.heat_capacity(water, grain, moisture).nominal_value
        part = float(self.per_brew["bed_part"].median()) if "bed_part" in self.per_brew else float("nan")
        if not np.isfinite(part):
            inventory = Inventory(total * 0.8, 1700.0 * grain, total * 0.05, 0, 0, 0, "")
            part = bed_part(inventory)
        values = {"base_heat_capacity": (1 - part) * total, "mash_heat_capacity": part * total}
        for name in self.model.constants:
            if name not in values:
                value = self[name]
                if not np.isfinite(value):
                    if name not in ("probe_lag", "heat_share"):
                        raise ValueError(f"{name} of rig {self.rig!r} is not known: {self.verdict(name)}.")
                    value = TYPICAL[name]
                values[name] = value
        offset = self["probe_offset"]
        values["probe_offset"] = offset if np.isfinite(offset) else 0.0
        return values

    def simulate(
        self,
        elapsed: Any,
        power: Any,
        water: float,
        grain: float,
        start: float,
        room: float = 20.0,
        moisture: float = 0.045,
    ) -> pd.DataFrame:
        """Temperatures of a mash of this rig for a given course of power.

        Parameters
        ----------
        elapsed : array_like
            Rising. [s]
        power : array_like or float
            Electrical power from each row to the next. [W]
        water, grain : float
            Charge: litres at 20 degC, kilograms as weighed. [L, kg]
        start : float
            Temperature of base and bed at the first row. [degC]
        room : float
            [degC]
        moisture : float
            Of the grain, mass fraction. [1]

        Returns
        -------
        pandas.DataFrame
            elapsed, base_temp, mash_temp (mean of the bed), probe_temp (what the bed probe would read).
        """
        t = np.asarray(elapsed, dtype=float)
        series = make_series(t, power, base_temp=np.full(t.size, np.nan), ambient_temp=room)
        constants = self.model_constants(water, grain, moisture)
        x = states(self.model, series, constants, np.full(self.model.starts.shape[1], float(start)))
        frame = {"elapsed": t, "base_temp": x[:, 0], "mash_temp": x @ self.model.bed}
        frame["probe_temp"] = x @ self.model.outputs[1] + constants["probe_offset"]
        return pd.DataFrame(frame)
