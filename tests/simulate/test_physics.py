"""Physics of the simulated day against conservation laws and published numbers."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import expm

from brewlog.simulate import KITCHEN, SHED, Block, BrewPlan, PlannedMalt, Probe, simulate_day, simulate_water_test
from brewlog.simulate.charge import grain_heat_capacity, wetting_heat
from brewlog.simulate.controller import Regulator, on_share
from brewlog.simulate.course import LATENT_HEAT, WATER_HEAT
from brewlog.simulate.mashing import bed_capacities
from brewlog.simulate.network import Network, exponential
from brewlog.wort.properties import extract_from_sg, wort_density
from brewlog.wort.water import water_density

STILL = {"mains_sd": 0.0, "mains_wander": 0.0}
TIGHT_HEAT = {"wall_loss": 0.0, "lid_loss": 0.0, "bed_loss": 0.0, "lid_opening": 0.0, "heat_share": 1.0}


@pytest.mark.parametrize("scale", [1e-4, 0.3, 4.0, 40.0])
def test_exponential_equals_scipys(scale):
    rng = np.random.default_rng(5)
    matrix = scale * rng.random((17, 17))
    matrix -= np.diag(matrix.sum(axis=0)) + np.diag(scale * rng.random(17))
    np.testing.assert_allclose(exponential(matrix), expm(matrix), rtol=0, atol=1e-12)


def test_network_conserves_heat():
    network = Network(
        {"element": 700.0, "base": 5e4, "layer_1": 2e4, "layer_2": 2e4},
        [("element", "base", 120.0), ("layer_2", "base", 3.0)],
        [("base", "layer_1", 150.0), ("layer_1", "layer_2", 150.0), ("layer_2", "base", 150.0)],
        losses={"base": 4.0, "layer_1": 1.5},
        followers={"probe": ({"layer_1": 1.0}, 20.0)},
    )
    before = np.array([60.0, 62.0, 55.0, 40.0, 50.0, 0.0])
    after = network.step(600.0) @ [*before, 1500.0, 18.0, 200.0]
    heats = np.array([700.0, 5e4, 2e4, 2e4])
    gained = heats @ (after[:4] - before[:4])
    assert gained == pytest.approx((1500.0 - 200.0) * 600.0 - after[-1], rel=1e-10)


def test_two_short_steps_are_one_long_step():
    network = Network({"base": 5e4, "wall": 3e3}, [("base", "wall", 200.0)], losses={"wall": 3.0}, powered="base")
    start = [50.0, 20.0, 0.0]
    inputs = [900.0, 15.0, 0.0]
    half = network.step(30.0)
    twice = half @ [*(half @ [*start, *inputs]), *inputs]
    np.testing.assert_allclose(twice, network.step(60.0) @ [*start, *inputs], rtol=1e-12)


def test_heating_rate_of_water():
    # 2400 W into 35 L at 50 degC without losses: 0.9959 K/min (IAPWS-95); tolerance: one specific heat for the day
    litres = 35.0 * float(water_density(50.0)) / float(water_density(20.0))
    rig = replace(KITCHEN, vessel_mass=1e-6, element_heat_capacity=1e-3, **STILL, **TIGHT_HEAT)
    test = simulate_water_test(rig, "heat-up", litres, np.random.default_rng(1))
    minutes = test.trace["elapsed"].iloc[-1] / 60
    rate = (test.truth["temp"] - 14.0) / (minutes + 5 / 60)
    assert rate == pytest.approx(0.9959, abs=0.006)
    assert 60 * 2400.0 / (litres * 0.9982 * WATER_HEAT) == pytest.approx(0.9959, abs=0.002)


def test_boil_off_per_kilowatt():
    # 1 kW net of losses at 101.325 kPa evaporates 1.5955 kg/h (IAPWS-95)
    assert pytest.approx(1.5955, abs=1e-3) == 3600e3 / LATENT_HEAT
    rig = replace(KITCHEN, altitude=0.0, heater_power=1000.0, **STILL, **TIGHT_HEAT)
    test = simulate_water_test(rig, "boil", 20.0, np.random.default_rng(1))
    assert test.truth["boil_off"] == pytest.approx(1.5955, abs=4e-3)


def test_mash_heat_capacity():
    # 5 kg malt of 4 % moisture, 0.38 dry, and 20 kg water: 92.1 kJ/K (Brewing Room Book 1984/85)
    assert grain_heat_capacity(5.0, 0.04) + 20 * WATER_HEAT == pytest.approx(92.1e3, abs=0.5e3)
    plan = BrewPlan(malts=(PlannedMalt("pale malt", 5.0, moisture=0.04),), mash_water=20 / 0.9982)
    assert sum(bed_capacities(KITCHEN, plan)) == pytest.approx(92.1e3, abs=0.5e3)


@pytest.mark.parametrize(("moisture", "rise"), [(0.0, 3.1), (0.02, 2.3), (0.03, 2.1), (0.04, 1.7), (0.08, 1.1)])
def test_slaking_heat(moisture, rise):
    # rise of a mash with 2.7 kg water per kg malt, Brewing Room Book 1984/85; two printed versions differ by 0.2 K
    heat = float(wetting_heat(moisture))
    assert heat / (grain_heat_capacity(1.0, moisture) + 2.7 * WATER_HEAT) == pytest.approx(rise, abs=0.3)


@pytest.mark.parametrize("control", ["base", "mash"])
@pytest.mark.parametrize("rig", [KITCHEN, SHED], ids=lambda rig: rig.label)
def test_account_of_heat_closes(rig, control):
    size = rig.kettle_volume / 35
    malts = (PlannedMalt("pale malt", 5.5 * size),)
    plan = BrewPlan(malts=malts, mash_water=20 * size, sparge_water=9 * size, heater_follows=control, kettle_sugar=0.4)
    day = simulate_day(rig, plan, np.random.default_rng(11))
    came_in = sum(heat for cause, heat in day.heat.items() if cause != "stored")
    assert came_in == pytest.approx(day.heat["stored"], abs=1e-6 * day.heat["heater"])


@pytest.mark.parametrize("control", ["base", "mash"])
def test_extract_is_conserved(control):
    plan = BrewPlan(heater_follows=control, top_up=1.0)
    truth = simulate_day(KITCHEN, plan, np.random.default_rng(3)).truth
    assert truth["pre_boil_extract"] == pytest.approx(truth["post_boil_extract"], rel=1e-12)
    # dead volume and trub take wort as strong as what reaches the fermenter
    extract = float(extract_from_sg(truth["fermenter_gravity"]))
    left = (KITCHEN.dead_volume + KITCHEN.trub) * float(wort_density(extract, 20.0)) / 1000 * extract
    assert truth["fermenter_extract"] + left == pytest.approx(truth["post_boil_extract"], rel=1e-6)
    assert truth["mash"] == pytest.approx(truth["conversion"] * truth["lauter"] / 100, rel=1e-12)
    assert truth["dissolved"] <= truth["there"]


def test_kettle_sugar_reaches_the_fermenter_and_is_no_merit():
    rng = [np.random.default_rng(3) for _ in range(2)]
    plain = simulate_day(KITCHEN, BrewPlan(), rng[0]).truth
    sweet = simulate_day(KITCHEN, BrewPlan(kettle_sugar=0.5), rng[1]).truth
    assert sweet["post_boil_extract"] - plain["post_boil_extract"] == pytest.approx(0.5, abs=1e-9)
    assert sweet["brewhouse"] == pytest.approx(plain["brewhouse"], abs=0.2)


def test_water_is_conserved():
    plan = BrewPlan()
    day = simulate_day(KITCHEN, plan, np.random.default_rng(4))
    poured = (plan.mash_water + plan.sparge_water) * 0.9982 + plan.grist * plan.moisture
    post = day.truth["post_boil_volume"] * 0.9982 * day.truth["post_boil_gravity"] - day.truth["post_boil_extract"]
    steam = -day.heat["steam"] / LATENT_HEAT
    # steam goes on after the end of the boil while the kettle cools
    assert poured - day.truth["absorption"] * plan.grist - steam == pytest.approx(post, abs=0.15)


def test_layers_follow_the_flow():
    day = simulate_day(
        SHED, BrewPlan(malts=(PlannedMalt("pale malt", 11.0),), mash_water=42.0), np.random.default_rng(2)
    )
    ramp = day.true[(day.true["power"] > 2500) & day.true["bed"].notna()].iloc[20:]
    tops, bottoms = ramp["layer_1"].to_numpy(), ramp["layer_8"].to_numpy()
    assert (tops > bottoms - 0.05).mean() > 0.95
    assert (ramp["base"] > ramp["top"]).mean() > 0.9


def test_blocked_bed_lags_more():
    plan = BrewPlan(heater_follows="base")
    free = simulate_day(KITCHEN, plan, np.random.default_rng(9)).true
    stuck = simulate_day(KITCHEN, replace(plan, block=Block(40.0, 25.0, 0.2)), np.random.default_rng(9)).true
    leads = [(day["base"] - day["bed"])[day["bed"].notna()].iloc[500:900].max() for day in (free, stuck)]
    assert leads[1] > leads[0] + 1.0


def test_noise_free_sensors_show_the_truth():
    exact = Probe(lag=1e-3, noise=0.0, step=1e-6)
    rig = replace(KITCHEN, base_sensor=exact, bed_probe=exact)
    day = simulate_day(rig, BrewPlan(), np.random.default_rng(2))
    both = day.trace.merge(day.true, on="elapsed").dropna(subset=["bed", "mash_temp"])
    np.testing.assert_allclose(both["base_temp"], both["base"], atol=1e-4)
    np.testing.assert_allclose(both["mash_temp"], (both["layer_4"] + both["layer_5"]) / 2, atol=1e-3)


def test_probe_lag_offset_rounding_and_dropouts():
    probe = Probe(lag=30.0, offset=0.4, noise=0.0, step=0.1, dropouts=20.0, dropout_length=60.0)
    day = simulate_day(replace(KITCHEN, bed_probe=probe), BrewPlan(), np.random.default_rng(2))
    mash = day.trace.merge(day.true, on="elapsed").dropna(subset=["bed"])
    assert 0.05 < mash["mash_temp"].isna().mean() < 0.5
    seen = mash["mash_temp"].dropna()
    np.testing.assert_allclose(seen * 10, (seen * 10).round(), atol=1e-6)
    middle = (mash["layer_4"] + mash["layer_5"]) / 2
    assert (mash["mash_temp"] - middle).median() == pytest.approx(0.4, abs=0.1)


def test_controller_keeps_headroom_and_limit():
    regulator = Regulator(KITCHEN.controller, 5.0)
    assert regulator.demand(65.0, base=71.5, bed=60.0, follows="mash", headroom=6.0, limit=1.0) == 0.0
    assert regulator.demand(65.0, base=66.0, bed=60.0, follows="mash", headroom=6.0, limit=0.6) == 0.6
    assert regulator.demand(65.0, base=66.0, bed=60.0, follows="base", headroom=6.0, limit=1.0) == 0.0


def test_controller_falls_back_on_the_base_when_the_bed_is_silent():
    regulator = Regulator(KITCHEN.controller, 5.0)
    regulator.demand(65.0, base=66.0, bed=60.0, follows="mash", headroom=6.0, limit=1.0)
    acting = []
    for _ in range(14):
        regulator.demand(65.0, base=66.0, bed=np.nan, follows="mash", headroom=6.0, limit=1.0)
        acting.append(regulator.acting)
    assert acting == ["mash"] * 12 + ["base"] * 2


def test_base_stays_within_headroom():
    # about 1 K more than asked for: the sensor lags, and the element still gives off its heat
    day = simulate_day(KITCHEN, BrewPlan(heater_follows="mash"), np.random.default_rng(6))
    rests = day.plan.rests
    merged = day.trace.merge(day.true, on="elapsed").dropna(subset=["bed"])
    for rest in rests:
        held = merged[merged["set_temp"] == rest.temp].iloc[60:]
        assert (held["base"] < rest.temp + rest.headroom + 1.0).all()


def test_time_proportioned_heater_gives_the_demanded_mean():
    for demand in (0.0, 0.13, 0.5, 0.99, 1.0):
        shares = [on_share(demand, time, 20.0, 5.0) for time in np.arange(0.0, 200.0, 5.0)]
        assert np.mean(shares) == pytest.approx(demand)
