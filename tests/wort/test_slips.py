"""Slips in the readings: how often they are found and named, how often nothing is mistaken for one, and coverage."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pandas as pd
import pytest

from brewlog.logbook.records import Brew, Malt, Reading, Rig
from brewlog.wort import extract_balance, extract_from_sg, extract_mass, sg_from_extract, wort_density
from brewlog.wort.batch import DATA, BalanceBatch, balance_batch
from brewlog.wort.suspects import ALARM

VOLUME_SD, GRAVITY_SD, CONSTANT_SD = 0.25, 0.0005, 0.5
WATER = 0.998203


class Days(NamedTuple):
    volume: np.ndarray
    gravity: np.ndarray
    evaporated: np.ndarray
    loss: np.ndarray
    potential: np.ndarray
    mash: np.ndarray
    brewhouse: np.ndarray


def true_days(rng: np.random.Generator, n: int) -> Days:
    """Brews whose water and extract balance exactly."""
    before, strength = rng.uniform(24, 34, n), extract_from_sg(rng.uniform(1.038, 1.056, n))
    evaporated, loss = rng.uniform(2.5, 4.5, n), rng.uniform(1.0, 3.0, n)
    kettle = extract_mass(before, strength)
    mass = before * wort_density(strength, 20.0) / 1000 - evaporated * WATER
    boiled = kettle / mass
    after = 1000 * mass / wort_density(boiled, 20.0)
    potential = kettle / rng.uniform(0.65, 0.9, n)
    volume = np.column_stack([before, after, after - loss])
    gravity = sg_from_extract(np.column_stack([strength, boiled, boiled]))
    brewhouse = 100 * extract_mass(after - loss, boiled) / potential
    return Days(volume, gravity, evaporated, loss, potential, 100 * kettle / potential, brewhouse)


def read(
    days: Days, rng: np.random.Generator, shared: float, slip: int | None = None, size: float = 0.0
) -> BalanceBatch:
    """Balances of readings with errors, of which a share of the variance is the offset of an instrument."""
    n = days.loss.shape[0]
    own, common = np.sqrt(1 - shared), np.sqrt(shared)
    marks = common * VOLUME_SD * rng.normal(size=(n, 2))[:, [0, 0, 1]]
    volume = days.volume + marks + own * VOLUME_SD * rng.normal(size=(n, 3))
    gravity = days.gravity + common * GRAVITY_SD * rng.normal(size=(n, 1))
    gravity = gravity + own * GRAVITY_SD * rng.normal(size=(n, 3))
    sign = rng.choice([-1.0, 1.0], n)
    if slip is not None and slip < 3:
        volume[:, slip] *= 1 + sign * size
    elif slip is not None:
        gravity[:, slip - 3] += sign * size
    return balance_batch(
        volume,
        gravity,
        VOLUME_SD,
        GRAVITY_SD,
        days.potential * (1 + 0.008 * rng.normal(size=n)),
        0.008 * days.potential,
        days.evaporated + CONSTANT_SD * rng.normal(size=n),
        CONSTANT_SD,
        days.loss + CONSTANT_SD * rng.normal(size=n) + marks[:, 1] - marks[:, 2],
        CONSTANT_SD,
    )


@pytest.mark.parametrize("shared", [0.0, 0.5])
def test_clean_readings_seldom_raise_an_alarm_and_intervals_hold_the_truth(shared):
    rng = np.random.default_rng(21)
    days = true_days(rng, 4000)
    out = read(days, rng, shared)
    assert np.mean(out.p_value < ALARM) <= 0.05
    for name in ("mash", "brewhouse"):
        error = getattr(out, name) - getattr(days, name)
        held = np.mean(np.abs(error) < 1.96 * getattr(out, f"{name}_sd"))
        assert 0.92 <= held <= 0.985, name  # 98 % and its Monte-Carlo error
        assert abs(error.mean()) < 0.1, name
        assert np.sqrt(np.mean(error**2)) < 1.5, name


@pytest.mark.parametrize("shared", [0.0, 0.5])
@pytest.mark.parametrize(("slip", "size"), [(0, 0.06), (1, 0.06), (3, 0.004), (4, 0.004), (5, 0.004)])
def test_a_slip_is_found_and_named(slip, size, shared):
    rng = np.random.default_rng(22)
    out = read(true_days(rng, 3000), rng, shared, slip, size)
    found = out.p_value < ALARM
    named = np.argmax(out.gain, axis=1) == slip
    assert found.mean() >= 0.80, DATA[slip]
    assert named[found].mean() >= 0.80, DATA[slip]
    true = size * 28.0 if slip < 3 else size
    assert np.median(np.abs(out.slip[found & named, slip])) == pytest.approx(true, rel=0.2)


def test_a_slip_in_the_fermenter_volume_cannot_be_told_from_the_transfer_loss():
    rng = np.random.default_rng(23)
    out = read(true_days(rng, 2000), rng, 0.0, 2, 0.06)
    found = out.p_value < ALARM
    assert 0.2 < found.mean() < 0.6
    close = out.gain > out.gain.max(axis=1, keepdims=True) - 2.0
    assert np.mean(close[found, 2]) > 0.8
    assert np.mean(close[found, 7]) > 0.8


MALTS = (Malt("1", "pale malt", 5.4, malt_extract=0.81, moisture=0.04),)
RIG = Rig("kitchen", volume_sd=VOLUME_SD, gravity_sd=GRAVITY_SD)
CONSTANTS = pd.DataFrame(
    {"estimate": [3.2, 2.0], "sd": [0.0, 0.0], "spread": [0.5, 0.5]}, index=["boil_off", "transfer_loss"]
)


def one_day(**changes: float) -> Brew:
    """A brew that balances, with some readings changed by name."""
    strength = float(extract_from_sg(1.044))
    kettle = float(extract_mass(28.0, strength))
    mass = 28.0 * float(wort_density(strength, 20.0)) / 1000 - 3.2 * WATER
    boiled = kettle / mass
    after = 1000 * mass / float(wort_density(boiled, 20.0))
    values = {
        ("pre-boil", "gravity"): 1.044,
        ("pre-boil", "volume"): 28.0,
        ("post-boil", "gravity"): float(sg_from_extract(boiled)),
        ("post-boil", "volume"): after,
        ("fermenter", "gravity"): float(sg_from_extract(boiled)),
        ("fermenter", "volume"): after - 2.0,
    }
    readings = [
        Reading("1", stage, what, value + changes.get(f"{stage} {what}", 0.0), "L" if what == "volume" else "SG", 20.0)
        for (stage, what), value in values.items()
    ]
    return Brew("1", malts=MALTS, boil_time=60.0, readings=tuple(readings))


def verdict(brew: Brew, constants: pd.DataFrame | None = CONSTANTS) -> str:
    return str(extract_balance(brew, RIG, constants).checks.loc["whole account", "verdict"])


def test_a_slip_is_named_in_a_sentence():
    assert verdict(one_day()) == "the readings fit together: chi-square 0.0 at 4 degrees of freedom, p = 1.00"
    said = verdict(one_day(**{"pre-boil volume": 2.9}))
    assert said.startswith("pre-boil volume reads 2.9 L too high for the other five readings: chi-square ")
    assert said.endswith("p < 0.001")
    # a first wort that no other reading checks does not count among those that say so
    day = one_day(**{"pre-boil volume": 2.9})
    first = Reading("1", "first wort", "gravity", 1.070, "SG", 20.0)
    assert verdict(replace(day, mash_water=19.0, readings=(*day.readings, first))) == said
    said = verdict(one_day(**{"fermenter gravity": -0.005}))
    assert said.startswith("fermenter gravity reads 0.0050 too low for the other five readings")


def test_a_reading_that_slipped_is_set_aside_and_said():
    clean = extract_balance(one_day(), RIG, CONSTANTS)
    slipped = extract_balance(one_day(**{"pre-boil volume": 2.9}), RIG, CONSTANTS)
    assert slipped.mash.nominal_value == pytest.approx(clean.mash.nominal_value, abs=0.2)
    assert slipped.mash.std_dev > clean.mash.std_dev
    assert "pre-boil volume: does not fit the rest of the account, the figures do without it." in slipped.notes
    row = slipped.checks.loc["pre-boil volume"]
    assert row["verdict"] == "most likely wrong"
    assert row["slip"] == pytest.approx(2.9, abs=0.1)
    assert row["value"] - row["adjusted"] == pytest.approx(2.9, abs=0.1)


def test_equal_suspects_are_all_named_with_what_would_decide():
    said = verdict(one_day(**{"fermenter volume": 2.4}))
    assert said.startswith("either fermenter volume reads 2.4 L too high")
    assert "transfer loss was 2.4 L less than in earlier brews" in said
    assert said.endswith("a second reading of fermenter volume would decide")
    # two gravities after the boil, no constants: nothing but a third reading tells which of them is wrong
    two = one_day(**{"post-boil gravity": 0.006})
    two = replace(two, readings=tuple(one for one in two.readings if one.stage != "pre-boil"))
    said = verdict(two, None)
    assert "post-boil gravity reads 0.0060 too high, or fermenter gravity reads 0.0060 too low" in said
    doubted = extract_balance(two, RIG, None)
    certain = extract_balance(replace(two, readings=two.readings[1:]), RIG, None)
    assert doubted.brewhouse.std_dev > 1.5 * certain.brewhouse.std_dev
    assert "which reading slipped" in doubted.budget("brewhouse").index


def test_the_reading_that_would_decide_is_one_not_yet_taken():
    def without(day, *left_out):
        return replace(day, readings=tuple(one for one in day.readings if (one.stage, one.quantity) not in left_out))

    said = verdict(without(one_day(**{"pre-boil volume": 3.5}), ("post-boil", "volume")))
    assert said.startswith("either pre-boil volume reads 3.5 L too high, or fermenter volume reads 3.2 L too low, or ")
    assert said.endswith("They explain it about equally well; post-boil volume would decide")
    day = one_day(**{"pre-boil gravity": 0.006})
    said = verdict(without(day, ("fermenter", "volume"), ("fermenter", "gravity"), ("post-boil", "volume")))
    assert said.startswith("either pre-boil gravity reads 0.0061 too high, or post-boil gravity reads 0.0063 too low")
    assert "pre-boil volume" not in said  # it would have to be wrong by 90 L
    assert said.endswith("post-boil volume would decide")


def test_a_boil_unlike_the_others_is_no_slip():
    day = one_day()
    hard = pd.DataFrame(
        {"estimate": [7.5, 2.0], "sd": [0.0, 0.0], "spread": [0.5, 0.5]}, index=["boil_off", "transfer_loss"]
    )
    said = verdict(day, hard)
    assert said.startswith("evaporation was 4.3 L less than in earlier brews; the readings of this brew agree")


def test_two_slips_widen_what_is_left():
    balance = extract_balance(
        one_day(**{"pre-boil volume": 4.0, "fermenter gravity": 0.012, "post-boil volume": -3.0}), RIG, CONSTANTS
    )
    assert any("does not close even so; every standard deviation is widened by" in note for note in balance.notes)
    assert (
        balance.extract_mass["fermenter"].std_dev
        > 2 * extract_balance(one_day(), RIG, CONSTANTS).extract_mass["fermenter"].std_dev
    )


def test_repeats_that_disagree_are_found():
    day = one_day()
    again = replace(day.readings[0], value=day.readings[0].value + 0.006)
    said = verdict(replace(day, readings=(*day.readings, again)))
    assert said.startswith("pre-boil gravity (2) reads 0.0060 too high")


def test_batch_says_nothing_where_nothing_is_read():
    out = balance_batch(
        [[28.0, np.nan, np.nan], [np.nan, 25.0, 23.0], [28.0, 25.0, 23.0]],
        [[1.044, np.nan, np.nan], [1.044, 1.049, np.nan], [1.044, 1.049, 1.049]],
        0.25,
        0.0005,
        4.2,
    )
    assert out.df.tolist() == [0, 0, 2]
    assert np.isnan(out.brewhouse).tolist() == [True, False, False]
    assert out.mash[1] == pytest.approx(100 * extract_mass(25.0, extract_from_sg(1.049)) / 4.2, rel=1e-4)
    assert np.isnan(out.volume[0, 1:]).all()
    assert out.p_value[0] == 1.0


def test_batch_does_not_depend_on_its_blocks():
    rng = np.random.default_rng(5)
    days = true_days(rng, 1500)
    whole = balance_batch(days.volume, days.gravity, 0.25, 0.0005, days.potential)
    part = balance_batch(days.volume[1000:], days.gravity[1000:], 0.25, 0.0005, days.potential[1000:])
    np.testing.assert_allclose(whole.mash[1000:], part.mash)
    np.testing.assert_allclose(whole.mash, days.mash, rtol=1e-6)


@pytest.mark.parametrize("factor", [10.0, 0.1, 2.0, 0.5])
@pytest.mark.parametrize("stage", ["pre-boil", "post-boil"])
def test_a_decimal_slip_is_named_and_the_figures_do_without_it(stage, factor):
    day = one_day()
    readings = tuple(
        replace(one, value=factor * one.value) if (one.stage, one.quantity) == (stage, "volume") else one
        for one in day.readings
    )
    slipped = extract_balance(replace(day, readings=readings), RIG, CONSTANTS)
    verdict = slipped.checks.loc["whole account", "verdict"]
    assert verdict.startswith(f"{stage} volume reads ")
    assert f"too {'high' if factor > 1 else 'low'} for the other five readings" in verdict
    clean = extract_balance(day, RIG, CONSTANTS)
    for name in ("mash", "brewhouse"):
        assert getattr(slipped, name).nominal_value == pytest.approx(getattr(clean, name).nominal_value, abs=0.2)
