"""Brew days drawn from the fitted model itself: between-brew spread, correlated noise, lag, offset, rounding."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy.optimize import brentq
from scipy.signal import lfilter

from brewlog.logbook.records import Brew, Event, Malt, Reading, Rig
from brewlog.rig.boiling import LID_OFF_LOSS, ROOM_VAPOUR, vapour_pressure
from brewlog.rig.bounds import BOUND_SD
from brewlog.rig.capacity import malt_heat_capacity, vessel_from_records, water_heat_capacity
from brewlog.rig.model import Model, conductance_of_flow, layered, one_node
from brewlog.wort.properties import sg_from_extract, specific_heat, wort_density
from brewlog.wort.water import latent_heat

NAMEPLATE = 2500.0
RECORD = Rig("drawn", heater_power=NAMEPLATE, kettle_volume=35.0, vessel_mass=8.0, vessel_material="stainless steel")
BOIL_TRUTH = {"vapour_loss": 2.3, "boil_off": 2.6, "absorption": 0.9, "transfer_loss": 1.5}
TRUTH = {"heat_share": 0.93, "heat_loss": 7.0, "bed_flow": 2.8, "probe_lag": 25.0, "probe_offset": 0.1}
_TEMPS = np.linspace(60.0, 102.0, 421)
_PRESSURES = vapour_pressure(_TEMPS)


@dataclass(frozen=True)
class Spread:
    """Sd between brews, relative but for the offset and the room. [1], [K]"""

    heat_share: float = 0.02
    heat_loss: float = 0.03
    bed_flow: float = 0.08
    bed_part: float = 0.04
    water: float = 0.02
    probe_offset: float = 0.08
    room: float = 1.0
    noise: float = 0.04


@dataclass(frozen=True)
class DrawnRig:
    """A rig whose days follow the model."""

    model: Model = field(default_factory=layered)
    truth: Mapping[str, float] = field(default_factory=lambda: dict(TRUTH))
    spread: Spread = Spread()
    vessel: float = 1.0
    """True heat capacity of the vessel over the recorded one. [1]"""
    walls: float = LID_OFF_LOSS[0]
    """What the walls alone lose, as part of the loss. [1]"""
    steam: float = 0.0
    """Steam of the mash, which the volumes cannot tell from absorption, over it. [1]"""
    boils: bool = False
    """Days go on to the end of the boil, with readings of volume and gravity."""


def draw_assumed(rng: np.random.Generator) -> DrawnRig:
    """A rig that boils, and on which what the model assumes is off by as much as it says it may be."""
    _, sd, _ = vessel_from_records(RECORD)
    return DrawnRig(
        vessel=1 + sd / vessel_from_records(RECORD)[0] * rng.normal(),
        walls=LID_OFF_LOSS[0] * (1 + LID_OFF_LOSS[1] * rng.normal()),
        steam=BOUND_SD["absorption"] * rng.normal(),
        boils=True,
    )


def truth_of(rig: DrawnRig) -> dict[str, float]:
    """True value of every constant in the table."""
    truth = {**rig.truth, "bed_conductance": conductance_of_flow(rig.truth["bed_flow"])}
    truth["vessel_heat_capacity"] = rig.vessel * vessel_from_records(RECORD)[0]
    return truth | (BOIL_TRUTH if rig.boils else {})


def draw_brew(
    rig: DrawnRig,
    label: str,
    rng: np.random.Generator,
    *,
    step: float = 10.0,
    noise_free: bool = False,
    block: tuple[float, float, float] | None = None,
    share_factor: float = 1.0,
) -> tuple[Brew, pd.DataFrame]:
    """One day: strike water heated, grain in, three rests. Returns the brew and the true node temperatures.

    `block` = (start, end, part of the flow left) in seconds from mash-in.
    """
    s, t = rig.spread, rig.truth
    z = 0.0 if noise_free else 1.0
    share = t["heat_share"] * (1 + z * s.heat_share * rng.normal()) * share_factor
    loss = t["heat_loss"] * (1 + z * s.heat_loss * rng.normal())
    flow = t["bed_flow"] * (1 + z * s.bed_flow * rng.normal())
    offset = t["probe_offset"] + z * s.probe_offset * rng.normal()
    litres, grain = rng.uniform(17, 24), rng.uniform(4.2, 5.5)
    written = litres * (1 + z * s.water * rng.normal())
    vessel = rig.vessel * vessel_from_records(RECORD)[0]
    room0 = 18.0
    heat = float(water_heat_capacity(litres, 67.0)) + float(malt_heat_capacity(grain, 0.045, 67.0)) + vessel
    part = 0.45 * (1 + z * s.bed_part * rng.normal())
    constants = {
        "heat_share": share,
        "base_heat_capacity": (1 - part) * heat,
        "mash_heat_capacity": part * heat,
        "bed_flow": flow,
        "bed_conductance": flow * 80.0,
        "heat_loss": loss,
        "probe_lag": t["probe_lag"],
    }
    cold = float(water_heat_capacity(litres, 40.0)) + vessel
    warm = _heat_up(share, cold, 0.75 * loss, step)
    frame, power, truth = _mash(rig.model, constants, room0, step, rng, z * s.room, block)
    n, m = len(warm), len(frame)
    elapsed = step * np.arange(n + m)
    base = np.concatenate([warm, frame[:, 0]]) + z * _coloured(n + m, s.noise, step, rng)
    bed = np.concatenate([np.full(n, np.nan), frame[:, 1] + offset]) + z * _coloured(n + m, s.noise, step, rng)
    watts = np.concatenate([np.full(n, NAMEPLATE), power])
    trace = pd.DataFrame({"elapsed": elapsed, "mash_temp": bed, "base_temp": base, "power": 100 * watts / NAMEPLATE})
    if not noise_free:
        trace[["mash_temp", "base_temp"]] = trace[["mash_temp", "base_temp"]].round(1)
    mash_in = float(n * step)
    events = (Event(label, "heat-up", 0.0), Event(label, "mash-in", mash_in), Event(label, "pump on", mash_in + 61.0))
    events += (Event(label, "lift", float(elapsed[-1])),)
    truth.insert(0, "elapsed", elapsed[n:])
    readings: tuple[Reading, ...] = ()
    if rig.boils:
        wort = Wort(litres, grain, rig.steam, rng.spawn(1)[0])
        boil, moments = _boil(rig, wort, share, loss, float(base[-1]), vessel, step)
        boil["elapsed"] += elapsed[-1] + step
        trace = pd.concat([trace, boil], ignore_index=True)
        events += tuple(Event(label, what, float(elapsed[-1] + step + at)) for what, at in moments.items())
        readings = wort.readings(label)
    brew = Brew(
        label=label,
        rig="drawn",
        mash_water=written,
        malts=(Malt(label, "pale malt", grain, 0.8, None, 0.045),),
        ambient_temp=room0,
        boil_time=60.0 if rig.boils else None,
        readings=readings,
        load_trace=lambda: (trace, (), events),
    )
    return brew, truth


def _heat_up(share: float, capacity: float, loss: float, step: float) -> np.ndarray:
    """Strike water from 12 to 70 degC at full power."""
    model = one_node()
    a, b = model.matrices({"heat_share": share, "base_heat_capacity": capacity, "heat_loss": loss})
    decay = np.exp(a[0, 0] * step)
    level = 18.0 + share * NAMEPLATE / loss
    del b
    temps = [12.0]
    while temps[-1] < 70.0:
        temps.append(level + (temps[-1] - level) * decay)
    return np.array(temps[:-1])


def _mash(model, constants, room0, step, rng, room_sd, block):
    """Thermostat on the base: 64 degC for 50 min, 72 for 30, 77 for 15, each plus what was on the way."""
    from scipy.linalg import expm

    n = model.a.shape[1]

    def table(coupling: float):
        a, b = model.matrices({k: constants[k] for k in model.constants}, coupling)
        big = np.zeros((n + b.shape[1], n + b.shape[1]))
        big[:n, :n], big[:n, n:] = a, b
        e = expm(big * step)
        return e[:n, :n], e[:n, n:]

    open_, shut = table(1.0), table(block[2]) if block else None
    x = np.full(n, 63.0)
    rows = int(100 * 60 / step)
    room = room0 + room_sd * rng.normal() + room_sd * _coloured(rows, 1.0, step, rng, 2400.0)
    power = np.zeros(rows)
    states = np.zeros((rows, n))
    for k in range(rows):
        now = k * step
        target = 64.0 if now < 3000 else 72.0 if now < 5000 else 77.0
        power[k] = NAMEPLATE * float(np.clip((target + 1.0 - x[0]) / 1.5, 0.0, 1.0))
        power[k] = np.round(power[k] / NAMEPLATE, 2) * NAMEPLATE
        states[k] = x
        phi, gamma = shut if shut and block[0] <= now < block[1] else open_
        x = phi @ x + gamma @ np.array([power[k], room[k], 0.0, 0.0])
    truth = pd.DataFrame({"base": states[:, 0], "bed": states @ model.bed})
    return states @ model.outputs.T, power, truth


class Wort:
    """Volumes and extract of one day, drawn about the rig's constants."""

    def __init__(self, litres: float, grain: float, steam: float, rng: np.random.Generator) -> None:
        self.rng = rng
        self.absorption = BOIL_TRUTH["absorption"] * (1 + steam + 0.05 * rng.normal())
        self.vapour_loss = BOIL_TRUTH["vapour_loss"] * (1 + 0.08 * rng.normal())
        boil_off = BOIL_TRUTH["boil_off"] * (1 + 0.08 * rng.normal())
        lost = BOIL_TRUTH["transfer_loss"] + 0.2 * rng.normal()
        extract = 0.62 * grain * (1 + 0.03 * rng.normal())
        water = 0.9982 * (litres - self.absorption * grain) + 0.045 * grain
        self.extract = extract / (extract + water)
        pre = (extract + water) / float(wort_density(self.extract, 20.0)) * 1000
        post = pre - boil_off

        def over(part: float) -> float:
            return post * float(wort_density(part, 20.0)) / 1000 * part - extract

        after = float(brentq(over, 0.01, 0.4))
        self.mass = extract + water
        self.steamed = water - extract * (1 / after - 1)
        self.volumes = {"pre-boil": pre, "post-boil": post, "fermenter": post - lost}
        self.extracts = {"pre-boil": self.extract, "post-boil": after, "fermenter": after}

    def readings(self, label: str) -> tuple[Reading, ...]:
        """Volumes read to 0.2 L, gravities to 0.0005."""
        noise = self.rng.normal
        volumes = [Reading(label, at, "volume", v + 0.2 * noise(), "L", 20.0, sd=0.2) for at, v in self.volumes.items()]
        gravities = [
            Reading(label, at, "gravity", float(sg_from_extract(x)) + 0.0005 * noise(), "SG", 20.0, sd=0.0005)
            for at, x in self.extracts.items()
        ]
        return (*volumes, *gravities)


