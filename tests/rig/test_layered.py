"""Constants of rigs with more physics than the model: near the truth, and intervals that hold it."""

from __future__ import annotations

import runpy
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from brewlog.rig import fit_rig
from brewlog.rig.bounds import BOUND_SD, with_bound
from brewlog.rig.interval import over_brews
from brewlog.rig.mashes import DEPTHS, best_depth
from brewlog.simulate import brew_record

RICHER = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("richer.py"))))


@cache
def days(controller):
    rng = np.random.default_rng([2024, RICHER.CONTROLLERS.index(controller)])
    return tuple(RICHER.draw_days(RICHER.draw_rig(rng, controller, controller), 4, rng))


@cache
def fitted(controller):
    found = days(controller)
    return fit_rig(found[0].rig.record(), [brew_record(day) for day in found])


def without_channel(brew, channel):
    trace, faults, events = brew.load_trace()
    trace = trace.drop(columns=channel)
    return replace(brew, load_trace=lambda: (trace, faults, events))


@pytest.mark.parametrize("controller", RICHER.CONTROLLERS)
def test_bias_stays_small_however_the_heater_is_driven_and_logged(controller):
    fit, true = fitted(controller), RICHER.truth_of(list(days(controller)))
    assert fit["heat_share"] == pytest.approx(true["heat_share"], abs=0.02)
    assert fit.per_brew["heat_capacity"].mean() == pytest.approx(true["heat_capacity"], rel=0.05)
    assert fit["heat_loss"] == pytest.approx(true["heat_loss"], rel=0.15)


@pytest.mark.parametrize("controller", RICHER.CONTROLLERS)
def test_intervals_hold_what_the_model_leaves_out(controller):
    fit, true = fitted(controller), RICHER.truth_of(list(days(controller)))
    for name in ("heat_share", "heat_loss", "bed_flow", "vapour_loss", "boil_off", "vessel_heat_capacity"):
        row = fit.constants.loc[name]
        assert row["low"] < true[name] < row["high"], name


@pytest.mark.parametrize("controller", ["continuous", "on-off"])
def test_the_bed_conductance_is_what_noise_free_node_temperatures_give(controller):
    found = days(controller)
    clean = fit_rig(found[0].rig.record(), [RICHER.noise_free(day) for day in found])
    assert fitted(controller)["bed_conductance"] == pytest.approx(clean["bed_conductance"], rel=0.15)


def test_the_bound_of_the_model_widens_what_brews_agree_on():
    fit = fitted("continuous")
    for name in ("heat_loss", "bed_flow"):
        spread, row = fit.spread.loc[name], fit.constants.loc[name]
        assert spread["bound_sd"] >= BOUND_SD[name]
        assert row["high"] - row["low"] > spread["high"] - spread["low"]
        assert row["high"] - row["estimate"] > 1.9 * BOUND_SD[name] * row["estimate"]
    assert "model ±5.0%" in fit.constants.loc["heat_loss", "rests_on"]


def test_without_a_bound_nothing_is_widened():
    interval = over_brews([1.0, 2.0, 4.0])
    assert with_bound(interval, 0.0) == interval
    assert with_bound(over_brews([]), 0.1).brews == 0


def test_every_stretch_says_what_it_told():
    told = fitted("continuous").per_stretch
    assert {"heat-up", "mash", "boil", "mash-in", "way to the boil"} <= set(told["stretch"])
    shares = told[told["constant"] == "heat_share"].groupby("brew")["weight"].sum()
    assert shares.to_numpy() == pytest.approx(1.0)
    weight = told[told["constant"] == "heat_share"].groupby("stretch")["weight"].mean()
    assert weight["heat-up"] > weight["mash"] > weight["boil"] > 0
    assert (told.loc[told["stretch"] == "mash-in", "weight"] == 0).all()
    assert "heat-up, mash and boil (4)" in fitted("continuous").constants.loc["heat_share", "rests_on"]


def test_a_controller_that_fell_back_to_the_base_changes_nothing():
    # a wireless probe out of touch for minutes: the controller follows the base, the fit has power and base all along
    rng = np.random.default_rng(31)
    rig = RICHER.draw_rig(rng, "wireless", "continuous")
    rig = replace(rig, bed_probe=replace(rig.bed_probe, dropouts=4.0, dropout_length=240.0))
    found = RICHER.draw_days(rig, 4, rng)
    assert any(day.trace["mash_temp"].isna().mean() > 0.05 for day in found)
    fit = fit_rig(rig.record(), [brew_record(day) for day in found])
    assert len(fit.per_brew) == 4
    assert fit["heat_loss"] == pytest.approx(RICHER.truth_of(found)["heat_loss"], rel=0.15)


def test_no_set_temperature_changes_nothing():
    found = days("continuous")[:3]
    brews = [brew_record(day) for day in found]
    bare = [without_channel(brew, "set_temp") for brew in brews]
    with_, without = fit_rig(found[0].rig.record(), brews), fit_rig(found[0].rig.record(), bare)
    assert without["heat_loss"] == pytest.approx(with_["heat_loss"])
    assert without["bed_flow"] == pytest.approx(with_["bed_flow"])


def left(*rms):
    """Fits of several brews that leave so much."""
    return {str(i): SimpleNamespace(rms={"pooled": value}) for i, value in enumerate(rms)}


def test_one_brew_with_a_fault_does_not_choose_the_depth_of_the_probe():
    trials = {depth: left(0.10, 0.12, 0.11, 0.10) for depth in DEPTHS}
    trials[0.8] = left(0.12, 0.14, 0.12, 0.10) | {"3": SimpleNamespace(rms={"pooled": 0.02})}
    trials[0.5]["3"] = SimpleNamespace(rms={"pooled": 0.9})
    assert best_depth(trials) == 0.5
    trials[0.65] = left(0.09, 0.10, 0.095, 1.2)
    assert best_depth(trials) == 0.65
    trials[0.65] = left(0.095, 0.115, 0.105, 0.1)  # a tenth less is no clear sign
    assert best_depth(trials) == 0.5
    assert best_depth({0.5: {}, 0.35: {}, 0.65: {}, 0.8: {}}) == 0.5
