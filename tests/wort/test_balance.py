"""The extract balance of a brew: numbers, propagation, absences, additions."""

from __future__ import annotations

from dataclasses import replace

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from uncertainties import correlation_matrix

from brewlog.logbook.records import Addition, Brew, Malt, Reading, Rig
from brewlog.wort import (
    ExtractBalance,
    correct_hydrometer,
    extract_balance,
    extract_from_sg,
    extract_mass,
    sg_from_extract,
    volume_at_20,
    wort_density,
)
from brewlog.wort.batch import balance_batch
from brewlog.wort.inventory import constant

WATER = 0.998203  # kg/L at 20 degC
RIG = Rig("kitchen", volume_sd=0.25, gravity_sd=0.0005, vessel_material="stainless steel")
MALTS = (
    Malt("1", "pale malt", 4.8, malt_extract=0.81, moisture=0.04),
    Malt("1", "wheat malt", 0.6, malt_extract=0.84, moisture=0.05),
)
POTENTIAL = 4.8 * 0.96 * 0.81 + 0.6 * 0.95 * 0.84


def read(stage, quantity, value, unit, temp=20.0, **more):
    return Reading("1", stage, quantity, value, unit, temp, **more)


FIRST_WORT = read("first wort", "gravity", 1.0740, "SG")
PRE = (read("pre-boil", "gravity", 1.0440, "SG"), read("pre-boil", "volume", 28.6, "L", 72.0))
POST = (read("post-boil", "gravity", 1.0500, "SG"), read("post-boil", "volume", 26.0, "L", 98.0))
FERMENTER = (read("fermenter", "gravity", 1.0500, "SG"), read("fermenter", "volume", 22.8, "L"))
BREW = Brew("1", malts=MALTS, mash_water=19.0, sparge_water=15.0, boil_time=60.0)


def brew(*readings, **changes):
    return replace(BREW, readings=tuple(readings), **changes)


def test_each_efficiency_by_hand():
    # one reading of everything: nothing to reconcile
    balance = extract_balance(brew(FIRST_WORT, *PRE, FERMENTER[1], read("fermenter", "gravity", 1.0495, "SG")), RIG)
    kettle = extract_mass(volume_at_20(28.6, 72.0, extract_from_sg(1.044), "stainless steel"), extract_from_sg(1.044))
    strength = extract_from_sg(1.074)
    dissolved = strength / (1 - strength) * (19.0 * WATER + 4.8 * 0.04 + 0.6 * 0.05)
    assert balance.potential.nominal_value == pytest.approx(POTENTIAL)
    assert balance.conversion.nominal_value == pytest.approx(100 * dissolved / POTENTIAL)
    assert balance.lauter.nominal_value == pytest.approx(100 * kettle / dissolved)
    assert balance.mash.nominal_value == pytest.approx(100 * kettle / POTENTIAL)
    assert balance.brewhouse.nominal_value == pytest.approx(
        100 * extract_mass(22.8, extract_from_sg(1.0495)) / POTENTIAL
    )
    product = balance.conversion * balance.lauter / 100
    assert product.nominal_value == pytest.approx(balance.mash.nominal_value)
    assert product.std_dev == pytest.approx(balance.mash.std_dev)  # what both share cancels
    assert balance.checks.loc["whole account", "verdict"].startswith("cannot tell: no reading checks another")
    assert dict(balance.reasons) == {}


