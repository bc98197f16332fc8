"""One simulated brew day from cold water to the fermenter."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from brewlog.logbook.records import Event, Reading
from brewlog.simulate.boiling import POT_LOSS, WATCH_POT, boil, boil_temperature, cool, lift, to_boil
from brewlog.simulate.controller import Regulator
from brewlog.simulate.course import COLUMNS, EXTRACT_HEAT, MAX_STEPS, SECONDS, WATER_HEAT, Course
from brewlog.simulate.extract import Drained, drain, true_conversion
from brewlog.simulate.mashing import Flow, bed_capacities, bed_temperatures, heat_up, mash_in, rests
from brewlog.simulate.plan import BrewPlan
from brewlog.simulate.readings import Instruments, Kettle, take_readings
from brewlog.simulate.rigs import SimulatedRig
from brewlog.simulate.sensors import Reader, Weather

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd


SCALE_SD = 0.003
"""Relative error of the malt scale on one day (common practice, no source)."""


@dataclass(frozen=True)
class SimulatedDay:
    """A simulated brew day: what was logged, and the truth behind it."""

    rig: SimulatedRig
    plan: BrewPlan
    trace: pd.DataFrame
    """As logged, in canonical units; columns as in a brew's trace, NaN where a sensor was out of touch."""
    true: pd.DataFrame
    """Every 5 s: `elapsed`, node temperatures (`element`, `base`, `wall`, `top`, `layer_1` ...), `bed` (mean of the
    layers) [degC], `power` (electrical, true) [W], `bed_flow` [L/min], `room` [degC]."""
    readings: tuple[Reading, ...]
    events: tuple[Event, ...]
    truth: Mapping[str, float]
    """True values by name: efficiencies [%] against the laboratory's potential, `potential` and kilograms of extract
    by stage, volumes at 20 degC [L], `boil_off` [L/h], heat capacities [J/K] and more."""
    heat: Mapping[str, float]
    """Account of heat by cause, in positive, out negative; `stored` is what the kettle holds at the end. [J]"""


def simulate_day(rig: SimulatedRig, plan: BrewPlan, rng: np.random.Generator) -> SimulatedDay:
    """Simulate one brew day.

    The same rig, plan and generator state give the same day. Mains, room, noise, what nobody knows of, and the
    errors of the readings do not depend on the plan, so the same day can be brewed again with another control sensor.

    Parameters
    ----------
    rig : SimulatedRig
    plan : BrewPlan
    rng : numpy.random.Generator
        Its state is advanced by spawning.

    Returns
    -------
    SimulatedDay

    Raises
    ------
    ValueError
        If the plan cannot be brewed on this rig (too little mash water).

    Examples
    --------
    >>> from brewlog.simulate import KITCHEN, BrewPlan, simulate_day
    >>> day = simulate_day(KITCHEN, BrewPlan(), np.random.default_rng(7))
    >>> 60 < day.truth["brewhouse"] < 85
    True
    """
    sky, sensors, brewer, luck, reading = rng.spawn(5)
    bed_capacities(rig, plan)
    course = Course(
        rig,
        plan,
        Weather.draw(rig, SECONDS, MAX_STEPS, sky),
        Reader.draw(rig.base_sensor, SECONDS, MAX_STEPS, sensors),
        Reader.draw(rig.bed_probe, SECONDS, MAX_STEPS, sensors),
        Regulator(rig.controller, SECONDS),
        {"lost": 0.0},
    )
    waiting, settle, quality = brewer.uniform(1.5, 6.0), brewer.uniform(1.5, 4.0), np.exp(0.08 * brewer.normal())
    start_heat = (rig.element_heat_capacity + rig.vessel_heat_capacity) * plan.tap_temp
    heat_up(course, waiting)
    mash_start = course.step
    mash_in(course, settle)
    rests(course, Flow(course, quality))
    dissolved, drained, mash_truth = _mash_extract(course, mash_start, luck)
    lift(course, drained)
    lift_step = course.step
    boil_temp = boil_temperature(rig.altitude, drained.extract / (course.water + drained.extract))
    to_boil(course, boil_temp)
    pre = Kettle(course.water, drained.extract, course.states["base"])
    extract = boil(course, boil_temp, drained.extract)
    post = Kettle(course.water, extract, course.states["base"])
    cool(course)
    full = Kettle(course.water, extract, course.states["base"])
    fermenter = full.without(rig.dead_volume + rig.trub)
    first = Kettle(mash_truth.pop("mash_water_mass"), dissolved, course.true[lift_step - 1, 1])
    truth = mash_truth | _truth(plan, first, pre, post, fermenter)
    truth["boil_off"] = (pre.water + plan.top_up * 0.9982 - post.water) / 0.9982 / (plan.boil_time / 60)
    ends = [elapsed for event, elapsed in course.events if event in ("mash-out", "lift")]
    truth["mash_time"] = (min(ends) - mash_start * SECONDS) / 60
    instruments = Instruments.of(rig)
    readings = take_readings(plan, instruments, first, pre, post, fermenter, reading)
    course.account("room", -course.states["lost"])
    course.account("water", plan.mash_water * 0.9982 * WATER_HEAT * plan.tap_temp + start_heat)
    course.heat["stored"] = course.stored()
    return SimulatedDay(
        rig,
        plan,
        _trace(course, mash_start, lift_step, fermenter),
        _true(course),
        readings,
        tuple(Event(plan.brew, event, elapsed) for event, elapsed in course.events),
        MappingProxyType({name: float(value) for name, value in truth.items()}),
        MappingProxyType(course.heat),
    )


