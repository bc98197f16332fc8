"""Water tests: known litres, no grain. Heat-ups tell share and vessel, cool-downs the loss, boils the evaporation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from brewlog.logbook.records import Rig, WaterTest
from brewlog.rig.capacity import Inventory, inventory_of_test
from brewlog.rig.daily import fit_heat_up
from brewlog.rig.day import Day, day_of
from brewlog.rig.standing import fit_cool_down, room_part
from brewlog.rig.stretches import cut, heat_up_span


@dataclass
class WaterTests:
    """What the water tests of one rig told."""

    heat_ups: dict[str, tuple[Inventory, float]] = field(default_factory=dict)
    """Inventory and heater share as fitted with it, by test."""
    losses: dict[str, float] = field(default_factory=dict)
    """Loss by test. [W/K]"""
    boil_off: dict[str, float] = field(default_factory=dict)
    """[L/h]"""
    rows: list[tuple[str, str, str, float, float, float]] = field(default_factory=list)
    """What each told: test, stretch, constant, estimate, sd, weight."""


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
    for test in sorted(tests, key=lambda t: t.kind != "cool-down"):  # what stands tells heat-ups their loss
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
        told.rows.append((label, "boil", "boil_off", told.boil_off[label], float("nan"), 1.0))
        return
    inventory = inventory_of_test(test, rig)
    if inventory is None:
        raise ValueError("the litres of the test are not recorded")
    day = day_of(test, rig)
    if test.kind == "cool-down":
        fit = fit_cool_down(day, inventory)
        told.losses[label] = fit
        sd = fit * float(np.hypot(inventory.sd / inventory.total, room_part(day)))
        told.rows.append((label, "cool-down", "heat_loss", fit, sd, 1.0))
        return
    if day.power is None:
        raise ValueError("no power is known for the heat-up")
    series = cut(day, *heat_up_span(day), probe=False, coupled=False)
    standing = float(np.median(list(told.losses.values()))) if told.losses else None
    share = fit_heat_up(series, inventory, loss, standing=standing).constants["heat_share"]
    told.heat_ups[label] = inventory, share
    told.rows.append((label, "heat-up", "heat_share", share, share * inventory.sd / inventory.total, 1.0))


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