def test_propagation_agrees_with_monte_carlo():
    balance = extract_balance(brew(FIRST_WORT, *PRE, FERMENTER[1], read("fermenter", "gravity", 1.0495, "SG")), RIG)
    rng, n = np.random.default_rng(11), 100_000
    half = np.sqrt(0.5)
    offset, marks = rng.normal(size=n) * 0.0005 * half, rng.normal(size=n) * 0.25 * half

    def gravity(value):
        shown = value + offset + rng.normal(size=n) * 0.0005 * half
        return extract_from_sg(correct_hydrometer(shown, 20.0 + 0.5 * rng.normal(size=n)))

    scale = 1 + 0.0035 * rng.normal(size=n)
    potential, moisture = np.zeros(n), np.zeros(n)
    for malt in MALTS:
        wet = malt.moisture + 0.003 * rng.normal(size=n)
        potential += malt.mass * (1 - wet) * (malt.malt_extract + 0.006 * rng.normal(size=n))
        moisture += malt.mass * wet
    potential *= scale
    strength, before, last = gravity(1.074), gravity(1.044), gravity(1.0495)
    hot = volume_at_20(28.6, np.clip(72 + 2 * rng.normal(size=n), 0, 105), before, "stainless steel")
    kettle = extract_mass(hot + marks + rng.normal(size=n) * 0.25 * half, before)
    fermenter = extract_mass(22.8 + 0.25 * rng.normal(size=n), last)
    mash_water = (19.0 + 0.25 * rng.normal(size=n)) * WATER
    dissolved = strength / (1 - strength) * (mash_water + moisture - 0.005 * 19 * WATER * rng.normal(size=n))
    for name, draws in (
        ("conversion", dissolved / potential),
        ("lauter", kettle / dissolved),
        ("mash", kettle / potential),
        ("brewhouse", fermenter / potential),
    ):
        value = getattr(balance, name)
        assert value.std_dev == pytest.approx(100 * np.std(draws), rel=0.03), name
        assert value.nominal_value == pytest.approx(100 * np.mean(draws), abs=0.05), name


def test_propagation_through_the_reconciliation_agrees_with_monte_carlo():
    constants = pd.DataFrame(
        {"estimate": [3.2, 2.5], "sd": [0.2, 0.2], "spread": [0.4, 0.4]}, index=["boil_off", "dead_volume"]
    )
    # marks and hydrometer at 20 degC, no scatter of the sample's temperature to speak of
    readings = [replace(one, temp=20.0) for one in (*PRE, *POST, *FERMENTER)]
    readings[1] = replace(readings[1], value=28.0)
    readings[3] = replace(readings[3], value=24.8)
    balance = extract_balance(brew(*readings), RIG, constants)
    rng, n = np.random.default_rng(12), 100_000
    half = np.sqrt(0.5)
    centre = balance.volume
    volume = np.array([centre[stage].nominal_value for stage in ("pre-boil", "post-boil", "fermenter")])
    gravity = np.array([balance.gravity[stage].nominal_value for stage in ("pre-boil", "post-boil", "fermenter")])
    marks, others = 0.25 * half * rng.normal(size=(2, n, 1))
    offset = np.hstack([marks, marks, others])
    draws = balance_batch(
        volume + offset + 0.25 * half * rng.normal(size=(n, 3)),
        gravity + 0.0005 * half * (rng.normal(size=(n, 3)) + rng.normal(size=(n, 1))),
        0.25,
        0.0005,
        POTENTIAL,
        0.0,
        balance.states["evaporated"].nominal_value / WATER + np.hypot(0.2, 0.4) * rng.normal(size=n),
        np.hypot(0.2, 0.4),
        volume[1] - volume[2] + np.hypot(0.2, 0.4) * rng.normal(size=n) + (offset[:, 1] - offset[:, 2]),
        np.hypot(0.2, 0.4),
    )
    for name, stage, spread in (("mash", "pre-boil", draws.mash), ("brewhouse", "fermenter", draws.brewhouse)):
        own = 100 * balance.extract_mass[stage].std_dev / POTENTIAL  # without the error of the potential
        assert own == pytest.approx(np.std(spread), rel=0.03), name
        assert getattr(balance, name).nominal_value == pytest.approx(np.mean(spread), abs=0.1), name


def test_one_brew_and_the_batch_agree():
    constants = pd.DataFrame(
        {"estimate": [3.2, 2.5], "sd": [0.0, 0.0], "spread": [0.5, 0.5]}, index=["boil_off", "dead_volume"]
    )
    readings = [replace(one, temp=20.0, instrument=None) for one in (*PRE, *POST, *FERMENTER)]
    single = extract_balance(brew(*readings, boil_time=60.0), RIG, constants)
    # the batch knows neither the 0.5 K of a sample's temperature nor the 2 K of a kettle's nor the length of the boil
    many = balance_batch([[28.6, 26.0, 22.8]], [[1.044, 1.05, 1.05]], 0.25, 0.0005, POTENTIAL, 0.0, 3.2, 0.5, 2.5, 0.5)
    assert single.extract_mass["fermenter"].nominal_value == pytest.approx(many.extract_mass[0, 2], rel=2e-3)
    assert single.extract_mass["fermenter"].std_dev == pytest.approx(many.extract_mass_sd[0, 2], rel=0.05)
    assert single.checks.loc["whole account", "value"] == pytest.approx(many.chi_square[0], rel=0.1)
    assert many.df[0] == 4


