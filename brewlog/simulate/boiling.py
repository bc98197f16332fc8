"""From the lift to the fermenter: rinse, heating to the boil, boil, cooling."""

from __future__ import annotations

import numpy as np

from brewlog.simulate.charge import DRY_GRAIN_HEAT
from brewlog.simulate.course import EXTRACT_HEAT, SECONDS, WATER_HEAT, Course, Drive
from brewlog.simulate.extract import Drained
from brewlog.simulate.mashing import KG_PER_LITRE, bed_capacities, kettle_network
from brewlog.wort.water import boiling_point

PORTION = 30.0
"""Rinse water goes in in portions, one so often. [s]"""
RINSE_RATE = 1.2
"""Rinse water per time. [L/min]"""
COIL = 420.0
"""Conductance of the cooling coil. [W/K]"""
CHILLED = 22.0
"""The brewer stops cooling here. [degC]"""
POT_LOSS = 2.2
"""Loss of a filled container to the room. [W/K]"""
WATCH_POT = 90.0
"""A hot-filled container is logged for this long. [min]"""


def lift(course: Course, drained: Drained) -> None:
    """Lift the grain: bed wort that drains joins the base, the rest leaves with the grain."""
    course.vent()
    course.note("lift")
    course.note("pump off")
    states, plan = course.states, course.plan
    bed, top, _ = bed_capacities(course.rig, plan)
    warmth = float(np.mean([states.pop(f"layer_{k + 1}") for k in range(course.rig.layers)]))
    solids = plan.grist * (1 - plan.moisture) - drained.extract
    grain = drained.retained_water * WATER_HEAT + solids * DRY_GRAIN_HEAT
    course.account("spent grain", -grain * warmth)
    course.pour(bed - grain, warmth)
    course.pour(top, states.pop("top"))
    # extract counts more in solution than it did in the grain
    solution = drained.extract * (EXTRACT_HEAT - DRY_GRAIN_HEAT)
    course.base_heat += solution
    course.account("solution", solution * states["base"])
    course.water -= drained.retained_water


def to_boil(course: Course, boil_temp: float) -> None:
    """Rinse while heating, then heat to the boil with the lid on most of the way."""
    plan, rig = course.plan, course.rig
    drive = Drive(100.0, by_hand=True, boil_temp=boil_temp, opening=0.35)
    left = plan.sparge_water
    while left > 1e-9:
        part = min(left, RINSE_RATE * PORTION / 60)
        left -= part
        course.water += part * KG_PER_LITRE
        course.pour(part * KG_PER_LITRE * WATER_HEAT, plan.sparge_temp - 3.0, "rinse")  # it cools on its way
        course.run(kettle_network(course, rig.lid_loss, plan.probe_after), round(PORTION / SECONDS), drive)
        course.vent()
    boiling = False
    while not boiling and course.step < 7000:
        boiling = course.run(
            kettle_network(course, rig.lid_loss, plan.probe_after),
            60,
            drive,
            lambda: course.states["base"] > boil_temp - 0.1,
        )
        course.vent()


def boil(course: Course, boil_temp: float, extract: float) -> float:
    """Boil for the planned time; returns the extract in the kettle at its end. [kg]"""
    plan = course.plan
    course.note("boil")
    drive = Drive(100.0, limit=plan.boil_power / 100, by_hand=True, boil_temp=boil_temp)
    steps = round(plan.boil_time * 60 / SECONDS)
    for at in range(0, steps, 60):
        if at == 120:
            course.note("hops")
        if at == steps // 120 * 60 and plan.kettle_sugar:
            extract += plan.kettle_sugar
            course.pour(plan.kettle_sugar * EXTRACT_HEAT, plan.room_temp, "sugar")
        course.run(kettle_network(course, 0.0, plan.probe_after), min(60, steps - at), drive)
        course.vent()
    course.note("boil end")
    if plan.top_up:
        course.water += plan.top_up * KG_PER_LITRE
        course.pour(plan.top_up * KG_PER_LITRE * WATER_HEAT, plan.tap_temp, "top-up")
    return extract


def cool(course: Course) -> None:
    """Chill with a coil and fill, or let it stand a while and fill hot."""
    plan = course.plan
    off = Drive(20.0, limit=0.0, opening=0.6)
    if plan.cooling == "hot-filled":
        course.run(kettle_network(course, 0.0, plan.probe_after), round(12 * 60 / SECONDS), off)
        course.note("fill")
        course.vent()
        return
    course.run(kettle_network(course, 0.0, plan.probe_after), round(3 * 60 / SECONDS), off)
    chill = Drive(20.0, limit=0.0, opening=0.6, coil=COIL * course.rig.kettle_volume / 35, coil_temp=plan.tap_temp)
    course.run(
        kettle_network(course, 0.0, plan.probe_after),
        round(50 * 60 / SECONDS),
        chill,
        lambda: course.states["base"] < CHILLED,
    )
    course.note("fill")
    course.vent()


def boil_temperature(altitude: float, extract: float) -> float:
    """Boiling point of wort: that of water at this altitude, raised by its extract. [degC]

    Notes
    -----
    0.2 K for wort of 12 %, in proportion (common practice, no source).

    Examples
    --------
    >>> round(boil_temperature(0.0, 0.12), 1)
    100.2
    """
    return float(boiling_point(altitude)) + 0.2 * extract / 0.12
