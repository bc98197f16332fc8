"""The extract balance of a brew: numbers, propagation, absences."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from brewlog.logbook.records import Brew
from brewlog.wort import correct_hydrometer, extract_balance, extract_from_sg, extract_mass, volume_at_20, wort_density
from brewlog.wort.batch import balance_batch
from brewlog.wort.inventory import constant
from tests.wort.brewdays import FERMENTER, FIRST_WORT, MALTS, POST, POTENTIAL, PRE, RIG, WATER, brew, read


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
        {"estimate": [3.2, 2.5], "sd": [0.2, 0.2], "spread": [0.4, 0.4]}, index=["boil_off", "transfer_loss"]
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
        {"estimate": [3.2, 2.5], "sd": [0.0, 0.0], "spread": [0.5, 0.5]}, index=["boil_off", "transfer_loss"]
    )
    readings = [replace(one, temp=20.0, instrument=None) for one in (*PRE, *POST, *FERMENTER)]
    single = extract_balance(brew(*readings, boil_time=60.0), RIG, constants)
    # the batch knows neither the 0.5 K of a sample's temperature nor the 2 K of a kettle's nor the length of the boil
    many = balance_batch([[28.6, 26.0, 22.8]], [[1.044, 1.05, 1.05]], 0.25, 0.0005, POTENTIAL, 0.0, 3.2, 0.5, 2.5, 0.5)
    assert single.extract_mass["fermenter"].nominal_value == pytest.approx(many.extract_mass[0, 2], rel=2e-3)
    assert single.extract_mass["fermenter"].std_dev == pytest.approx(many.extract_mass_sd[0, 2], rel=0.05)
    assert single.checks.loc["whole account", "value"] == pytest.approx(many.chi_square[0], rel=0.1)
    assert many.df[0] == 4


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


def test_a_constant_predicts_one_brew_less_well_than_the_mean_of_many():
    # sd of the mean over 9 brews 0.1: brews spread by 0.3, and the next one lies within sqrt(0.3^2 + 0.1^2)
    frame = pd.DataFrame({"estimate": [3.2], "sd": [0.1], "brews": [9]}, index=["boil_off"])
    assert constant(frame, "boil_off") == (3.2, pytest.approx(np.hypot(0.3, 0.1)))
    assert constant(frame.assign(spread=0.5), "boil_off") == (3.2, pytest.approx(np.hypot(0.5, 0.1)))
    for frame_without in (None, frame.assign(sd=np.nan), frame.drop("boil_off"), frame.assign(estimate="?")):
        assert constant(frame_without, "boil_off") is None


def test_more_of_everything_scales():
    double = tuple(replace(one, value=2 * one.value) if one.quantity == "volume" else one for one in (*PRE, *FERMENTER))
    malts = tuple(replace(malt, mass=2 * malt.mass) for malt in MALTS)
    one = extract_balance(brew(*PRE, *FERMENTER, FIRST_WORT), RIG)
    two = extract_balance(brew(*double, FIRST_WORT, malts=malts, mash_water=38.0), RIG)
    for name in ("conversion", "lauter", "mash", "brewhouse"):
        assert getattr(two, name).nominal_value == pytest.approx(getattr(one, name).nominal_value, rel=1e-9)


def test_water_in_drained_grain():
    # M. Metzger, brewing calculations: 50 kg of grist leave 60 kg of spent grain of 80 % water: 0.96 kg per kg
    wort = 24.0 * float(wort_density(extract_from_sg(1.044), 20.0)) / 1000 * (1 - float(extract_from_sg(1.044)))
    poured = wort + 0.96 * 5.4 - 4.8 * 0.04 - 0.6 * 0.05
    rows = (read("pre-boil", "gravity", 1.044, "SG"), read("pre-boil", "volume", 24.0, "L"))
    balance = extract_balance(brew(*rows, mash_water=19.0, sparge_water=poured / WATER - 19.0), RIG)
    assert balance.states["held"].nominal_value * WATER / 5.4 == pytest.approx(0.96, abs=1e-4)
    assert "absorption" not in balance.checks.index  # as drained grain holds


def test_wort_filled_hot_is_fermented_where_it_stands():
    filled = (read("packaged", "gravity", 1.0500, "SG"), read("packaged", "volume", 23.6, "L", 85.0))
    balance = extract_balance(brew(*PRE, *filled, cooling="hot-filled"), RIG)
    litres = float(volume_at_20(23.6, 85.0, extract_from_sg(1.05)))
    assert balance.brewhouse.nominal_value == pytest.approx(
        100 * extract_mass(litres, extract_from_sg(1.05)) / POTENTIAL, rel=1e-3
    )
    assert extract_balance(brew(*PRE, *filled), RIG).brewhouse is None


def test_the_transfer_loss_of_earlier_brews_is_not_the_dead_volume():
    def known(name):
        frame = pd.DataFrame({"estimate": [3.0], "sd": [0.1], "spread": [0.2]}, index=[name])
        return extract_balance(brew(*PRE, *POST), RIG, frame)

    told = known("transfer_loss")
    loss = told.states["loss"].nominal_value
    assert loss == pytest.approx(3.0, abs=0.03)  # it shares the offset of the marks that the boil is reconciled on
    assert told.volume["fermenter"].nominal_value == pytest.approx(told.volume["post-boil"].nominal_value - loss)
    assert "loss" not in known("dead_volume").states  # what stays under the tap is only a part of it
