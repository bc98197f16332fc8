"""What boil, way to the boil, mash-in and standing water tell; whether power is meant from its stamp or up to it."""

from __future__ import annotations

import runpy
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from brewlog.logbook.records import Addition, Brew, Event, Malt, Rig
from brewlog.rig import fit_rig
from brewlog.rig.boiling import Told, boil_share, boiled_off, vapour_on_the_way, vapour_pressure
from brewlog.rig.capacity import Inventory
from brewlog.rig.day import day_of
from brewlog.rig.scale import weigh_scale
from brewlog.rig.standing import standing_water
from brewlog.rig.stretches import cut, mash_span
from brewlog.rig.volumes import StageVolumes, poured, volume_constants
from brewlog.simulate import KITCHEN, BrewPlan, brew_record, simulate_day

DRAWN = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("drawn.py"))))
POT = Rig("pot", heater_power=2400.0, vessel_mass=8.0, vessel_material="stainless steel")


@cache
def boiling_day(sugar=0.0, top_up=0.0):
    return simulate_day(KITCHEN, BrewPlan(kettle_sugar=sugar, top_up=top_up), np.random.default_rng(5))


def stages_of(day):
    """True volumes and extracts, as a perfect brewer would read them."""
    t = day.truth
    volume = {"pre-boil": t["pre_boil_volume"], "post-boil": t["post_boil_volume"]}
    return StageVolumes(volume, {"pre-boil": 0.2, "post-boil": 0.2}, {"pre-boil": 0.11})


def test_vapour_pressure_is_that_of_steam_tables():
    # IAPWS-IF97 saturation: 70.18 kPa at 90 degC, 84.61 kPa at 95 degC
    assert vapour_pressure(np.array([90.0, 95.0])) == pytest.approx([70.18, 84.61], rel=1e-3)


def test_the_boil_tells_the_share_by_its_steam():
    day = boiling_day()
    brew = brew_record(day)
    told = boil_share(brew, day_of(brew, KITCHEN.record()), stages_of(day), 7.6)
    assert told.estimate == pytest.approx(0.95, abs=0.06)
    assert 0.03 < told.sd < 0.15


def test_what_joins_in_the_boil_is_counted():
    volumes = StageVolumes({"pre-boil": 28.0, "post-boil": 26.0}, {}, {})
    joined = (Addition("1", "water", volume=1.5, stage="boil"), Addition("1", "sugar", mass=1.0, stage="boil"))
    gone, sd = boiled_off(Brew("1", additions=joined), volumes)
    assert gone == pytest.approx(2.0 + 1.5 + 0.62)  # a kilogram of sugar takes 0.62 L (density of its solutions)
    assert sd == pytest.approx(0.57, abs=0.01)
    with pytest.raises(ValueError, match="not fully recorded"):
        boiled_off(Brew("1", additions=(Addition("1", "water", stage="boil"),)), volumes)


@pytest.mark.parametrize(
    ("addition", "litres"),
    [
        # density of water, IAPWS-95: 0.99821 kg/L at 20 degC, 0.95835 kg/L at 100 degC
        (Addition("1", "water", mass=2.0, stage="boil"), 2.0 / 0.99821),
        (Addition("1", "water", volume=2.0, temp=100.0, stage="boil"), 2.0 * 0.95835 / 0.99821),
        (Addition("1", "water", mass=2.0, volume=9.0, stage="boil"), 2.0 / 0.99821),
        (Addition("1", "water", mass=2.0), 2.0 / 0.99821),
        (Addition("1", "water", mass=2.0, stage="fermenter"), 0.0),
        (Addition("1", "water", mass=-2.0, volume=2.0, stage="boil"), 2.0),
        (Addition("1", "extract", mass=1.0, extract=0.8, stage="boil"), 0.8 * 0.62 + 0.2 / 0.99821),
    ],
    ids=["kilograms", "hot litres", "weighed before read", "no stage", "fermenter", "impossible mass", "syrup"],
)
def test_what_joined_in_the_boil_counts_in_litres_at_20_degrees(addition, litres):
    assert poured(Brew("1", additions=(addition,))) == pytest.approx(litres, abs=1e-3)


