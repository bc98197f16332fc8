"""Facts of the trade on a simulated 65 L, 3.5 kW rig with 11 to 13 kg of grain (common practice, no source)."""

from dataclasses import replace

import numpy as np
import pytest

from brewlog.simulate import KITCHEN, SHED, BrewPlan, PlannedMalt, PlannedRest, simulate_day


def big_rig(flow: float):
    return replace(SHED, kettle_volume=65.0, flow=flow, pump_flow=flow, setting=0.0)


def big_plan(grain: float, **changes) -> BrewPlan:
    rests = (PlannedRest(62.0, 30.0), PlannedRest(72.0, 40.0), PlannedRest(77.0, 20.0, "mash-out", 10.0, 60.0))
    malts = (PlannedMalt("pale malt", grain),)
    return replace(BrewPlan(malts=malts, mash_water=42.0, sparge_water=18.0, rests=rests), **changes)


def moment(day, event: str, which: int = 0) -> float:
    return [noted.elapsed for noted in day.events if noted.event == event][which]


@pytest.mark.parametrize("grain", [11.0, 13.0])
@pytest.mark.parametrize("flow", [2.0, 3.0, 4.0])
def test_bed_is_5_to_10_kelvin_colder_when_heating_hard_on_the_base(grain, flow):
    day = simulate_day(big_rig(flow), big_plan(grain, heater_follows="base"), np.random.default_rng(1))
    start = moment(day, "rest", 0) + 30 * 60
    ramp = day.true[day.true["elapsed"].between(start, moment(day, "rest", 1))]
    assert 5.0 - 0.05 < (ramp["base"] - ramp["bed"]).max() < 10.0


@pytest.mark.parametrize(("grain", "flow"), [(11.0, 2.0), (11.0, 4.0), (12.0, 3.0), (13.0, 3.0), (13.0, 4.0)])
def test_ramp_to_mash_out_takes_10_to_15_minutes(grain, flow):
    # 5 K at 60 % power and 10 K headroom; arrival = bed within 0.5 K
    day = simulate_day(big_rig(flow), big_plan(grain, heater_follows="mash"), np.random.default_rng(1))
    start = moment(day, "mash-out")
    after = day.true[day.true["elapsed"] >= start]
    arrival = after.loc[after["bed"] > 76.5, "elapsed"].iloc[0]
    assert 10.0 < (arrival - start) / 60 < 15.0


def test_base_leads_by_half_to_two_kelvin_while_holding():
    day = simulate_day(big_rig(3.0), big_plan(12.0, heater_follows="base"), np.random.default_rng(1))
    start = moment(day, "rest", 0)
    held = day.true[day.true["elapsed"].between(start + 20 * 60, start + 30 * 60)]
    assert 0.5 < (held["base"] - held["bed"]).mean() < 2.0


def test_kitchen_rig_is_an_ordinary_rig():
    day = simulate_day(KITCHEN, BrewPlan(), np.random.default_rng(5))
    truth = day.truth
    assert 90 < truth["conversion"] < 100
    assert 75 < truth["lauter"] < 95
    assert 65 < truth["brewhouse"] < 85
    assert 2.5 < truth["boil_off"] < 5.0
    assert 80 < 45.0 * truth["mash_heat_loss"] < 400  # W at 65 degC in a room of 20 degC; bed and lid included