def test_repeats_average_their_scatter_but_not_the_offset_of_one_instrument():
    once = extract_balance(brew(*PRE), RIG).gravity["pre-boil"]
    same = [read("pre-boil", "gravity", 1.0440, "SG", instrument="hydrometer") for _ in range(4)]
    four = extract_balance(brew(*same, PRE[1]), RIG).gravity["pre-boil"]
    others = [read("pre-boil", "gravity", 1.0440, "SG", instrument=f"hydrometer {k}") for k in range(4)]
    apart = extract_balance(brew(*others, PRE[1]), RIG).gravity["pre-boil"]
    # half the variance is offset: sqrt(1/2 + 1/8) of one reading, against sqrt(1/4) for four hydrometers
    assert four.std_dev / once.std_dev == pytest.approx(np.sqrt(0.625), abs=0.02)
    assert apart.std_dev / once.std_dev == pytest.approx(0.5, abs=0.02)
    two = extract_balance(
        brew(same[0], read("pre-boil", "gravity", 1.0450, "SG", instrument="hydrometer"), PRE[1]), RIG
    )
    assert two.gravity["pre-boil"].nominal_value == pytest.approx(1.0445, abs=1e-5)


def test_one_hydrometer_ties_the_gravities_together():
    balance = extract_balance(brew(*PRE, *FERMENTER, FIRST_WORT), RIG)
    assert correlation_matrix([balance.gravity["pre-boil"], balance.gravity["first wort"]])[0, 1] == pytest.approx(
        0.5, abs=0.05
    )


def test_rows_beat_the_rig_and_the_rig_beats_the_instrument():
    row = [replace(one, sd=sd) for one, sd in zip(PRE, (0.0001, 0.05), strict=True)]
    assert (
        extract_balance(brew(*row), RIG).mash.std_dev
        < extract_balance(brew(*PRE), RIG).mash.std_dev
        < extract_balance(brew(*PRE), Rig("kitchen")).mash.std_dev
    )
    # +-0.001 of a hydrometer is a standard deviation of 0.001 / sqrt(3), and 0.0003 of reading it
    sd = extract_balance(brew(*PRE), Rig("kitchen")).gravity["pre-boil"].std_dev
    assert sd == pytest.approx(np.hypot(0.001 / np.sqrt(3), 0.0003), rel=0.03)


def test_a_refractometer_is_never_read_as_a_hydrometer():
    factor = Rig("kitchen", refractometer_factor=1.03)
    brix = read("pre-boil", "gravity", 11.5, "Brix", 60.0, instrument="refractometer")
    balance = extract_balance(brew(brix, PRE[1]), factor)
    assert extract_from_sg(balance.gravity["pre-boil"].nominal_value) == pytest.approx(0.115 / 1.03)
    assert any("wort correction factor of 1.03" in note for note in balance.notes)
    # the same instrument with a gravity scale: no temperature correction of a floating glass
    scale = read("pre-boil", "gravity", float(sg_from_extract(0.115)), "SG", 60.0, instrument="refractometer")
    other = extract_balance(brew(scale, PRE[1]), factor)
    assert other.gravity["pre-boil"].nominal_value == pytest.approx(balance.gravity["pre-boil"].nominal_value, abs=1e-6)


@pytest.mark.parametrize(
    ("value", "unit", "instrument", "temp"),
    [
        (float(correct_hydrometer(1.044, 20.0)), "SG", "hydrometer", 20.0),
        (100 * float(extract_from_sg(1.044)), "degP", "saccharometer", 20.0),
        (float(wort_density(extract_from_sg(1.044), 35.0)), "kg/m^3", "density meter", 35.0),
        (1.04 * 100 * float(extract_from_sg(1.044)), "Brix", None, None),
        (float(wort_density(extract_from_sg(1.044), 20.0)) / 998.203, "SG", "density meter", 35.0),
    ],
)
def test_every_instrument_gives_the_same_wort(value, unit, instrument, temp):
    reading = read("pre-boil", "gravity", value, unit, temp, instrument=instrument)
    balance = extract_balance(brew(reading, PRE[1]), Rig("kitchen"))
    assert balance.gravity["pre-boil"].nominal_value == pytest.approx(1.044, abs=2e-6)


