"""From cold water to the lift: strike heat-up, mash-in, rests on a bed in layers with wort flowing through it."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from brewlog.simulate.charge import DRY_GRAIN_HEAT, wetting_heat
from brewlog.simulate.course import SECONDS, WATER_HEAT, Course, Drive
from brewlog.simulate.network import Network
from brewlog.simulate.plan import BrewPlan
from brewlog.simulate.rigs import SimulatedRig
from brewlog.simulate.sensors import layer_weights

KG_PER_LITRE = 0.9982
"""Water at 20 degC. [kg/L]"""
WORT_LITRE = 4050.0
"""Heat capacity of a litre of mash wort at about 65 degC and 12 % extract. [J/(L K)]"""
ARRIVED = 0.5
"""A rest starts when the controlling sensor first comes this near. [K]"""
PATIENCE = 45.0
"""The brewer waits no longer than this for a rest temperature. [min]"""
PORTIONS = 8
"""The grain goes in in so many portions, 30 s each."""
STIR = 260.0
"""Exchange between bed and base while the brewer stirs the grain in. [W/K]"""


def kettle_network(course: Course, room_loss: float = 0.0, probe: str = "kettle") -> Network:
    """Network before mash-in and after the lift: wort (or water), element, wall.

    Parameters
    ----------
    course : Course
    room_loss : float
        Loss of the liquid itself to the room, besides steam. [W/K]
    probe : str
        Where the bed probe is: `kettle`, `room` or `off`.
    """
    rig = course.rig
    return Network(
        {"element": rig.element_heat_capacity, "base": course.base_heat, "wall": rig.vessel_heat_capacity},
        [("element", "base", rig.element_conductance), ("base", "wall", rig.wall_conductance)],
        losses={"wall": rig.wall_loss, "base": room_loss},
        followers=_followers(course, {"base" if probe == "kettle" else "room": 1.0}),
    )


def _followers(course: Course, bed: dict[str, float]) -> dict[str, tuple[dict[str, float], float]]:
    base, probe = course.rig.base_sensor, course.rig.bed_probe
    return {
        "probe": (bed, probe.lag),
        "base_sensor": ({"base": 1 - base.superheat, "element": base.superheat}, base.lag),
    }


def bed_capacities(rig: SimulatedRig, plan: BrewPlan) -> tuple[float, float, float]:
    """Heat capacities of a whole bed (grain and the liquid in it), of the free wort on top, and of the base. [J/K]

    Raises
    ------
    ValueError
        If the mash water does not suffice for the bed, the wort on top, and a base that covers the element.
    """
    in_bed = min(rig.bed_liquid * plan.grist, 0.75 * (plan.mash_water - rig.top_volume))
    base = plan.mash_water - in_bed - rig.top_volume
    if base < 0.1 * rig.kettle_volume:
        raise ValueError(
            f"brew {plan.brew!r} has {plan.mash_water:g} L of mash water; expected at least "
            f"{plan.mash_water - base + 0.1 * rig.kettle_volume:.0f} L for {plan.grist:g} kg on rig {rig.label!r}."
        )
    litre = KG_PER_LITRE * WATER_HEAT
    grain = plan.grist * ((1 - plan.moisture) * DRY_GRAIN_HEAT + plan.moisture * WATER_HEAT)
    return grain + in_bed * litre, rig.top_volume * litre, base * litre


def mash_network(course: Course, bed_flow: float, pump_flow: float, filled: float = 1.0, stir: float = 0.0) -> Network:
    """Network of the mash.

    Parameters
    ----------
    course : Course
    bed_flow, pump_flow : float
        Through the bed, and delivered on top of it; the difference overflows to the base. [L/min]
    filled : float
        Part of the grain that is in. [1]
    stir : float
        Exchange between the whole bed and the base by stirring. [W/K]
    """
    rig, count = course.rig, course.rig.layers
    bed, top, _ = bed_capacities(rig, course.plan)
    layers = [f"layer_{k + 1}" for k in range(count)]
    through, pumped = (flow / 60 * WORT_LITRE for flow in (bed_flow, pump_flow))
    chain = ["base", "top", *layers, "base"]
    flows = [(one, other, through) for one, other in pairwise(chain)]
    flows += [("base", "top", pumped - through), ("top", "base", pumped - through)]
    joined = [("element", "base", rig.element_conductance), ("base", "wall", rig.wall_conductance)]
    joined += [(one, other, rig.layer_conductance) for one, other in zip(["top", *layers], layers, strict=False)]
    joined += [(layer, "wall", rig.bed_wall / count) for layer in layers]
    joined += [(layer, "base", stir / count) for layer in layers]
    joined += [(layers[-1], "base", rig.layer_conductance)]
    return Network(
        {
            "element": rig.element_heat_capacity,
            "base": course.base_heat,
            "wall": rig.vessel_heat_capacity,
            "top": top,
            **dict.fromkeys(layers, bed * filled / count),
        },
        joined,
        flows,
        losses={"wall": rig.wall_loss, "top": rig.lid_loss, **dict.fromkeys(layers, rig.bed_loss / count)},
        followers=_followers(course, layer_weights(course.bed_reader.depth, count)),
        wet="top",
    )


def strike_temp(plan: BrewPlan) -> float:
    """Strike temperature by the rule of thumb: first rest + 0.4 / thickness x (first rest - grain). [degC]

    Examples
    --------
    >>> round(strike_temp(BrewPlan()), 1)
    68.7
    """
    first = plan.rests[0].temp
    return first + 0.4 / plan.thickness * (first - plan.grain_temp) + plan.strike_lead


def heat_up(course: Course, waiting: float) -> None:
    """Heat the mash water from the tap to strike temperature and wait a little. `waiting` [min]"""
    course.note("heat-up")
    plan, rig = course.plan, course.rig
    course.water = plan.mash_water * KG_PER_LITRE
    course.base_heat = course.water * WATER_HEAT
    course.states |= dict.fromkeys(("element", "base", "wall", "probe", "base_sensor"), plan.tap_temp)
    if plan.probe_before != "kettle":
        course.states["probe"] = plan.room_temp
    target = strike_temp(plan)
    drive = Drive(target, opening=rig.lid_opening, pump=plan.pump, pump_flow=rig.pump_flow * plan.pump / 100)
    network = kettle_network(course, rig.lid_loss, plan.probe_before)
    course.run(network, 3000, drive, lambda: course.seen > target - 0.15)
    course.run(network, round(waiting * 60 / SECONDS), drive)
    course.vent()


def mash_in(course: Course, settle: float) -> None:
    """Stir the grain in with heater and pump off, then let the bed settle. `settle` [min]"""
    course.note("mash-in")
    course.note("pump off")
    rig, plan, states = course.rig, course.plan, course.states
    bed, top, _ = bed_capacities(rig, plan)
    grain = plan.grist * ((1 - plan.moisture) * DRY_GRAIN_HEAT + plan.moisture * WATER_HEAT)
    liquid = bed - grain
    heat = plan.grist * float(wetting_heat(plan.moisture))
    course.account("grain", grain * plan.grain_temp)
    course.account("wetting", heat)
    course.water += plan.grist * plan.moisture
    states["top"] = states["base"]
    course.base_heat -= top
    drive = Drive(plan.rests[0].temp, limit=0.0, opening=1.0)
    for portion in range(PORTIONS):
        warmth = (liquid * states["base"] + grain * plan.grain_temp + heat) / bed  # of a portion just wetted
        course.base_heat -= liquid / PORTIONS
        for k in range(rig.layers):
            before = states.get(f"layer_{k + 1}", warmth)
            states[f"layer_{k + 1}"] = (portion * before + warmth) / (portion + 1)
        course.run(mash_network(course, 0.0, 0.0, (portion + 1) / PORTIONS, STIR), round(30 / SECONDS), drive)
    course.run(mash_network(course, 0.0, 0.0), round(settle * 60 / SECONDS), drive)
    course.note("pump on")


class Flow:
    """What flows through the bed: less as the bed sets, much less while it is blocked.

    Parameters
    ----------
    course : Course
    quality : float
        Of this brew's bed, 1 = as usual. [1]
    """

    def __init__(self, course: Course, quality: float) -> None:
        self.course = course
        self.start = course.elapsed
        # a finer crush makes a denser bed
        self.fresh = quality * course.rig.flow * (1 + 0.6 * (course.plan.mill_gap - 1.1))
        self.networks: dict[float, Network] = {}

    def now(self) -> tuple[float, float]:
        """Flow through the bed and flow delivered by the pump. [L/min]"""
        rig, plan = self.course.rig, self.course.plan
        minutes = (self.course.elapsed - self.start) / 60
        flow = self.fresh * plan.pump / 100 * (1 - rig.setting * min(minutes / 60, 2.0))
        if plan.block and 0 <= minutes - plan.block.start < plan.block.length:
            flow *= plan.block.flow
        flow = max(round(flow / 0.02) * 0.02, 0.0)  # few different networks, each with its own exponential
        pumped = max(flow, rig.pump_flow * plan.pump / 100) if rig.overflow else flow
        return flow, pumped

    def network(self) -> Network:
        """Network with the present flow."""
        flow, pumped = self.now()
        if flow not in self.networks:
            self.networks[flow] = mash_network(self.course, flow, pumped)
        return self.networks[flow]


def rests(course: Course, flow: Flow) -> None:
    """Go through the rests: heat until the controlling sensor arrives, then hold for the planned time."""
    plan, rig = course.plan, course.rig
    for number, rest in enumerate(plan.rests):
        if rest.purpose == "mash-out":
            course.note("mash-out")

        def go_on(minutes: float, wait: bool, rest=rest) -> bool:
            steps = math.ceil(minutes * 60 / SECONDS)
            while steps > 0:
                bed_flow, pumped = flow.now()
                drive = Drive(
                    rest.temp,
                    follows=plan.heater_follows,
                    headroom=rest.headroom,
                    limit=rest.power / 100,
                    pump=plan.pump,
                    pump_flow=pumped,
                    bed_flow=bed_flow,
                    opening=rig.lid_opening if plan.lid else 1.0,
                )
                arrived = (lambda: abs(course.seen - rest.temp) <= ARRIVED) if wait else None
                if course.run(flow.network(), min(steps, 12), drive, arrived):
                    return True
                steps -= 12
            return False

        go_on(PATIENCE, wait=True)
        if rest.purpose != "mash-out":
            course.note("rest")
        course.stages.append((course.step, f"rest {number + 1}"))
        go_on(rest.time, wait=False)


def bed_temperatures(course: Course, start: int) -> np.ndarray:
    """Temperatures of the layers from step `start` until now, shape (steps, layers). [degC]"""
    first = course.nodes.index("layer_1")
    return course.true[start : course.step, first : first + course.rig.layers]
