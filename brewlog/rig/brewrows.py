"""One row of estimates per brew: what its mash, heat-up and boil told, brought to one scale."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from brewlog.rig.boiling import Told
from brewlog.rig.capacity import Inventory
from brewlog.rig.fitting import ModelFit
from brewlog.rig.mashes import Mashes, Ready
from brewlog.rig.model import conductance_of_flow
from brewlog.rig.scale import MASH_MODEL_SD, Scale, weigh_scale
from brewlog.rig.vessel import Vessel, with_vessel

HeatUps = dict[str, tuple[ModelFit, Inventory]]
"""Heating of the strike water and its inventory, by brew."""

StretchRow = tuple[str, str, str, float, float, float]
"""Brew, stretch, constant, estimate, sd, and the part of the day's value that rests on it."""


def brew_rows(
    ready: Ready,
    mashes: Mashes,
    heat_ups: HeatUps,
    vessel: Vessel,
    boils: Mapping[str, Told],
) -> tuple[pd.DataFrame, list[StretchRow]]:
    """One row of estimates per brew, brought to one scale, and one row per thing that a stretch told.

    Parameters
    ----------
    ready : dict
    mashes : Mashes
    heat_ups : dict
        From label to (fit, inventory).
    vessel : Vessel
    boils : mapping of str to Told
        Heater share from the boil.

    Returns
    -------
    per_brew : pandas.DataFrame
    per_stretch : list of StretchRow
    """
    rows: dict[str, dict[str, object]] = {}
    told: list[StretchRow] = []
    for label, (day, series, sees, inventory) in ready.items():
        fit, (heat_up, water) = mashes.fits.get(label), heat_ups.get(label, (None, None))
        if fit is None and heat_up is None:
            continue
        powered = day.power is not None
        share_mash, mash, share_water, pot = None, None, None, None
        own_sd = 0.0
        if fit is not None and inventory is not None:
            mash, own_sd = with_vessel(inventory, vessel), _own_sd(fit, inventory)
            share_mash = fit.constants["heat_share"] * mash.total / fit.constants["heat_capacity"]
        if heat_up is not None and water is not None:
            pot = with_vessel(water, vessel)
            share_water = heat_up.constants["heat_share"] * pot.total / water.total
        boil = boils.get(label) if powered else None
        scale = weigh_scale(share_mash, mash, share_water, pot, boil, own_sd)
        weights = scale.weights if scale else {}
        if share_water is not None and pot is not None:
            sd = _sd_of(share_water, pot)
            told.append((label, "heat-up", _share_name(powered), share_water, sd, weights.get("heat-up", 0.0)))
        if boil is not None:
            told.append((label, "boil", "heat_share", boil.estimate, boil.sd, weights.get("boil", 0.0)))
        row: dict[str, object] = {"sees": sees, "scale_from": scale.told_by if scale else "the assumed heater share"}
        if scale is not None:
            row[_share_name(powered)] = scale.heat_share
            row["heat_share_sd"] = scale.heat_share_sd
        if fit is not None:
            row |= _mash_row(fit, mash, scale, label in mashes.lags)
            if label in mashes.lags:
                row["probe_lag"], row["probe_lag_sd"] = mashes.lags[label]
            row["minutes"] = sum(float(s.elapsed[-1] - s.elapsed[0]) for s in series) / 60
            row["room_shift"] = float(np.mean(fit.room_shift))
            row["room_sd"] = day.room_sd
            if share_mash is not None and mash is not None:
                sd = _sd_of(share_mash, mash, float(np.hypot(MASH_MODEL_SD, own_sd)))
                told.append((label, "mash", _share_name(powered), share_mash, sd, weights.get("mash", 0.0)))
            for name in ("heat_loss", "bed_flow", "bed_conductance", "probe_lag", "probe_offset"):
                if name in row and np.isfinite(float(row[f"{name}_sd"])):  # type: ignore[arg-type]
                    told.append((label, "mash", name, float(row[name]), float(row[f"{name}_sd"]), 1.0))  # type: ignore[arg-type]
        rows[label] = row
    frame = pd.DataFrame.from_dict(rows, orient="index")
    frame.index.name = "brew"
    _borrow_scale(frame, ready, mashes)
    return frame, told


def _borrow_scale(frame: pd.DataFrame, ready: Ready, mashes: Mashes) -> None:
    """Bring brews without litres or kilograms to the scale of the others: the rig's heater share is theirs too."""
    if "heat_share" not in frame or frame["heat_share"].notna().sum() < 2:
        return
    share = float(frame["heat_share"].median())
    for label, (day, _, _, inventory) in ready.items():
        fit = mashes.fits.get(label)
        if fit is None or inventory is not None or day.power is None:
            continue
        grow = share / fit.constants["heat_share"]
        columns = ["heat_capacity", "heat_loss", "bed_flow", "bed_conductance"]
        columns = [c for name in columns for c in (name, f"{name}_sd") if c in frame]
        frame.loc[label, columns] = frame.loc[label, columns].astype(float) * grow
        frame.loc[label, "scale_from"] = "the heater share of the other brews"


def _share_name(powered: bool) -> str:
    return "heat_share" if powered else "effective_power"


def _own_sd(fit: ModelFit, inventory: Inventory) -> float:
    """Relative sd of the heater share of a mash but for that of its inventory; 0 where the share was held. [1]"""
    relative = fit.sd["heat_share"] / fit.constants["heat_share"]
    return float(np.sqrt(max(relative**2 - (inventory.sd / inventory.total) ** 2, 0.0))) if relative > 0 else 0.0


def _sd_of(share: float, inventory: Inventory, model_sd: float = 0.01) -> float:
    return share * float(np.hypot(inventory.sd / inventory.total, model_sd))


def _mash_row(fit: ModelFit, mash: Inventory | None, scale: Scale | None, probe: bool) -> dict[str, object]:
    """Estimates of one mash on the day's common scale."""
    c, sd = fit.constants, fit.sd
    grow, grow_sd = 1.0, 0.0
    if mash is not None and scale is not None:
        grow, grow_sd = scale.factor * mash.total / c["heat_capacity"], scale.factor_sd

    def wide(name: str) -> float:
        relative = sd[name] / c[name] if np.isfinite(sd[name]) else 0.0
        return c[name] * grow * float(np.hypot(relative, grow_sd))

    row: dict[str, object] = {
        "heat_capacity": c["heat_capacity"] * grow,
        "heat_loss": c["heat_loss"] * grow,
        "heat_loss_sd": wide("heat_loss"),
        "loss_rate": c["heat_loss"] / c["heat_capacity"],
        "rms": fit.rms["pooled"],
    }
    coupling = "bed_flow" if "bed_flow" in c else "bed_conductance"
    row[coupling], row[f"{coupling}_sd"] = c[coupling] * grow, wide(coupling)
    row["coupling_rate"] = c[coupling] / c["mash_heat_capacity"]
    if coupling == "bed_flow":
        row["bed_conductance"] = conductance_of_flow(c[coupling] * grow)
        row["bed_conductance_sd"] = conductance_of_flow(wide(coupling))
    if probe:
        row["bed_part"] = c["mash_heat_capacity"] / c["heat_capacity"]
        row["probe_offset"], row["probe_offset_sd"] = c["probe_offset"], sd["probe_offset"]
    return row