def test_a_warm_sample_is_corrected_for_the_hydrometer_of_the_rig():
    warm = read("pre-boil", "gravity", 1.040, "SG", 30.0)
    for made_for in (20.0, 15.0):
        balance = extract_balance(brew(warm, PRE[1]), Rig("kitchen", hydrometer_temp=made_for))
        assert balance.gravity["pre-boil"].nominal_value == pytest.approx(
            float(correct_hydrometer(1.040, 30.0, made_for)), abs=1e-9
        )


def test_weighed_wort():
    weighed = read("fermenter", "mass", 24.0, "kg", instrument="scale")
    balance = extract_balance(brew(*PRE, FERMENTER[0], weighed), RIG)
    litres = 24.0 / wort_density(extract_from_sg(1.05), 20.0) * 1000
    assert balance.volume["fermenter"].nominal_value == pytest.approx(litres, rel=1e-3)
    assert balance.brewhouse is not None


def test_temperatures_that_are_missing_cost_certainty_and_are_said():
    cold = [replace(one, temp=None) for one in PRE]
    balance = extract_balance(brew(*cold), RIG)
    assert balance.mash.std_dev > 1.2 * extract_balance(brew(*PRE), RIG).mash.std_dev
    assert sum("not recorded" in note for note in balance.notes) == 2


@pytest.mark.parametrize(
    ("record", "missing"),
    [
        (Brew("1"), {"potential", "conversion", "lauter", "mash", "brewhouse", "pre_boil_volume", "pre_boil_gravity"}),
        (brew(), {"conversion", "lauter", "mash", "brewhouse", "pre_boil_volume", "pre_boil_gravity"}),
        (brew(PRE[0]), {"conversion", "lauter", "mash", "brewhouse", "pre_boil_volume"}),
        (brew(PRE[1]), {"conversion", "lauter", "mash", "brewhouse", "pre_boil_gravity"}),
        (brew(*PRE), {"conversion", "lauter", "brewhouse"}),
        (brew(*PRE, malts=()), {"potential", "conversion", "lauter", "mash", "brewhouse"}),
        (brew(*PRE, FIRST_WORT), {"brewhouse"}),
        (brew(*PRE, FIRST_WORT, mash_water=None), {"brewhouse", "conversion", "lauter"}),
        (brew(*FERMENTER), {"conversion", "lauter", "mash", "pre_boil_volume", "pre_boil_gravity"}),
        (brew(*PRE, *FERMENTER, FIRST_WORT), set()),
    ],
)
def test_what_is_missing_has_its_reason(record, missing):
    balance = extract_balance(record, None)
    assert set(balance.reasons) == missing
    for name in ("potential", "conversion", "lauter", "mash", "brewhouse"):
        assert (getattr(balance, name) is None) == (name in missing)
    assert all(balance.reasons.values())
    assert balance.summary()
    assert not balance.efficiencies.empty


def test_reasons_in_words():
    balance = extract_balance(brew(PRE[0], malts=()), None)
    assert balance.reasons["mash"] == "no malts recorded in grist.csv"
    balance = extract_balance(brew(PRE[0]), None)
    assert balance.reasons["mash"] == "not recorded: pre-boil volume"
    assert balance.reasons["pre_boil_volume"] == "no pre-boil volume was read"
    assert balance.reasons["conversion"] == (
        "the gravity of the first wort (or a mash without rinsing) would tell what was dissolved"
    )
    assert balance.reasons["brewhouse"] == "not recorded: fermenter volume and fermenter or post-boil gravity"
    assert extract_balance(brew(*PRE, *POST), RIG).reasons["brewhouse"] == "not recorded: fermenter volume"


def test_mash_efficiency_from_readings_after_the_boil():
    balance = extract_balance(brew(*POST), RIG)
    # extract does not boil off
    after = extract_mass(volume_at_20(26.0, 98.0, extract_from_sg(1.05), "stainless steel"), extract_from_sg(1.05))
    assert balance.mash is None or balance.mash.nominal_value == pytest.approx(100 * after / POTENTIAL, rel=1e-6)
    both = extract_balance(brew(PRE[0], *POST), RIG)
    assert both.mash.nominal_value == pytest.approx(100 * after / POTENTIAL, rel=1e-3)
    assert any("pre-boil volume not read: worked out" in note for note in both.notes)