def _mash_extract(course: Course, start: int, luck: np.random.Generator) -> tuple[float, Drained, dict[str, float]]:
    """Dissolve and drain; the truth of the mash as a dictionary."""
    plan, rig = course.plan, course.rig
    lots = plan.lot_sd / 100 * luck.normal(size=8)[: len(plan.malts)]
    potential = sum(malt.mass * (1 - malt.moisture) * malt.extract for malt in plan.malts)
    there = sum(
        malt.mass * (1 - malt.moisture) * (malt.extract + lot) for malt, lot in zip(plan.malts, lots, strict=False)
    )
    there *= 1 + SCALE_SD * luck.normal()
    surprise_mash, surprise_rinse = plan.process_sd * luck.normal(size=2)
    temps = bed_temperatures(course, start)
    converted = true_conversion(temps, SECONDS, plan, surprise_mash + plan.unwritten)
    dissolved = converted * there
    water = course.water - (course.steam - course.vented)
    hot = float(plan.rests[-1].purpose == "mash-out")
    reached = float(np.clip(temps[-1].mean() - 70.0, 0.0, 6.0) / 6.0)
    reached = hot + plan.hold_effect * (reached - hot)
    drained = drain(rig, plan, dissolved, water, float(np.clip(reached, 0.0, 1.0)), surprise_rinse)
    bed, top, base = bed_capacities(rig, plan)
    truth = {
        "potential": potential,
        "there": there,
        "conversion": 100 * dissolved / potential,
        "dissolved": dissolved,
        "lauter": 100 * drained.extract / dissolved,
        "absorption": drained.retained_water / plan.grist,
        "mash_water_mass": water,
        "bed_heat_capacity": bed,
        "base_heat_capacity": base + top,
        "vessel_heat_capacity": rig.vessel_heat_capacity + rig.element_heat_capacity,
        "mash_heat_loss": rig.wall_loss + rig.lid_loss + rig.bed_loss,
        "depth": course.bed_reader.depth,
        **_true_hold(course),
    }
    return dissolved, drained, truth


def _true_hold(course: Course) -> dict[str, float]:
    """Tightness and bias of the true mean bed temperature over all rests but mash-in and mash-out. [K]"""
    errors = []
    for (start, _), rest in zip(course.stages, course.plan.rests, strict=True):
        if rest.purpose not in ("mash-in", "mash-out"):
            temps = bed_temperatures(course, start)[: round(rest.time * 60 / SECONDS)]
            errors.append(temps.mean(axis=1) - rest.temp)
    every = np.concatenate(errors) if errors else np.array([np.nan])
    return {"hold_rms": float(np.sqrt(np.mean(every**2))), "hold_bias": float(np.mean(every))}


