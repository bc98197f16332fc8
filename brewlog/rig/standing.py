"""Cool-downs with the heater off: what a kettle of water loses by itself."""

from __future__ import annotations

import numpy as np

from brewlog.logbook.records import Brew, Rig
from brewlog.rig.capacity import Inventory, water_inventory
from brewlog.rig.day import Day
from brewlog.rig.fitting import fit_model
from brewlog.rig.model import one_node
from brewlog.rig.series import make_series
from brewlog.rig.stretches import EVAPORATES

LEAST_FALL = 2.0
"""[K]"""
LEAST_HOURS = 0.5
"""[h]"""
CHILLED = 30.0
"""A kettle of which more is lost is being chilled, not standing. [W/K]"""


def standing_rows(day: Day, end: float = np.inf) -> np.ndarray:
    """Rows of the longest stretch with the heater off, below the temperatures at which vapour counts.

    Parameters
    ----------
    day : Day
    end : float
        Rows from here on do not count. [s]

    Raises
    ------
    ValueError
        If there is no half hour with the heater off and a fall of 2 K.
    """
    power = day.power if day.power is not None else day.relative
    power = np.zeros(day.elapsed.size) if power is None else power
    off = (np.nan_to_num(power) <= 0) & np.isfinite(day.base) & (day.base < EVAPORATES) & (day.elapsed < end)
    rows = np.flatnonzero(off)
    if rows.size < 10:
        raise ValueError("no stretch with the heater off was logged")
    breaks = np.flatnonzero(np.diff(rows) > 1) + 1
    rows = max(np.split(rows, breaks), key=len)
    fall = day.base[rows[0]] - day.base[rows[-1]]
    hours = (day.elapsed[rows[-1]] - day.elapsed[rows[0]]) / 3600
    if fall < LEAST_FALL or hours < LEAST_HOURS:
        raise ValueError(f"the kettle cooled {fall:.1f} K in {hours:.1f} h; 2 K and half an hour are needed")
    return rows


def fit_cool_down(day: Day, inventory: Inventory, end: float = np.inf) -> float:
    """Loss of a kettle that stands with the heater off. [W/K]

    Raises
    ------
    ValueError
        If there is no half hour with the heater off and a fall of 2 K, or if it was chilled.
    """
    rows = standing_rows(day, end)
    series = make_series(
        day.elapsed[rows], np.zeros(rows.size), base_temp=day.base[rows], ambient_temp=day.room[rows], label=day.label
    )
    start = {"heat_share": 1.0, "base_heat_capacity": inventory.total, "heat_loss": 5.0}
    fixed = ("heat_share", "base_heat_capacity", "probe_offset", "room_shift")
    loss = fit_model(one_node(), series, start, fixed=fixed).constants["heat_loss"]
    if loss > CHILLED:
        raise ValueError(f"the kettle lost {loss:.0f} W/K: it was chilled, not left to stand")
    return loss


def room_part(day: Day, end: float = np.inf) -> float:
    """Relative sd of a cool-down's loss from what is not known of the room. [1]

    Raises
    ------
    ValueError
        If there is no half hour with the heater off and a fall of 2 K.
    """
    rows = standing_rows(day, end)
    return float(day.room_sd / max(np.mean(day.base[rows] - day.room[rows]), 1.0))


def standing_water(brew: Brew, rig: Rig | None, day: Day) -> tuple[float, Inventory]:
    """Loss of the strike water that stood hot before mash-in [W/K], and its inventory.

    Raises
    ------
    ValueError
        With a plain reason where it did not stand, or its litres are not recorded.
    """
    if brew.mash_water is None:
        raise ValueError("mash_water is not recorded")
    if "mash-in" not in day.events:
        raise ValueError("mash-in is neither recorded nor found in the trace")
    end = day.events["mash-in"]
    rows = standing_rows(day, end)
    inventory = water_inventory(brew.mash_water, rig, float(np.mean(day.base[rows])))
    return fit_cool_down(day, inventory, end), inventory
