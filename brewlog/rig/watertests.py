"""Water tests: known litres, no grain. Heat-ups tell share and vessel, cool-downs the loss, boils the evaporation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from brewlog.logbook.records import Rig, WaterTest
from brewlog.rig.capacity import Inventory, inventory_of_test
from brewlog.rig.daily import fit_heat_up
from brewlog.rig.fitting import fit_model
from brewlog.rig.model import one_node
from brewlog.rig.series import make_series
from brewlog.rig.stretches import Day, cut, day_of, heat_up_span


@dataclass
class WaterTests:
    """What the water tests of one rig told."""

    heat_ups: list[tuple[Inventory, float]] = field(default_factory=list)
    """Inventory and heater share as fitted with it."""
    losses: dict[str, float] = field(default_factory=dict)
    """Loss by test. [W/K]"""
    boil_off: dict[str, float] = field(default_factory=dict)
    """[L/h]"""
    rows: list[tuple[str, str, str, float, float]] = field(default_factory=list)


def water_test_rows(tests: Sequence[WaterTest], rig: Rig, loss: float, left_out: dict[str, str]) -> WaterTests:
    """Fit every water test of a rig.

    Parameters
    ----------
    tests : sequence of WaterTest
    rig : Rig
    loss : float
        Loss to take for heat-ups. [W/K]
    left_out : dict
        Reasons are added here.

    Returns
    -------
    WaterTests
    """
    told = WaterTests()
    for test in tests:
        try:
            _one(test, rig, loss, told)
        except ValueError as error:
            left_out[test.label] = str(error)
    return told


def _one(test: WaterTest, rig: Rig, loss: float, told: WaterTests) -> None:
    label = f"test {test.label}"
    if test.kind == "boil" and test.water is not None and test.water_after is not None:
        hours = boiling_hours(day_of(test, rig))
        told.boil_off[label] = (test.water - test.water_after) / hours
        told.rows.append((label, "boil", "boil_off", told.boil_off[label], float("nan")))
        return
    inventory = inventory_of_test(test, rig)
    if inventory is None:
        raise ValueError("the litres of the test are not recorded")
    day = day_of(test, rig)
    if test.kind == "cool-down":
        fit = fit_cool_down(day, inventory)
        told.losses[label] = fit
        told.rows.append((label, "cool-down", "heat_loss", fit, fit * inventory.sd / inventory.total))
        return
    if day.power is None:
        raise ValueError("no power is known for the heat-up")
    series = cut(day, *heat_up_span(day), probe=False, coupled=False)
    share = fit_heat_up(series, inventory, loss).constants["heat_share"]
    told.heat_ups.append((inventory, share))
    told.rows.append((label, "heat-up", "heat_share", share, share * inventory.sd / inventory.total))


def fit_cool_down(day: Day, inventory: Inventory) -> float:
    """Loss of a kettle that stands with the heater off. [W/K]

    Raises
    ------
    ValueError
        If there is no hour with the heater off and a fall of 2 K.
    """
    power = day.power if day.power is not None else np.zeros(day.elapsed.size)
    off = (np.nan_to_num(power) <= 0) & np.isfinite(day.base) & (day.base < 82.0)
    rows = np.flatnonzero(off)
    if rows.size < 10:
        raise ValueError("no stretch with the heater off was logged")
    breaks = np.flatnonzero(np.diff(rows) > 1) + 1
    rows = max(np.split(rows, breaks), key=len)
    fall = day.base[rows[0]] - day.base[rows[-1]]
    hours = (day.elapsed[rows[-1]] - day.elapsed[rows[0]]) / 3600
    if fall < 2 or hours < 0.5:
        raise ValueError(f"the kettle cooled {fall:.1f} K in {hours:.1f} h; 2 K and half an hour are needed")
    series = make_series(
        day.elapsed[rows], np.zeros(rows.size), base_temp=day.base[rows], ambient_temp=day.room[rows], label=day.label
    )
    start = {"heat_share": 1.0, "base_heat_capacity": inventory.total, "heat_loss": 5.0}
    fixed = ("heat_share", "base_heat_capacity", "probe_offset", "room_shift")
    return fit_model(one_node(), series, start, fixed=fixed).constants["heat_loss"]


def boiling_hours(day: Day) -> float:
    """How long a boil test boiled: within 1 K of the highest temperature with power on. [h]

    Raises
    ------
    ValueError
        If it boiled for less than ten minutes.
    """
    top = float(np.nanmax(day.base))
    power = np.ones(day.elapsed.size) if day.power is None else np.nan_to_num(day.power)
    boiling = (day.base > top - 1.0) & (power > 0)
    hours = float(np.sum(np.diff(day.elapsed)[boiling[:-1]])) / 3600
    if top < 85 or hours < 1 / 6:
        raise ValueError("the trace shows no boil of ten minutes")
    return hours