def test_without_rinsing_kettle_wort_is_first_wort():
    balance = extract_balance(brew(*PRE, mash_water=32.0, sparge_water=0.0), RIG)
    strength = extract_from_sg(1.044)
    dissolved = strength / (1 - strength) * (32.0 * WATER + 0.222)
    assert balance.conversion.nominal_value == pytest.approx(100 * dissolved / POTENTIAL, rel=1e-4)


def test_kettle_sugar_and_top_up_water_belong_to_the_account():
    # 0.5 kg sugar and 2 L water join in the boil; pre-boil extract is that of the malt alone
    before = float(extract_mass(28.0, extract_from_sg(1.044)))
    sugar, water = 0.5, 2.0 * WATER
    mass = 28.0 * float(wort_density(extract_from_sg(1.044), 20.0)) / 1000 + sugar + water - 3.2 * WATER
    strength = (before + 0.998 * sugar) / mass
    volume = mass / float(wort_density(strength, 20.0)) * 1000
    readings = (
        read("pre-boil", "gravity", 1.044, "SG"),
        read("pre-boil", "volume", 28.0, "L"),
        read("post-boil", "gravity", float(sg_from_extract(strength)), "SG"),
        read("post-boil", "volume", volume, "L"),
        read("fermenter", "gravity", float(sg_from_extract(strength)), "SG"),
        read("fermenter", "volume", volume - 2.0, "L"),
    )
    additions = (
        Addition("1", "sugar", mass=sugar, stage="boil"),
        Addition("1", "water", volume=2.0, temp=20.0, stage="boil"),
    )
    balance = extract_balance(brew(*readings, additions=additions), RIG)
    assert balance.checks.loc["whole account", "value"] < 0.01
    assert balance.states["evaporated"].nominal_value == pytest.approx(3.2 * WATER, abs=0.01)
    # the malt's share of what reached the fermenter: losses take malt and sugar alike
    assert balance.brewhouse.nominal_value == pytest.approx(100 * before * (1 - 2.0 / volume) / POTENTIAL, rel=1e-3)
    forgotten = extract_balance(brew(*readings), RIG)
    assert forgotten.checks.loc["whole account", "p"] < 0.001


def test_a_syrup_brings_its_water_and_a_powder_does_not():
    syrup = Addition("1", "extract", mass=1.0, stage="boil", extract=0.8)
    powder = Addition("1", "extract", mass=1.0, stage="boil", extract=0.96)
    for what, extract in ((syrup, 0.8), (powder, 0.96)):
        states = extract_balance(brew(*PRE, additions=(what,)), RIG).states
        assert states["boil_extract"].nominal_value == pytest.approx(extract)
        assert states["boil_water"].nominal_value == pytest.approx(1 - extract)
    # strength not recorded: anything from a syrup to a powder
    unknown = extract_balance(brew(*PRE, additions=(replace(syrup, extract=None),)), RIG)
    assert unknown.states["boil_extract"].std_dev == pytest.approx(0.06, abs=0.002)
    assert any("strength not recorded" in note for note in unknown.notes)


def test_a_constant_predicts_one_brew_less_well_than_the_mean_of_many():
    # sd of the mean over 9 brews 0.1: brews spread by 0.3, and the next one lies within sqrt(0.3^2 + 0.1^2)
    frame = pd.DataFrame({"estimate": [3.2], "sd": [0.1], "brews": [9]}, index=["boil_off"])
    assert constant(frame, "boil_off") == (3.2, pytest.approx(np.hypot(0.3, 0.1)))
    assert constant(frame.assign(spread=0.5), "boil_off") == (3.2, pytest.approx(np.hypot(0.5, 0.1)))
    for frame_without in (None, frame.assign(sd=np.nan), frame.drop("boil_off"), frame.assign(estimate="?")):
        assert constant(frame_without, "boil_off") is None