def test_a_top_up_by_mass_keeps_the_brew_in_the_boil_off():
    weighed = Brew("a", boil_time=60.0, additions=(Addition("a", "water", mass=2.0, stage="boil"),))
    unknown = Brew("b", boil_time=60.0, additions=(Addition("b", "water", stage="boil"),))
    stages = StageVolumes({"pre-boil": 28.0, "post-boil": 27.0}, {}, {})
    constants = volume_constants([weighed, unknown], None, {"a": stages, "b": stages})
    interval, _ = constants["boil_off"]
    assert interval.estimate == pytest.approx(1.0 + 2.0 / 0.99821, abs=1e-3)
    assert interval.brews == 1


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"power": None}, "no power is known"),
        ({"events": {}}, "start and end of the boil are neither recorded nor found"),
        ({"events": {"boil": 0.0}}, "^end of the boil is neither recorded nor found"),
        ({"events": {"boil": 100.0, "boil end": 400.0}}, "only 5 min of boil"),
    ],
    ids=["power", "events", "half", "short"],
)
def test_a_boil_that_cannot_be_used_says_why(change, words):
    day = boiling_day()
    brew = brew_record(day)
    with pytest.raises(ValueError, match=words):
        boil_share(brew, replace(day_of(brew, KITCHEN.record()), **change), stages_of(day), 7.6)


def test_the_way_to_the_boil_tells_the_vapour():
    day = boiling_day()
    found = day_of(brew_record(day), KITCHEN.record())
    told = vapour_on_the_way(found, KITCHEN.record(), stages_of(day), Told(0.95, 0.01), 7.6)
    # 50 W/(m2 kPa) on 0.102 m2, the lid open by 0.35: 1.8 W/kPa; 2.3 kW at 75 kPa are 30 W/kPa, so a wide target
    assert told.estimate == pytest.approx(1.8, abs=1.0)
    low = vapour_on_the_way(found, KITCHEN.record(), stages_of(day), Told(0.90, 0.01), 7.6)
    assert low.estimate < told.estimate - 1.0  # share and vapour stand in for each other
    with pytest.raises(ValueError, match="volume and gravity are needed"):
        vapour_on_the_way(found, KITCHEN.record(), StageVolumes({}, {}, {}), Told(0.95, 0.01), 7.6)


def test_rinse_water_that_still_runs_in_is_noticed():
    day = boiling_day()
    found = day_of(brew_record(day), KITCHEN.record())
    boil = found.events["boil"]
    late = (found.elapsed > boil - 240) & (found.elapsed < boil)
    base = np.where(
        late, found.base, np.where(found.elapsed < boil, found.base + 0.6 * (92.0 - found.base), found.base)
    )
    with pytest.raises(ValueError, match="rinse water still ran in"):
        vapour_on_the_way(replace(found, base=base), KITCHEN.record(), stages_of(day), Told(0.95, 0.01), 7.6)


def test_rinse_water_that_runs_in_to_the_end_is_noticed():
    # half a litre per minute at 72 degC: as the wort gets hotter and more, the same power warms it slower and slower
    rinsed = rinsed_to_the_end(rate=0.5)
    with pytest.raises(ValueError, match="rinse water seems to have run in to the end"):
        vapour_on_the_way(rinsed, POT, RINSED, Told(0.95, 0.01), 6.0)
    told = vapour_on_the_way(rinsed_to_the_end(rate=0.0), POT, RINSED, Told(0.95, 0.01), 6.0)
    assert told.estimate == pytest.approx(2.0, abs=0.6)


RINSED = StageVolumes({"pre-boil": 30.0}, {}, {"pre-boil": 0.0})


def rinsed_to_the_end(rate):
    """A day of water whose rinse runs in until the boil; walls 3 W/K, vapour 2 W/kPa, 30 L at the boil."""
    step, power, room = 30.0, 2400.0, 20.0
    litres, temp, temps = 30.0, 100.0, []
    while temp > 82.0:  # backwards from the boil
        temps.append(temp)
        heat = litres * 0.9982 * 4205.0 + 8 * 490.0
        vapour = 2.0 * float(vapour_pressure(np.array([temp]))[0] - 1.2)
        inflow = rate / 60 * 4187.0 * (temp - 72.0)
        temp -= step * (0.95 * power - 3.0 * (temp - room) - vapour - inflow) / heat
        litres -= rate * step / 60
    base = np.concatenate([temps[::-1], np.full(40, 100.0)])
    t = step * np.arange(base.size)
    frame = pd.DataFrame({"elapsed": t, "base_temp": base, "power": 100.0, "ambient_temp": room})
    events = (Event("1", "mash-in", 0.0), Event("1", "lift", 0.0), Event("1", "boil", step * len(temps)))
    return day_of(Brew("1", rig="pot", load_trace=lambda: (frame, (), events)), POT)


def test_stretches_weigh_by_what_they_know():
    water = Inventory(8e4, 0.0, 4e3, 1600.0, 0.0, 600.0, "")
    mash = Inventory(8e4, 8e3, 4e3, 1600.0, 640.0, 600.0, "")
    both = weigh_scale(0.95, mash, 0.93, water)
    all_ = weigh_scale(0.95, mash, 0.93, water, Told(0.80, 0.02))
    assert all_.weights["boil"] > 0.1
    assert all_.heat_share < both.heat_share
    assert all_.heat_share_sd < both.heat_share_sd
    assert sum(all_.weights.values()) == pytest.approx(1.0)
    assert all_.told_by == "heat-up, mash and boil"


