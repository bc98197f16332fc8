"""Histories: seeds, settings, counterfactual truth."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from brewlog.simulate import (
    KITCHEN,
    BrewPlan,
    HistorySettings,
    PlannedMalt,
    brew_record,
    simulate_day,
    simulate_history,
    simulate_water_test,
)


def history(seed: int = 3, **settings):
    return simulate_history(HistorySettings(**settings), np.random.default_rng(seed))


def test_seeds_reproduce_a_day():
    days = [simulate_day(KITCHEN, BrewPlan(), np.random.default_rng(seed)) for seed in (4, 4, 5)]
    pd.testing.assert_frame_equal(days[0].trace, days[1].trace)
    assert days[0].readings == days[1].readings
    assert dict(days[0].truth) == dict(days[1].truth)
    assert not days[0].trace["base_temp"].equals(days[2].trace["base_temp"])


def test_the_same_day_under_the_other_sensor_meets_the_same_luck():
    days = {
        control: simulate_day(KITCHEN, BrewPlan(heater_follows=control, hold_effect=0.0), np.random.default_rng(8))
        for control in ("base", "mash")
    }
    # where holding has no effect on conversion nothing else may differ either
    assert days["base"].truth["conversion"] == pytest.approx(days["mash"].truth["conversion"], abs=1e-12)
    assert days["base"].truth["lauter"] == pytest.approx(days["mash"].truth["lauter"], abs=0.02)
    assert days["base"].truth["hold_rms"] > days["mash"].truth["hold_rms"] + 0.5


def test_seeds_reproduce_a_history():
    one, other = history(brews=4), history(brews=4)
    pd.testing.assert_frame_equal(one.truth, other.truth)
    assert not history(4, brews=4).truth["brewhouse"].equals(one.truth["brewhouse"])


def test_effect_sizes_alone_leave_the_rest_alone():
    none, some = history(brews=6, hold_effect=0.0), history(brews=6, hold_effect=2.0)
    pd.testing.assert_series_equal(none.truth["grist"], some.truth["grist"])
    pd.testing.assert_series_equal(none.truth["hold_rms"], some.truth["hold_rms"])
    assert (none.truth["conversion"] - some.truth["conversion"]).abs().max() > 1.0


def test_control_effect_is_zero_without_an_effect_of_holding():
    gains = history(brews=4, hold_effect=0.0).control_effect()["gain"]
    assert gains.abs().max() < 0.05


def test_control_effect_is_about_two_points():
    effect = history(brews=12).control_effect()
    assert 1.2 < effect["gain"].mean() < 2.8
    assert (effect["hold_base"] > effect["hold_mash"] + 0.3).all()


def test_mill_alone():
    settings = {"brews": 8, "design": "base", "mill_sd": 0.0, "process_sd": 0.0, "mill_change": -0.2}
    with_effect, without = history(**settings), history(**settings, gap_effect=0.0)
    late = with_effect.truth["mill_gap"] < 1.0
    assert late.sum() == 4
    gain = with_effect.truth["conversion"] - without.truth["conversion"]
    # against a gap of 1.1 mm: -0.15 mm late, +0.05 mm early
    assert gain[late].mean() > 0.8
    assert gain[~late].mean() < 0.0


def test_hidden_change_and_learning_show():
    plain, changed = history(brews=6), history(brews=6, hidden=3.0, learning=2.0)
    gain = changed.truth["conversion"] - plain.truth["conversion"]
    moved = plain.truth["control"] == "mash"
    np.testing.assert_allclose(gain[~moved], 0.0, atol=1e-9)
    assert gain[moved].mean() == pytest.approx(3.0, abs=0.5)
    assert (changed.truth["lauter"] - plain.truth["lauter"]).iloc[-1] == pytest.approx(2.0, abs=0.8)


def test_random_pairs_hold_one_tight_and_one_loose_brew():
    book = history(brews=8, design="random")
    pairs = pd.Series([brew.pair for brew in book.brews])
    numbers, kinds = pairs.str.split(" ").str[0], pairs.str.split(" ").str[1]
    assert (kinds == "tight").sum() == 4
    assert kinds.groupby(numbers).nunique().eq(2).all()
    controls = [brew.day.plan.heater_follows for brew in book.brews]
    assert [kind == "tight" for kind in kinds] == [control == "mash" for control in controls]


def test_probe_arrives_late():
    book = history(brews=6, design="base", probe_from=(0.5, 0.5))
    assert ["mash_temp" in brew.day.trace for brew in book.brews] == [False] * 3 + [True] * 3


def test_heater_drift():
    book = history(brews=5, heater_drift=-0.08)
    nameplates = [brew.day.rig.heater_power for brew in book.brews if brew.day.rig.label == "kitchen"]
    assert nameplates == sorted(nameplates, reverse=True)
    first, last = book.brews[0].day.rig, book.brews[-1].day.rig
    assert first.heater_power in (2400.0, 3500.0)
    assert last.heater_power / {"kitchen": 2400.0, "shed": 3500.0}[last.label] == pytest.approx(0.92)


def test_unknown_design_is_refused():
    with pytest.raises(ValueError, match="design is 'dice'; expected switch, random, base or mash"):
        history(design="dice")


def test_too_little_mash_water_is_refused():
    plan = BrewPlan(malts=(PlannedMalt("pale malt", 6.0),), mash_water=5.0)
    with pytest.raises(ValueError, match=r"brew '1' has 5 L of mash water; expected at least \d+ L for 6 kg"):
        simulate_day(KITCHEN, plan, np.random.default_rng(1))


def test_unknown_water_test_is_refused():
    with pytest.raises(ValueError, match="kind is 'freeze'; expected heat-up, cool-down or boil"):
        simulate_water_test(KITCHEN, "freeze", 20.0, np.random.default_rng(1))


def test_record_of_a_day():
    day = simulate_day(KITCHEN, replace(BrewPlan(), kettle_sugar=0.3), np.random.default_rng(1))
    brew = brew_record(day)
    trace = brew.trace
    assert trace is not None
    assert list(trace.columns) == ["elapsed", "mash_temp", "base_temp", "set_temp", "power", "pump"]
    assert [rest.temp for rest in brew.rests] == [64.0, 71.0, 77.0]
    assert [event.event for event in brew.events][:3] == ["heat-up", "mash-in", "pump off"]
    assert brew.additions[0].mass == 0.3