def _boil(
    rig: DrawnRig, wort: Wort, share: float, loss: float, temp: float, vessel: float, step: float
) -> tuple[pd.DataFrame, dict[str, float]]:
    """Full power to the boil at 100 degC, one hour of boil, five minutes after it; and its moments."""
    heat = wort.mass * float(specific_heat(wort.extract, 95.0)) + vessel
    walls, temps = rig.walls * loss, [temp]
    while temps[-1] < 100.0:
        x = temps[-1]
        for _ in range(2):
            steam = wort.vapour_loss * (float(np.interp(x, _TEMPS, _PRESSURES)) - ROOM_VAPOUR)
            x += step / 2 * (share * NAMEPLATE - walls * (x - 18.0) - steam) / heat
        temps.append(x)
    way, hour = len(temps) - 1, round(3600 / step)
    watts = (wort.steamed * float(latent_heat(100.0)) / 3600 + walls * 82.0) / share
    base = np.concatenate([temps[:-1], np.full(hour, 100.0), np.full(30, 99.0)])
    power = np.concatenate([np.full(way, NAMEPLATE), np.full(hour, watts), np.zeros(30)])
    seen = base + _coloured(base.size, rig.spread.noise, step, wort.rng)
    frame = pd.DataFrame(
        {
            "elapsed": step * np.arange(base.size),
            "mash_temp": np.nan,
            "base_temp": seen.round(1),
            "power": 100 * power / NAMEPLATE,
        }
    )
    return frame, {"boil": way * step, "boil end": (way + hour) * step}


def _coloured(n: int, sd: float, step: float, rng: np.random.Generator, time: float = 60.0) -> np.ndarray:
    """Noise of correlation time `time`."""
    rho = float(np.exp(-step / time))
    shocks = sd * np.sqrt(1 - rho**2) * rng.normal(size=n)
    shocks[0] = sd * rng.normal()
    return lfilter([1.0], [1.0, -rho], shocks)


def draw_rig(n: int, rng: np.random.Generator, rig: DrawnRig | None = None, **options) -> list[Brew]:
    rig = rig or DrawnRig()
    return [draw_brew(rig, str(i), rng, **options)[0] for i in range(n)]
