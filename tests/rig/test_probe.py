"""The bed reconstructed where no probe stood: against the true bed of simulated days, and what it refuses."""

from __future__ import annotations

import runpy
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from brewlog.mash import hold
from brewlog.rig import fit_rig, reconstruct_mash
from brewlog.rig.expectation import expectation
from brewlog.rig.probe import against_probe
from brewlog.simulate import KITCHEN, SHED, BrewPlan, brew_record, simulate_day
from brewlog.simulate.plan import PlannedMalt

DRAWN = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("drawn.py"))))


@cache
def rich(rig, n, seed):
    rng = np.random.default_rng(seed)
    days = []
    for k in range(n):
        scale = rig.kettle_volume / 35
        grain = rng.uniform(4.6, 5.6) * scale * 0.97
        plan = BrewPlan(
            brew=f"{seed}-{k}",
            malts=(PlannedMalt("pale malt", round(grain, 2)),),
            mash_water=round(grain * rng.uniform(4.0, 4.5)),
            room_temp=float(rng.uniform(14, 23)),
            heater_follows="mash" if k % 2 else "base",
            sparge_water=8 * scale,
        )
        days.append(simulate_day(rig, plan, rng))
    return tuple(days)


@cache
def taught(rig):
    """Constants from six brews with a probe."""
    return fit_rig(rig.record(), [brew_record(day) for day in rich(rig, 6, 1)])


def without_probe(brew):
    trace, faults, events = brew.load_trace()
    bare = trace.drop(columns="mash_temp")
    return replace(brew, load_trace=lambda: (bare, faults, events))


@pytest.fixture(scope="module")
def misses():
    """Error and sd of every row from 15 min after the pump started, by brew; constants from other brews."""
    found = []
    for rig in (KITCHEN, SHED):
        for day in rich(rig, 8, 2):
            frame = reconstruct_mash(without_probe(brew_record(day)), taught(rig))
            start = next(e.elapsed for e in day.events if e.event == "pump on") + 900
            frame = frame[frame["elapsed"] > start]
            true = np.interp(frame["elapsed"], day.true["elapsed"], day.true["bed"])
            found.append((frame["mash_temp"].to_numpy() - true, frame["sd"].to_numpy()))
    return found


def test_the_reconstructed_bed_is_near_the_true_mean_of_its_layers(misses):
    rms = [np.sqrt(np.mean(error**2)) for error, _ in misses]
    assert np.median(rms) < 0.45
    assert np.quantile(rms, 0.9) < 0.8


def test_its_band_holds(misses):
    held = np.mean([np.mean(np.abs(error) < 1.96 * sd) for error, sd in misses])
    assert 0.85 <= held <= 0.995  # sixteen brews of two rigs: errors within a brew and a rig go together
    assert np.median([sd.mean() for _, sd in misses]) < 0.6


def test_the_base_sensor_is_no_substitute(misses):
    # what the reconstruction is for: the base alone is off by more than twice as much while heating
    worst = []
    for rig in (KITCHEN, SHED):
        for day in rich(rig, 8, 2):
            mash = day.true[day.true["bed"].notna() & (day.true["bed_flow"] > 0)].iloc[180:]
            worst.append(np.sqrt(np.mean((mash["base"] - mash["bed"]) ** 2)))
    assert np.median(worst) > 2 * np.median([np.sqrt(np.mean(error**2)) for error, _ in misses])


def test_hold_takes_it_and_marks_it():
    day = rich(KITCHEN, 8, 2)[0]
    brew = without_probe(brew_record(day))
    held = hold(brew, mash=reconstruct_mash(brew, taught(KITCHEN)))
    assert held.overall["hold_from"] == "reconstructed"
    assert 0 < held.overall["hold_rms_sd"] < 1


def test_a_brew_does_not_teach_about_itself():
    fit = taught(KITCHEN)
    label = next(iter(fit.days))
    assert expectation(fit, without=label).brews == len(fit.days) - 1
    brew = brew_record(rich(KITCHEN, 6, 1)[0])
    blind = reconstruct_mash(without_probe(brew), fit)["mash_temp"]
    as_another = reconstruct_mash(without_probe(replace(brew, label="another")), fit)["mash_temp"]
    assert np.abs(blind - as_another).max() > 1e-3


