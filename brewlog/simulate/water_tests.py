"""Calibration runs with water alone, on paper."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from brewlog.simulate.boiling import boil_temperature
from brewlog.simulate.controller import Regulator
from brewlog.simulate.course import COLUMNS, MAX_STEPS, SECONDS, WATER_HEAT, Course, Drive
from brewlog.simulate.mashing import KG_PER_LITRE, kettle_network
from brewlog.simulate.plan import BrewPlan
from brewlog.simulate.rigs import SimulatedRig
from brewlog.simulate.sensors import Reader, Weather
from brewlog.wort.volume import volume_at_20

if TYPE_CHECKING:
    import pandas as pd

START = {"heat-up": 14.0, "cool-down": 78.0, "boil": 60.0}
"""Temperature at which each kind of test begins. [degC]"""


@dataclass(frozen=True)
class SimulatedWaterTest:
    """A calibration run: what the brewer writes down, what was logged, and the truth."""

    rig: SimulatedRig
    kind: str
    water: float
    """As read, at `water_temp`. [L]"""
    water_temp: float
    """[degC]"""
    water_after: float | None
    """What a boil left, read at `water_temp`. [L]"""
    trace: pd.DataFrame
    truth: Mapping[str, float]
    """`water` and `water_after` [kg], `boil_off` [kg/h], heat capacity of vessel and water [J/K], `heater` [J]."""


def simulate_water_test(
    rig: SimulatedRig, kind: str, water: float, rng: np.random.Generator, room_temp: float = 19.0, every: float = 15.0
) -> SimulatedWaterTest:
    """Simulate a calibration run with water.

    Parameters
    ----------
    rig : SimulatedRig
    kind : str
        `heat-up` (full power to 75 degC), `cool-down` (100 min without heat from 78 degC, lid on) or `boil` (60 min).
    water : float
        True amount at 20 degC. [L]
    rng : numpy.random.Generator
    room_temp : float
        [degC]
    every : float
        Rows are logged this often. [s]

    Raises
    ------
    ValueError
        If `kind` is not one of the three words.

    Examples
    --------
    >>> from brewlog.simulate import KITCHEN
    >>> test = simulate_water_test(KITCHEN, "boil", 25.0, np.random.default_rng(1))
    >>> 2.5 < test.truth["boil_off"] < 5  # common practice, no source
    True
    """
    if kind not in START:
        raise ValueError(f"kind is {kind!r}; expected heat-up, cool-down or boil.")
    import pandas as pd

    sky, sensors, errors = rng.spawn(3)
    start = START[kind]
    plan = BrewPlan(room_temp=room_temp, tap_temp=start, bed_probe=False)
    course = Course(
        rig,
        plan,
        Weather.draw(rig, SECONDS, MAX_STEPS, sky),
        Reader.draw(rig.base_sensor, SECONDS, MAX_STEPS, sensors),
        Reader.draw(rig.bed_probe, SECONDS, MAX_STEPS, sensors),
        Regulator(rig.controller, SECONDS),
        dict.fromkeys(("element", "base", "wall", "probe", "base_sensor"), start) | {"lost": 0.0},
    )
    course.water = water * KG_PER_LITRE
    course.base_heat = course.water * WATER_HEAT
    before_boil = _run(course, kind)
    course.vent()
    read_at = 14.0 if kind == "heat-up" else 20.0
    noise = rig.volume_noise * errors.standard_normal(2)
    read = [
        round(
            (float(kg) / KG_PER_LITRE / float(volume_at_20(1.0, read_at)) + rig.volume_offset + error) / rig.volume_step
        )
        * rig.volume_step
        for kg, error in zip((water * KG_PER_LITRE, course.water), noise, strict=True)
    ]
    rows = np.arange(0, course.step, round(every / SECONDS))
    column = {name: course.logged[rows, k] for k, name in enumerate(COLUMNS)}
    trace = pd.DataFrame(
        {
            "elapsed": rows * SECONDS,
            "base_temp": column["base_seen"],
            "power": (100 * column["demand"]).round(0),
            "ambient_temp": (2 * column["room"]).round(0) / 2,
        }
    )
    truth = {
        "water": water * KG_PER_LITRE,
        "water_after": course.water,
        "boil_off": before_boil - course.water if kind == "boil" else np.nan,
        "vessel_heat_capacity": rig.vessel_heat_capacity + rig.element_heat_capacity,
        "water_heat_capacity": water * KG_PER_LITRE * WATER_HEAT,
        "heater": course.heat.get("heater", 0.0),
        "lost": course.states["lost"],
        "temp": course.states["base"],
    }
    return SimulatedWaterTest(
        rig,
        kind,
        read[0],
        read_at,
        read[1] if kind == "boil" else None,
        trace,
        MappingProxyType({name: float(value) for name, value in truth.items()}),
    )


def _run(course: Course, kind: str) -> float:
    """Run the test; returns the water at the beginning of the boil, if there is one. [kg]"""
    lid = Drive(75.0, by_hand=True, opening=course.rig.lid_opening)
    if kind == "heat-up":
        course.run(kettle_network(course, course.rig.lid_loss), 3000, lid, lambda: course.states["base"] > 75.0)
    elif kind == "cool-down":
        course.run(kettle_network(course, course.rig.lid_loss), 1200, replace(lid, target=20.0, limit=0.0))
    else:
        boil_temp = boil_temperature(course.rig.altitude, 0.0)
        open_kettle = Drive(100.0, by_hand=True, boil_temp=boil_temp)
        course.run(kettle_network(course), 3000, open_kettle, lambda: course.states["base"] > boil_temp - 0.05)
        course.vent()
        before = course.water
        for _ in range(12):
            course.run(kettle_network(course), 60, open_kettle)
            course.vent()
        return before
    return course.water