def _truth(plan: BrewPlan, first: Kettle, pre: Kettle, post: Kettle, fermenter: Kettle) -> dict[str, float]:
    potential = sum(malt.mass * (1 - malt.moisture) * malt.extract for malt in plan.malts)
    truth = {"mash": 100 * pre.extract / potential}
    # as the extract balance has it: what the kettle sugar brought is no merit of the mash
    sugar = plan.kettle_sugar * fermenter.extract / post.extract
    truth["brewhouse"] = 100 * (fermenter.extract - sugar) / potential
    for stage, kettle in {"first_wort": first, "pre_boil": pre, "post_boil": post, "fermenter": fermenter}.items():
        truth[f"{stage}_extract"] = kettle.extract
        truth[f"{stage}_volume"] = kettle.volume
        truth[f"{stage}_gravity"] = kettle.gravity
    return truth


def _true(course: Course) -> pd.DataFrame:
    import pandas as pd

    steps = course.step
    frame = pd.DataFrame(course.true[:steps], columns=list(course.nodes)).drop(columns=["probe", "base_sensor"])
    layers = frame.filter(like="layer_")
    frame.insert(0, "elapsed", np.arange(steps) * SECONDS)
    frame["bed"] = layers.mean(axis=1)
    for name in ("power", "bed_flow", "room"):
        frame[name] = course.logged[:steps, COLUMNS.index(name)]
    return frame


def _trace(course: Course, mash_start: int, lift_step: int, fermenter: Kettle) -> pd.DataFrame:
    """What the logger writes."""
    import pandas as pd

    plan, rig = course.plan, course.rig
    steps = np.arange(course.step)
    mashing = (steps >= mash_start) & (steps < lift_step)
    every = np.where(mashing, round(plan.log_every / SECONDS), round(plan.log_every_else / SECONDS))
    rows = steps[steps % every == 0]
    column = {name: course.logged[rows, k] for k, name in enumerate(COLUMNS)}
    frame = pd.DataFrame({"elapsed": rows * SECONDS, "base_temp": column["base_seen"], "set_temp": column["set_temp"]})
    if plan.bed_probe:
        frame.insert(1, "mash_temp", column["bed_seen"])
        if plan.probe_before == "off":
            frame.loc[rows < mash_start, "mash_temp"] = np.nan
        if plan.probe_after == "off":
            frame.loc[rows >= lift_step, "mash_temp"] = np.nan
    if rig.controller.logs == "state":
        frame["heater"] = (column["on"] > 0.5).astype(float)
    elif rig.controller.logs == "mean":
        total = np.concatenate([[0.0], np.cumsum(course.logged[: course.step, COLUMNS.index("on")])])
        before = np.concatenate([[0], rows[:-1]])
        frame["power"] = 100 * (total[rows] - total[before]) / np.maximum(rows - before, 1)
    else:
        frame["power"] = (100 * column["demand"]).round(0)
    frame["pump"] = column["pump"]
    if plan.log_flow:
        frame["flow"] = column["pump_flow"].round(2)
    if plan.log_ambient:
        frame["ambient_temp"] = (2 * column["room"]).round(0) / 2
    if plan.cooling == "hot-filled":
        frame = pd.concat([frame, _watch(course, fermenter)], ignore_index=True)
    return frame


def _watch(course: Course, fermenter: Kettle) -> pd.DataFrame:
    """A hot-filled container that cools by itself, logged every minute."""
    import pandas as pd

    minutes = np.arange(1.0, WATCH_POT + 1)
    heat = fermenter.water * WATER_HEAT + fermenter.extract * EXTRACT_HEAT
    room = course.plan.room_temp
    temps = room + (fermenter.temp - 2.0 - room) * np.exp(-POT_LOSS * minutes * 60 / heat)
    return pd.DataFrame({"elapsed": course.elapsed + 60 * minutes, "power": 0.0, "wort_temp": temps.round(1)})
