"""Rigs drawn at random around the simulator, whose days hold more physics than the fitted model; and their truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from brewlog.logbook.records import Brew
from brewlog.simulate import Controller, Probe, SimulatedDay, SimulatedRig, brew_record, simulate_day
from brewlog.simulate.charge import saturation_pressure
from brewlog.simulate.course import STEAMING
from brewlog.simulate.recipes import RECIPES, draw_plan
from brewlog.simulate.sensors import layer_weights

CONTROLLERS = ("continuous", "windows", "mean", "on-off")


def draw_rig(rng: np.random.Generator, label: str, controller: str | None = None) -> SimulatedRig:
    """28 to 75 L, with or without overflow, four ways of heating and logging."""
    u = rng.uniform
    volume = float(u(28, 75))
    size = volume / 35
    area = size ** (2 / 3)
    overflow, flow = bool(rng.random() < 0.5), float(u(1.6, 3.2) * size**0.5)
    kind = controller or str(rng.choice(CONTROLLERS))
    control = {
        "continuous": Controller(window=0.0, band=float(u(0.8, 2))),
        "windows": Controller(window=20.0, band=float(u(0.8, 2))),
        "mean": Controller(window=20.0, band=float(u(0.8, 2)), logs="mean"),
        "on-off": Controller(kind="on-off", window=0.0, band=float(u(0.4, 1.0)), logs="state"),
    }[kind]
    return SimulatedRig(
        label=label,
        heater_power=float(round(u(60, 78) * volume / 100) * 100),
        kettle_volume=volume,
        diameter=0.36 * size ** (1 / 3),
        vessel_mass=float(round(u(0.19, 0.25) * volume, 1)),
        heat_share=float(u(0.89, 0.98)),
        element_heat_capacity=float(u(500, 1000) * size**0.5),
        element_conductance=float(u(100, 200) * size**0.5),
        wall_conductance=float(u(200, 400) * area),
        wall_loss=float(u(2.2, 4.2) * area**0.7),
        lid_loss=float(u(0.6, 1.8) * area**0.7),
        bed_loss=float(u(2.0, 4.0) * area**0.7),
        bed_wall=float(u(1, 2.5) * area),
        layer_conductance=float(u(2, 6) * area),
        layers=int(rng.integers(5, 13)),
        flow=flow,
        pump_flow=flow * float(u(1.4, 2.2)) if overflow else flow,
        overflow=overflow,
        setting=float(u(0.0, 0.3)),
        bed_liquid=float(u(1.4, 2.0)),
        top_volume=float(u(1.2, 2.8) * area),
        lid_opening=float(u(0.05, 0.2)),
        base_sensor=Probe(lag=float(u(4, 15)), offset=0.15 * rng.normal(), noise=0.05, superheat=float(u(0, 0.04))),
        bed_probe=Probe(
            lag=float(u(12, 40)),
            offset=0.2 * rng.normal(),
            noise=float(u(0.02, 0.05)),
            depth=float(u(0.35, 0.7)),
            depth_sd=float(u(0.02, 0.08)),
            dropouts=float(u(0, 0.6)),
            period=float(rng.choice([0.0, 10.0])),
        ),
        controller=control,
    )


def draw_days(rig: SimulatedRig, count: int, rng: np.random.Generator) -> list[SimulatedDay]:
    """Days of any recipe, under control of base and bed in turn, the room logged on half of the rigs."""
    room = bool(rng.random() < 0.5)
    days = []
    for k in range(count):
        plan = draw_plan(
            rig,
            RECIPES[int(rng.integers(len(RECIPES)))],
            str(k),
            rng,
            heater_follows="mash" if k % 2 else "base",
            room_temp=float(round(rng.uniform(13, 24), 1)),
            mill_gap=float(round(rng.uniform(1.0, 1.2), 2)),
            log_ambient=room,
        )
        days.append(simulate_day(rig, plan, rng))
    return days


def truth_of(days: list[SimulatedDay]) -> dict[str, float]:
    """True values of the constants, means over the days.

    `heat_loss` is conduction alone, `heat_loss_with_steam` what the kettle lost while the wort circulated.
    """
    rig, true = days[0].rig, [day.truth for day in days]
    flows = [day.true.loc[day.true["bed_flow"] > 0, "bed_flow"].mean() for day in days]
    return {
        "heat_share": rig.heat_share * float(np.mean([mains(day) for day in days])),
        "heat_capacity": float(
            np.mean([t["bed_heat_capacity"] + t["base_heat_capacity"] + t["vessel_heat_capacity"] for t in true])
        ),
        "heat_loss": float(true[0]["mash_heat_loss"]),
        "heat_loss_with_steam": float(np.mean([loss_with_steam(day) for day in days])),
        "bed_flow": float(np.mean(flows)),
        "vapour_loss": 1000 * STEAMING * rig.surface * 0.35,  # the lid stands open by that much on the way to the boil
        "boil_off": float(np.mean([t["boil_off"] for t in true])),
        "absorption": float(np.mean([t["absorption"] for t in true])),
        "vessel_heat_capacity": rig.vessel_heat_capacity + rig.element_heat_capacity,
        "probe_lag": rig.bed_probe.lag,
        "probe_offset": rig.bed_probe.offset - rig.base_sensor.offset,
    }


def mains(day: SimulatedDay) -> float:
    """Power over nameplate while the strike water was heated at full power."""
    end = next(e.elapsed for e in day.events if e.event == "mash-in")
    power = day.true.loc[day.true["elapsed"] < end, "power"]
    return float(power[power > 0.85 * day.rig.heater_power].mean() / day.rig.heater_power)


def loss_with_steam(day: SimulatedDay) -> float:
    """What wall, bed, lid and steam took from the mash, per kelvin above the room. [W/K]"""
    rig, true = day.rig, day.true
    mash = true[true["bed_flow"] > 0].iloc[::20]
    steam = [
        STEAMING * rig.surface * rig.lid_opening * (saturation_pressure(hot) - 0.5 * saturation_pressure(room))
        for hot, room in zip(mash["top"], mash["room"], strict=True)
    ]
    lost = rig.wall_loss * mash["wall"] + rig.lid_loss * mash["top"] + rig.bed_loss * mash["bed"]
    lost -= (rig.wall_loss + rig.lid_loss + rig.bed_loss) * mash["room"]
    above = 0.75 * mash["base"] + 0.25 * mash["bed"] - mash["room"]
    return float((lost.sum() + sum(steam)) / above.sum())


def noise_free(day: SimulatedDay) -> Brew:
    """The day as sensors without lag, offset and noise would have seen it, with true power and room."""
    rows = day.true.iloc[::2]
    seen = layer_weights(day.truth["depth"], day.rig.layers)
    power = day.true["power"].rolling(2, min_periods=1).mean().shift(-1).iloc[::2].ffill()
    trace = pd.DataFrame(
        {
            "elapsed": rows["elapsed"],
            "mash_temp": sum(rows[layer] * part for layer, part in seen.items()),
            "base_temp": rows["base"],
            "power_watt": power,
            "ambient_temp": rows["room"],
        }
    ).reset_index(drop=True)
    return replace(brew_record(day), load_trace=lambda: (trace, (), day.events))