def test_water_in_the_fermenter_thins_and_does_not_make_extract():
    additions = (Addition("1", "water", volume=3.0, temp=20.0, stage="fermenter"),)
    thin = extract_from_sg(1.05) * 19.8 * 1.0479 / (19.8 * 1.0479 + 3 * WATER)
    readings = (
        *(replace(one, temp=20.0) for one in PRE),
        read("post-boil", "gravity", 1.0500, "SG"),
        read("post-boil", "volume", 25.2, "L"),
        read("fermenter", "gravity", float(sg_from_extract(thin)), "SG"),
        read("fermenter", "volume", 22.8, "L"),
    )
    balance = extract_balance(brew(*readings, additions=additions), RIG)
    assert balance.checks.loc["whole account", "p"] > 0.1
    assert balance.states["loss"].nominal_value == pytest.approx(25.2 - 19.8, abs=0.6)
    assert extract_balance(brew(*readings), RIG).checks.loc["whole account", "p"] < 0.001


def test_more_of_everything_scales():
    double = tuple(replace(one, value=2 * one.value) if one.quantity == "volume" else one for one in (*PRE, *FERMENTER))
    malts = tuple(replace(malt, mass=2 * malt.mass) for malt in MALTS)
    one = extract_balance(brew(*PRE, *FERMENTER, FIRST_WORT), RIG)
    two = extract_balance(brew(*double, FIRST_WORT, malts=malts, mash_water=38.0), RIG)
    for name in ("conversion", "lauter", "mash", "brewhouse"):
        assert getattr(two, name).nominal_value == pytest.approx(getattr(one, name).nominal_value, rel=1e-9)


def test_waterfall_closes_and_names_what_would_split_a_step():
    full = extract_balance(brew(FIRST_WORT, *PRE, *POST, *FERMENTER), RIG).waterfall
    levels, steps = full[full["kind"] == "level"]["estimate"], full[full["kind"] == "step"]["estimate"]
    assert steps.sum() == pytest.approx(levels.iloc[-1] - levels.iloc[0])
    assert list(steps.index)[:2] == ["not dissolved in the mash", "left in the grain and the mash vessel"]
    joined = extract_balance(brew(*PRE, *FERMENTER), RIG).waterfall
    assert "the gravity of the first wort would tell" in joined.loc["not dissolved or left in the grain", "would_tell"]
    assert extract_balance(Brew("1"), None).waterfall.empty


def test_summary_tells_what_was_read_and_what_was_worked_out():
    text = extract_balance(brew(*PRE, *POST, FERMENTER[1]), RIG).summary()
    assert "conversion     not known: the gravity of the first wort" in text
    assert "(extract in the kettle before the boil / potential)" in text
    assert "   (gravity worked out)" in text
    assert text.count("worked out") == 1
    assert "check          the readings fit together: chi-square" in text
    assert "What was not dissolved and what was not rinsed out cannot be told apart" in text


def test_water_account_closes():
    water = extract_balance(brew(FIRST_WORT, *PRE, *POST, *FERMENTER), RIG).water["estimate"]
    into = water[["mash water", "moisture of the malt", "rinse water"]].sum()
    assert into == pytest.approx(water["held by the grain"] + water["in the kettle before the boil"], abs=1e-3)
    assert water["in the kettle before the boil"] - water["evaporated"] == pytest.approx(
        water["in the kettle after the boil"], abs=1e-3
    )


def test_table_of_efficiencies_says_what_each_is():
    table = extract_balance(brew(FIRST_WORT, *PRE, *FERMENTER), RIG).efficiencies
    assert table.loc["mash", "definition"] == "extract in the kettle before the boil / potential"
    assert table.loc["mash", "against_coarse"] > table.loc["mash", "estimate"]
    assert (table["low"] < table["estimate"]).all()
    assert table.attrs["units"]["estimate"] == "%"


def test_quantities_carry_their_unit_and_their_errors():
    balance = extract_balance(brew(*PRE), RIG)
    assert balance.quantity("mash").to("").magnitude.nominal_value == pytest.approx(balance.mash.nominal_value / 100)
    assert balance.quantity("potential").to("g").magnitude.std_dev == pytest.approx(1000 * balance.potential.std_dev)
    assert balance.quantity("brewhouse") is None
    with pytest.raises(KeyError, match="no quantity 'yield'; there are conversion, lauter, mash, brewhouse, potential"):
        balance.quantity("yield")
    budget = balance.budget("mash")
    assert budget.sum() == pytest.approx(1.0)
    assert "hydrometer offset" in budget.index
    assert balance.budget("brewhouse").empty


