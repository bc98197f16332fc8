"""The course of a simulated day in steps of constant power: node temperatures, what is logged, where the heat goes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from brewlog.simulate.charge import saturation_pressure
from brewlog.simulate.controller import Regulator, on_share
from brewlog.simulate.network import Network
from brewlog.simulate.plan import BrewPlan
from brewlog.simulate.rigs import SimulatedRig
from brewlog.simulate.sensors import Reader, Weather

SECONDS = 5.0
"""Length of a step. [s]"""
MAX_STEPS = 8640
"""A day is cut off after twelve hours."""
WATER_HEAT = 4187.0
"""Specific heat of water, held constant over the day so that the account of heat closes. [J/(kg K)] At 65 degC;
between 20 and 95 degC IAPWS-95 has 4179 to 4210."""
EXTRACT_HEAT = 1900.0
"""Specific heat that a kilogram of dissolved extract adds to wort. [J/(kg K)] Apparent molar value of sucrose."""
STEAMING = 0.05
"""Heat taken by evaporation per area and vapour pressure difference, open kettle. [W/(m2 Pa)] About 1 kW/m2 at 65
degC (common practice, no source)."""
LATENT_HEAT = 2256.5e3
"""Of water at 101.325 kPa, IAPWS-95. [J/kg]"""

COLUMNS = (
    "set_temp",
    "demand",
    "on",
    "power",
    "pump",
    "pump_flow",
    "bed_flow",
    "base_seen",
    "bed_seen",
    "room",
    "steam",
)


@dataclass(frozen=True)
class Drive:
    """What the controller and the brewer do during a stretch."""

    target: float = np.nan
    """[degC]"""
    follows: str = "base"
    headroom: float = 0.0
    """[K]"""
    limit: float = 1.0
    """Of power; 0 = heater off. [1]"""
    by_hand: bool = False
    """The power stands at its limit, whatever the sensors say."""
    pump: float = 0.0
    """[%]"""
    pump_flow: float = 0.0
    """[L/min]"""
    bed_flow: float = 0.0
    """[L/min]"""
    opening: float = 1.0
    """Part of the surface that steams. [1]"""
    boil_temp: float = np.inf
    """Above this the heat makes steam. [degC]"""
    coil: float = 0.0
    """Conductance of a cooling coil. [W/K]"""
    coil_temp: float = 12.0
    """[degC]"""


@dataclass
class Course:
    """A day as it goes on: the only thing in this room that changes while it is used."""

    rig: SimulatedRig
    plan: BrewPlan
    weather: Weather
    base_reader: Reader
    bed_reader: Reader
    regulator: Regulator
    states: dict[str, float]
    """Temperature of every node and follower [degC]; `lost` is heat given to the room [J]."""
    base_heat: float = 0.0
    """Heat capacity of the liquid at the base. [J/K]"""
    step: int = 0
    water: float = 0.0
    """In the kettle, free or in the grain. [kg]"""
    steam: float = 0.0
    """Evaporated so far. [kg]"""
    vented: float = 0.0
    """Part of it that was taken off the kettle's content already. [kg]"""
    heat: dict[str, float] = field(default_factory=dict)
    """Heat that came in (positive) and went out, by cause. [J]"""
    events: list[tuple[str, float]] = field(default_factory=list)
    stages: list[tuple[int, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        layers = [f"layer_{k + 1}" for k in range(self.rig.layers)]
        self.nodes = ("element", "base", "wall", "top", *layers, "probe", "base_sensor")
        self.true = np.full((MAX_STEPS, len(self.nodes)), np.nan)
        self.logged = np.full((MAX_STEPS, len(COLUMNS)), np.nan)

    @property
    def elapsed(self) -> float:
        """[s]"""
        return self.step * SECONDS

    def note(self, event: str) -> None:
        """Remember an event that happens now."""
        self.events.append((event, self.elapsed))

    def account(self, cause: str, heat: float) -> None:
        """Enter heat that came in (positive) or went out."""
        self.heat[cause] = self.heat.get(cause, 0.0) + heat

    def stored(self, layer_heat: float = 0.0, top_heat: float = 0.0) -> float:
        """Heat stored in liquid, vessel and bed above 0 degC. [J]"""
        heats = {
            "element": self.rig.element_heat_capacity,
            "base": self.base_heat,
            "wall": self.rig.vessel_heat_capacity,
            "top": top_heat,
        }
        return sum(heats.get(node, layer_heat) * self.states[node] for node in self.nodes[:-2] if node in self.states)

    def pour(self, heat: float, temp: float, cause: str | None = None) -> None:
        """Mix something of heat capacity `heat` [J/K] at `temp` into the base; a `cause` = it comes from outside."""
        total = self.base_heat + heat
        self.states["base"] = (self.base_heat * self.states["base"] + heat * temp) / total
        self.base_heat = total
        if cause:
            self.account(cause, heat * temp)

    def vent(self) -> None:
        """Take what evaporated since the last call off the content of the kettle."""
        gone = self.steam - self.vented
        self.vented = self.steam
        self.water -= gone
        self.base_heat -= gone * WATER_HEAT
        self.account("vapour", -gone * WATER_HEAT * self.states["base"])

    @property
    def seen(self) -> float:
        """Last reading of the sensor that the controller acts on. [degC]"""
        row = self.logged[self.step - 1]
        return float(row[COLUMNS.index("bed_seen" if self.regulator.acting == "mash" else "base_seen")])

    def run(self, network: Network, steps: int, drive: Drive, done: Callable[[], bool] | None = None) -> bool:
        """Go on for `steps` steps or until `done`; True when `done` ended it."""
        names = network.states
        size = len(names)
        inputs = np.array([self.states[name] for name in names] + [0.0, 0.0, 0.0])
        matrix = network.step(SECONDS)
        base, wet = names.index("base"), names.index(network.wet)
        places = [self.nodes.index(name) for name in names[:-1]]
        ended = False
        for _ in range(min(steps, MAX_STEPS - self.step)):
            self.true[self.step, places] = inputs[: size - 1]
            room = self.plan.room_temp + self.weather.room[self.step]
            power = self._drive(drive, inputs[names.index("base_sensor")], inputs[names.index("probe")], room)
            steam = self._steaming(inputs[wet], room, drive.opening)
            coil = drive.coil * (inputs[base] - drive.coil_temp)
            inputs[size:] = power * self.rig.heat_share, room, steam + coil
            inputs[:size] = matrix @ inputs
            if inputs[base] > drive.boil_temp:
                steam += (inputs[base] - drive.boil_temp) * network.capacities["base"] / SECONDS
                inputs[base] = drive.boil_temp
            self.logged[self.step, -1] = steam
            self.steam += steam * SECONDS / LATENT_HEAT
            self.account("heater", power * self.rig.heat_share * SECONDS)
            self.account("steam", -steam * SECONDS)
            self.account("coil", -coil * SECONDS)
            self.step += 1
            if done is not None:
                self.states |= {"base": inputs[base]}
                if done():
                    ended = True
                    break
        self.states |= dict(zip(names, inputs[:size].tolist(), strict=True))
        return ended

    def _steaming(self, temp: float, room: float, opening: float) -> float:
        """Heat that evaporation from the free surface takes; half-moist room air. [W]"""
        difference = saturation_pressure(temp) - 0.5 * saturation_pressure(room)
        return STEAMING * self.rig.surface * opening * max(difference, 0.0)

    def _drive(self, drive: Drive, base_state: float, probe_state: float, room: float) -> float:
        """Read the sensors, ask the controller, log the row; returns the electrical power. [W]"""
        base = self.base_reader.read(self.step, base_state)
        bed = self.bed_reader.read(self.step, probe_state) if self.plan.bed_probe else np.nan
        demand = self.regulator.demand(drive.target, base, bed, drive.follows, drive.headroom, drive.limit)
        demand = drive.limit if drive.by_hand else demand
        on = on_share(demand, self.elapsed, self.rig.controller.window, SECONDS)
        power = self.rig.heater_power * on * float(self.weather.mains[self.step]) ** 2
        flows = drive.pump, drive.pump_flow, drive.bed_flow
        self.logged[self.step, :-1] = (drive.target, demand, on, power, *flows, base, bed, room)
        return power
