"""What one brew day tells: its mash, its heat-up, and the scale on which both stand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from brewlog.logbook.records import Brew, Rig
from brewlog.rig.capacity import Inventory, mash_inventory, water_inventory
from brewlog.rig.day import Day, day_of
from brewlog.rig.fitting import ModelFit, fit_model
from brewlog.rig.model import Model, layered, one_node, two_node
from brewlog.rig.series import Series
from brewlog.rig.stretches import cut, heat_up_span, mash_span

TYPICAL = {
    "heat_share": 0.93,
    "heat_loss": 6.0,
    "bed_conductance": 250.0,
    "bed_flow": 3.0,
    "probe_lag": 30.0,
    "probe_offset": 0.0,
}
"""Where fits start. Common practice, no source."""

OFFSET_SD = 0.5
"""Prior sd of the probe offset. [K]"""
START_SD = 3.0
"""How far the start temperatures may lie from the first readings. [K]"""
SHARE_PRIOR = (0.93, 0.07)
"""Heater share where nothing sets the scale: 0.80 to 1.00 (common practice, no source)."""
HEAT_UP_LOSS = (0.75, 0.3)
"""Loss of the water alone as part of the mash's, and its relative sd. [1]"""
BED_WATER = 1.5
"""Wort standing in the bed, to begin the fit with and where no probe stood. [L/kg]"""


@dataclass(frozen=True)
class DayFit:
    """The mash of one day as fitted, with what set its scale."""

    label: str
    day: Day
    mash: ModelFit | None
    inventory: Inventory | None
    heat_up: ModelFit | None
    water: Inventory | None
    sees: str
    """`base and bed`, `base only`, `bed only`."""
    reasons: dict[str, str]
    """Why a stretch was not used."""


def bed_model(kind: str, depth: float = 0.5) -> Model:
    """Model of the mash by its name.

    Raises
    ------
    ValueError
        If the name is neither `layered bed` nor `two nodes`.
    """
    if kind == "layered bed":
        return layered(depth=depth)
    if kind == "two nodes":
        return two_node()
    raise ValueError(f"model is {kind!r}; expected 'layered bed' or 'two nodes'.")


def bed_part(inventory: Inventory) -> float:
    """Part of the heat capacity that stands in the bed: the malt and 1.5 L of wort per kilogram."""
    malt_mass = inventory.malt / 1700.0
    return float(np.clip((inventory.malt + BED_WATER * 4187.0 * malt_mass) / inventory.total, 0.15, 0.8))


def start_of(model: Model, inventory: Inventory | None, guess: Mapping[str, float] | None) -> dict[str, float]:
    """Constants to start a mash fit from."""
    total = inventory.total if inventory else 1.2e5
    part = bed_part(inventory) if inventory else 0.45
    start = {**TYPICAL, "base_heat_capacity": (1 - part) * total, "mash_heat_capacity": part * total, **(guess or {})}
    if "bed_part" in start:
        part = start.pop("bed_part")
        start |= {"base_heat_capacity": (1 - part) * total, "mash_heat_capacity": part * total}
    return {name: start[name] for name in (*model.constants, "probe_offset")}


def fit_mash(
    series: list[Series],
    model: Model,
    inventory: Inventory | None,
    room_sd: float,
    guess: Mapping[str, float] | None = None,
    fixed: tuple[str, ...] = (),
    powered: bool = True,
) -> ModelFit:
    """Fit one mash; the inventory sets the scale, else the heater share does.

    With one sensor only the parting of the heat capacity between base and bed is fixed at the guess, and so are lag and
    offset: one trace cannot tell them.

    Parameters
    ----------
    series : list of Series
    model : Model
    inventory : Inventory or None
    room_sd : float
        [K]
    guess : mapping of str to float, optional
        Constants to start from; `bed_part` = part of the heat capacity in the bed.
    fixed : tuple of str
    powered : bool
        False where power is known as a part of an unknown nameplate only.
    """
    start = start_of(model, inventory, guess)
    seen = [any(np.isfinite(s.readings[:, i]).any() for s in series) for i in (0, 1)]
    held = set(fixed)
    priors = {"probe_offset": (0.0, OFFSET_SD), "room_shift": (0.0, room_sd)}
    if not all(seen):
        held |= {"base_heat_capacity", "mash_heat_capacity", "probe_lag", "probe_offset"}
        if not seen[0]:
            held -= {"probe_lag"}
    elif inventory is not None:
        priors["heat_capacity"] = (inventory.total, max(inventory.sd / inventory.total, 0.005))
    elif powered:
        priors["heat_share"] = SHARE_PRIOR
    else:
        held.add("heat_share")
    if not powered and inventory is not None:
        start["heat_share"] = 2500.0
    return fit_model(model, series, start, fixed=held, priors=priors, start_sd=START_SD)


def fit_heat_up(
    series: list[Series], water: Inventory, heat_loss: float, powered: bool = True, standing: float | None = None
) -> ModelFit:
    """Fit the heating of the strike water: heater share over a known heat capacity.

    The loss is free about that of a cool-down of water alone (`standing`), else about three quarters of the mash's: no
    basket stands in the water yet.
    """
    expected = HEAT_UP_LOSS[0] * heat_loss if standing is None else standing
    start = {"heat_share": 0.93 if powered else 2500.0, "base_heat_capacity": water.total, "heat_loss": expected}
    return fit_model(
        one_node(),
        series,
        start,
        fixed=("base_heat_capacity", "probe_offset", "room_shift"),
        priors={"heat_loss": (expected, HEAT_UP_LOSS[1])},
    )


def prepare(brew: Brew, rig: Rig | None) -> tuple[Day, list[Series], str, Inventory | None]:
    """Arrays of a brew's mash, the sensors that saw it, and its inventory.

    Raises
    ------
    ValueError
        With a plain reason if the mash cannot be used.
    """
    day = day_of(brew, rig)
    start, end = mash_span(day)
    series = cut(day, start, end, probe=True)
    seen = [any(np.isfinite(s.readings[:, i]).any() for s in series) for i in (0, 1)]
    sees = {(True, True): "base and bed", (True, False): "base only", (False, True): "bed only"}[(seen[0], seen[1])]
    return day, series, sees, mash_inventory(brew, rig)


def prepare_heat_up(brew: Brew, rig: Rig | None, day: Day) -> tuple[list[Series], Inventory]:
    """Arrays of the strike water's heating and its inventory.

    Raises
    ------
    ValueError
        With a plain reason if it cannot be used.
    """
    if brew.mash_water is None:
        raise ValueError("mash_water is not recorded")
    start, end = heat_up_span(day)
    series = cut(day, start, end, probe=False, coupled=False)
    temps = series[0].readings[:, 0]
    mean = float(np.nanmean(temps))
    return series, water_inventory(brew.mash_water, rig, mean)