def test_wort_filled_hot_is_fermented_where_it_stands():
    filled = (read("packaged", "gravity", 1.0500, "SG"), read("packaged", "volume", 23.6, "L", 85.0))
    balance = extract_balance(brew(*PRE, *filled, cooling="hot-filled"), RIG)
    litres = float(volume_at_20(23.6, 85.0, extract_from_sg(1.05)))
    assert balance.brewhouse.nominal_value == pytest.approx(
        100 * extract_mass(litres, extract_from_sg(1.05)) / POTENTIAL, rel=1e-3
    )
    assert extract_balance(brew(*PRE, *filled), RIG).brewhouse is None


def test_impossible_results_are_remarked():
    light = tuple(replace(malt, mass=malt.mass / 2) for malt in MALTS)
    checks = extract_balance(brew(*PRE, malts=light), RIG).checks
    assert checks.loc["mash above 100 %", "verdict"].startswith("cannot be")
    assert "mash above 100 %" not in extract_balance(brew(*PRE), RIG).checks.index


def test_picture_of_the_waterfall():
    mpl.use("Agg")
    from matplotlib import pyplot as plt

    balance = extract_balance(brew(FIRST_WORT, *PRE, *FERMENTER), RIG)
    ax = balance.plot()
    assert ax.get_xlabel() == "extract [kg]"
    assert [label.get_text() for label in ax.get_yticklabels()] == list(balance.waterfall.index)
    _, other = plt.subplots()
    assert extract_balance(Brew("1"), None).plot(other) is other
    plt.close("all")


maybe = st.none() | st.floats(0.0, 120.0)
READINGS = st.builds(
    Reading,
    brew=st.just("1"),
    stage=st.sampled_from(["first wort", "pre-boil", "post-boil", "fermenter", "packaged", "mash"]),
    quantity=st.sampled_from(["gravity", "volume", "mass", "pH", "temperature"]),
    value=st.floats(0.0, 80.0) | st.floats(0.98, 1.15) | st.just(float("nan")),
    unit=st.sampled_from(["SG", "degP", "Brix", "kg/m^3", "L", "kg"]),
    temp=maybe,
    instrument=st.sampled_from([None, "", "hydrometer", "refractometer", "density meter", "sight glass", "spoon"]),
    sd=st.none() | st.floats(0.0, 2.0),
)
ADDITIONS = st.builds(
    Addition,
    brew=st.just("1"),
    what=st.sampled_from(["sugar", "extract", "water", "malt", "salt"]),
    mass=st.none() | st.floats(0.0, 5.0),
    volume=st.none() | st.floats(0.0, 5.0),
    temp=maybe,
    stage=st.sampled_from([None, "mash", "boil", "fermenter"]),
    extract=st.none() | st.floats(0.0, 1.0),
)
MALT = st.builds(
    Malt,
    brew=st.just("1"),
    malt=st.sampled_from(["pale malt", "", "flaked oats", "??"]),
    mass=st.none() | st.floats(0.0, 10.0),
    malt_extract=st.none() | st.floats(0.0, 1.0),
    moisture=st.none() | st.floats(0.0, 0.3),
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    readings=st.lists(READINGS, max_size=8),
    additions=st.lists(ADDITIONS, max_size=3),
    malts=st.lists(MALT, max_size=3),
    mash_water=st.none() | st.floats(0.0, 60.0),
    sparge_water=st.none() | st.floats(0.0, 60.0),
    rig=st.sampled_from([None, RIG, Rig("shed", vessel_material="wood")]),
)
def test_no_record_raises(readings, additions, malts, mash_water, sparge_water, rig):
    record = replace(
        BREW,
        readings=tuple(readings),
        additions=tuple(additions),
        malts=tuple(malts),
        mash_water=mash_water,
        sparge_water=sparge_water,
    )
    balance = extract_balance(record, rig)
    assert isinstance(balance, ExtractBalance)
    for name in ("conversion", "lauter", "mash", "brewhouse"):
        value = getattr(balance, name)
        assert (value is None) == (name in balance.reasons)
        if value is not None:
            assert np.isfinite(value.nominal_value)
            assert np.isfinite(value.std_dev)
    assert balance.summary()
    assert len(balance.waterfall.columns) == 8
    assert len(balance.water.columns) == 5