def standing(loss=6.0, fall_to=40.0, litres=20.0):
    """Strike water at 72 degC, left alone for three hours, then grain."""
    heat = litres * 4180.0 + 8 * 490.0
    t = np.arange(0.0, 4 * 3600.0, 30.0)
    up = t < 3600
    base = np.where(up, 15 + 57 * t / 3600, 20 + 52 * np.exp(-loss * (t - 3600) / heat))
    frame = {"elapsed": t, "base_temp": base, "power": np.where(up, 60.0, 0.0), "ambient_temp": 20.0}
    events = (Event("1", "mash-in", 4 * 3600.0 - 60),)
    malts = (Malt("1", "pale malt", 5.0, 0.8, None, 0.04),)
    return Brew("1", rig="pot", mash_water=litres, malts=malts, load_trace=lambda: (pd.DataFrame(frame), (), events))


def test_strike_water_that_stood_tells_the_loss_of_the_kettle():
    brew = standing()
    loss, water = standing_water(brew, POT, day_of(brew, POT))
    assert loss == pytest.approx(6.0, rel=0.02)
    assert water.total == pytest.approx(20 * 4180.0 + 3920, rel=0.01)


def test_chilled_or_unrecorded_water_does_not():
    brew = standing(loss=60.0)
    with pytest.raises(ValueError, match="was chilled"):
        standing_water(brew, POT, day_of(brew, POT))
    with pytest.raises(ValueError, match="mash_water is not recorded"):
        standing_water(replace(brew, mash_water=None), POT, day_of(brew, POT))


def test_the_drop_at_mash_in_is_a_check_of_the_litres():
    rng = np.random.default_rng(8)
    days = [simulate_day(KITCHEN, BrewPlan(brew=str(k)), rng) for k in range(3)]
    fit = fit_rig(KITCHEN.record(), [brew_record(day) for day in days])
    drop = fit.per_stretch[fit.per_stretch["stretch"] == "mash-in"]
    true = np.mean([d.truth["bed_heat_capacity"] + d.truth["base_heat_capacity"] + 4375 for d in days])
    assert drop["estimate"].mean() == pytest.approx(true, rel=0.2)
    assert (drop["sd"] / drop["estimate"]).between(0.07, 0.25).all()
    bare = [replace(brew_record(day), grain_temp=None) for day in days]
    assert fit_rig(KITCHEN.record(), bare).left_out["0, mash-in"].startswith("grain_temp")


def test_a_probe_out_of_touch_for_long_does_not_end_a_stretch():
    # a controller falls back to the base sensor meanwhile; base and power go on being read
    brew = drawn(30.0)[0]
    trace, faults, events = brew.load_trace()
    begin = next(e.elapsed for e in events if e.event == "mash-in") + 1800
    away = (trace["elapsed"] >= begin) & (trace["elapsed"] < begin + 900)
    gone = trace.assign(mash_temp=trace["mash_temp"].mask(away))
    whole, broken = (
        cut(day, *mash_span(day), probe=True)
        for day in (day_of(replace(brew, load_trace=lambda f=f: (f, faults, events)), POT) for f in (trace, gone))
    )
    assert len(broken) == len(whole) == 1
    assert broken[0].elapsed == pytest.approx(whole[0].elapsed)
    assert np.isnan(broken[0].readings[:, 1]).sum() == 30
    assert np.isfinite(broken[0].readings[:, 0]).all()


@cache
def drawn(step):
    return tuple(DRAWN.draw_rig(3, np.random.default_rng(3), step=step))


def stamped_at_the_end(brew):
    """The same brew, each row's power being the mean up to its stamp."""
    trace, faults, events = brew.load_trace()
    trace = trace.assign(power=trace["power"].shift(1, fill_value=trace["power"].iloc[0]))
    return replace(brew, load_trace=lambda: (trace, faults, events))


def test_power_that_is_meant_up_to_its_stamp_is_found_by_the_residuals():
    as_is = fit_rig(DRAWN.RECORD, drawn(30.0))
    late = fit_rig(DRAWN.RECORD, [stamped_at_the_end(brew) for brew in drawn(30.0)])
    assert not as_is.power_before
    assert late.power_before
    assert late["bed_flow"] == pytest.approx(as_is["bed_flow"], rel=0.03)
    assert any("mean up to its time stamp" in note for note in late.notes)
    assert any("hold from its time stamp on" in note for note in as_is.notes)
