"""`calibrate`: one rig's constants from its brew days, each with its interval and what it rests on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from brewlog.logbook.records import Brew, Rig
from brewlog.rig.capacity import Inventory, malt_heat_capacity, vessel_from_records, water_heat_capacity
from brewlog.rig.daily import TYPICAL, DayFit, bed_part, fit_heat_up, prepare, prepare_heat_up
from brewlog.rig.fitting import ModelFit, states
from brewlog.rig.mashes import brew_rows, fit_mashes
from brewlog.rig.model import Model
from brewlog.rig.series import make_series
from brewlog.rig.verdicts import constants_table
from brewlog.rig.vessel import fit_vessel
from brewlog.rig.volumes import volume_constants
from brewlog.rig.watertests import water_test_rows


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
    """Which stretch of which day told what: brew, stretch, constant, estimate, sd."""
    left_out: pd.Series
    """Reason per brew (or stretch of a brew) that was not used."""
    notes: tuple[str, ...]
    model: Model = field(repr=False)
    record: Rig | None = field(repr=False, default=None)
    days: dict[str, DayFit] = field(repr=False, default_factory=dict)
    """The fitted days, for figures and for the watch."""

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
        vessel, sd = self["vessel_heat_capacity"], float(self.constants.loc["vessel_heat_capacity", "sd"])  # type: ignore[arg-type]
        if not np.isfinite(vessel):
            vessel, sd, _ = vessel_from_records(self.record)
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


def calibrate(book: Any, rig: Rig | str, *, model: str = "layered bed", brews: Iterable[str] | None = None) -> RigFit:
    """Find one rig's constants from its brews and water tests.

    Each brew is fitted by itself; intervals come from the spread between brews. Brews without a usable trace, and
    stretches that cannot be used, are listed in `left_out` with the reason. Nothing raises for lack of data: a constant
    that the data do not tell says so in its verdict.

    Parameters
    ----------
    book : Logbook
    rig : str or Rig
        Label of the rig, or its record.
    model : str
        `layered bed` (default) or `two nodes`.
    brews : iterable of str, optional
        Labels to use; all brews of the rig if None.

    Returns
    -------
    RigFit

    Raises
    ------
    KeyError
        If the logbook has no such rig.
    ValueError
        If `model` is neither of the two words.
    """
    record = book.rigs[rig] if isinstance(rig, str) else rig
    wanted = None if brews is None else set(brews)
    chosen = [b for b in book.brews_of(record.label) if wanted is None or b.label in wanted]
    tests = [t for t in book.water_tests.values() if t.rig in (record.label, None)]
    return fit_rig(record, chosen, tests, model=model)


def fit_rig(record: Rig, brews: Iterable[Brew], tests: Iterable[Any] = (), *, model: str = "layered bed") -> RigFit:
    """Find one rig's constants from records: `calibrate` without a logbook.

    Parameters
    ----------
    record : Rig
    brews : iterable of Brew
    tests : iterable of WaterTest
    model : str
        `layered bed` or `two nodes`.

    Returns
    -------
    RigFit
    """
    brews = list(brews)
    left_out: dict[str, str] = {}
    ready: dict[str, tuple] = {}
    for brew in brews:
        try:
            ready[brew.label] = prepare(brew, record)
        except ValueError as error:
            left_out[brew.label] = str(error)
    mashes = fit_mashes(ready, model, left_out)
    fits = mashes.fits
    losses = [f.constants["heat_loss"] for f in fits.values()]
    loss = float(np.median(losses)) if losses else TYPICAL["heat_loss"]
    heat_ups: dict[str, tuple[ModelFit, Inventory]] = {}
    for brew in brews:
        if brew.label not in ready:
            continue
        try:
            day = ready[brew.label][0]
            series, water = prepare_heat_up(brew, record, day)
            heat_ups[brew.label] = fit_heat_up(series, water, loss, day.power is not None), water
        except ValueError as error:
            left_out[f"{brew.label}, heat-up"] = str(error)
    trials = water_test_rows(list(tests), record, loss, left_out)
    value, sd, words = vessel_from_records(record)
    powered = [label for label in heat_ups if ready[label][0].power is not None]
    vessel = fit_vessel(
        [heat_ups[label][1] for label in powered] + [w for w, _ in trials.heat_ups],
        [heat_ups[label][0].constants["heat_share"] for label in powered] + [s for _, s in trials.heat_ups],
        (value, sd),
    )
    per_brew, per_stretch = brew_rows(ready, mashes, heat_ups, vessel)
    per_stretch += trials.rows
    volumes, reasons = volume_constants(brews, record)
    left_out |= reasons
    table, notes = constants_table(record, per_brew, mashes, ready, vessel, words, trials.losses, volumes)
    days = {
        label: DayFit(
            label,
            ready[label][0],
            fits.get(label),
            ready[label][3],
            heat_ups[label][0] if label in heat_ups else None,
            heat_ups[label][1] if label in heat_ups else None,
            ready[label][2],
            {},
        )
        for label in ready
    }
    notes += _account(left_out, brews)
    stretches = pd.DataFrame(per_stretch, columns=["brew", "stretch", "constant", "estimate", "sd"])
    why = pd.Series(left_out, dtype=object, name="reason")
    return RigFit(record.label, table, per_brew, stretches, why, tuple(notes), mashes.model, record, days)


def _account(left_out: dict[str, str], brews: list[Brew]) -> list[str]:
    """How many brews were used, and why the others were not."""
    labels = {brew.label for brew in brews}
    whole = [reason for label, reason in left_out.items() if label in labels]
    text = f"{len(brews)} brews of this rig; {len(brews) - len(whole)} used"
    if whole:
        counts = pd.Series(whole).value_counts()
        text += "; left out: " + ", ".join(f"{reason} ({n})" for reason, n in counts.items())
    return [text + "."]