def test_a_probe_that_was_there_helps():
    errors = {False: [], True: []}
    for day in rich(KITCHEN, 8, 2)[:4]:
        brew = brew_record(day)
        for use_probe, found in errors.items():
            frame = reconstruct_mash(brew, taught(KITCHEN), use_probe=use_probe)
            true = np.interp(frame["elapsed"], day.true["elapsed"], day.true["bed"])
            found.append(
                np.sqrt(np.mean((frame["mash_temp"] - true)[frame["elapsed"] > frame["elapsed"][0] + 900] ** 2))
            )
    assert np.mean(errors[True]) < np.mean(errors[False])
    assert against_probe(brew, taught(KITCHEN))["rms"] < 1.0


def test_a_calibration_with_a_probe_narrows_the_band():
    # the same six brews with their bed probe hidden: flow and heat capacity of the bed are then only assumed
    blind = fit_rig(KITCHEN.record(), [without_probe(brew_record(day)) for day in rich(KITCHEN, 6, 1)])
    for day in rich(KITCHEN, 8, 2)[:2]:
        brew = without_probe(brew_record(day))
        with_, without = (reconstruct_mash(brew, fit)["sd"].median() for fit in (taught(KITCHEN), blind))
        assert with_ < 0.85 * without


def test_without_any_taught_brew_the_band_is_wide():
    fit = fit_rig(KITCHEN.record(), [])
    frame = reconstruct_mash(without_probe(brew_record(rich(KITCHEN, 8, 2)[0])), fit)
    assert "typical constants" in frame.attrs["rests_on"]
    assert frame["sd"].median() > reconstruct_mash(brew_record(rich(KITCHEN, 8, 2)[0]), taught(KITCHEN))["sd"].median()


def test_nothing_is_reconstructed_over_a_long_gap():
    brew = without_probe(brew_record(rich(KITCHEN, 8, 2)[0]))
    trace, faults, events = brew.load_trace()
    middle = float(next(e.elapsed for e in events if e.event == "mash-in")) + 2400
    trace = trace[(trace["elapsed"] < middle) | (trace["elapsed"] > middle + 700)].reset_index(drop=True)
    frame = reconstruct_mash(replace(brew, load_trace=lambda: (trace, faults, events)), taught(KITCHEN))
    assert not ((frame["elapsed"] > middle + 10) & (frame["elapsed"] < middle + 690)).any()


@pytest.mark.parametrize(
    ("column", "words"), [("base_temp", "has no base_temp"), ("power", "has no power")], ids=["base", "power"]
)
def test_what_is_missing_is_said(column, words):
    brew = brew_record(rich(KITCHEN, 8, 2)[0])
    trace, faults, events = brew.load_trace()
    trace = trace.drop(columns=column)
    with pytest.raises(ValueError, match=words):
        reconstruct_mash(replace(brew, load_trace=lambda: (trace, faults, events)), taught(KITCHEN))


def test_missing_litres_or_trace_are_said():
    brew = brew_record(rich(KITCHEN, 8, 2)[0])
    with pytest.raises(ValueError, match="lacks mash_water or the malts' mass"):
        reconstruct_mash(replace(brew, mash_water=None), taught(KITCHEN))
    with pytest.raises(ValueError, match="no trace"):
        reconstruct_mash(replace(brew, load_trace=None), taught(KITCHEN))


def test_on_days_of_the_model_itself_it_is_close():
    rng = np.random.default_rng(4)
    brews = [DRAWN.draw_brew(DRAWN.DrawnRig(), str(k), rng) for k in range(5)]
    fit = fit_rig(DRAWN.RECORD, [brew for brew, _ in brews[:4]])
    brew, true = brews[4]
    frame = reconstruct_mash(without_probe(brew), fit)
    frame = frame[frame["elapsed"] > frame["elapsed"].iloc[0] + 900]
    error = frame["mash_temp"] - np.interp(frame["elapsed"], true["elapsed"], true["bed"])
    assert np.sqrt(np.mean(error**2)) < 0.4
