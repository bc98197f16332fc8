"""Power from each row to the next: demand of a time-proportioned heater, on and off, limits of the rests."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from brewlog.logbook.records import Rest, Rig
from brewlog.rig import fit_rig
from brewlog.rig.power import acting_demand, in_step, limited, power_of
from brewlog.simulate import KITCHEN, BrewPlan, Controller, brew_record, simulate_day

RECORD = Rig("pot", heater_power=2000.0)


def days(controller, n=3, seed=11):
    rng = np.random.default_rng(seed)
    rig = replace(KITCHEN, controller=controller, base_sensor=replace(KITCHEN.base_sensor, lag=4.0, noise=0.03))
    return rig, [simulate_day(rig, BrewPlan(brew=str(k), heater_follows="base"), rng) for k in range(n)]


def at_rest(day):
    """Mean power while the mash is held, over nameplate: as the tool has it, as logged, and true."""
    trace, true = day.trace, day.true
    power = power_of(trace, day.rig.record()).watts / day.rig.heater_power
    begin = next(e.elapsed for e in day.events if e.event == "rest") + 600
    rows = np.flatnonzero((trace["elapsed"] > begin) & (trace["elapsed"] < begin + 1500))
    inside = (true["elapsed"] > begin) & (true["elapsed"] < begin + 1500)
    return power[rows].mean(), trace["power"].iloc[rows].mean() / 100, true.loc[inside, "power"].mean() / 2400


def test_a_demand_that_swings_with_the_heaters_window_is_read_where_it_acts():
    # windows of 20 s, logged every 10 s: the demand is logged once before and once after each pulse
    _, found = days(Controller(band=1.0, window=20.0))
    had, logged, true = np.array([at_rest(day) for day in found]).mean(axis=0)
    assert logged < 0.9 * true  # the fault that is mended
    assert had == pytest.approx(true, rel=0.08)
    assert power_of(found[0].trace, RECORD).sd > 0.02
    assert "swings every 2 rows" in power_of(found[0].trace, RECORD).how


@pytest.mark.parametrize(
    "controller",
    [Controller(window=0.0), Controller(window=20.0, logs="mean")],
    ids=["continuous", "mean power"],
)
def test_power_that_is_logged_as_it_was_is_left_alone(controller):
    for day in days(controller)[1]:
        had = power_of(day.trace, day.rig.record())
        assert had.watts == pytest.approx(day.trace["power"].to_numpy() * 24.0)
        assert had.sd == 0.0


def test_the_swing_does_not_lower_the_loss():
    rig, found = days(Controller(band=1.0, window=20.0), n=4)
    fit = fit_rig(rig.record(), [brew_record(day) for day in found])
    assert fit["heat_loss"] == pytest.approx(found[0].truth["mash_heat_loss"], rel=0.15)


def test_other_swings_are_found_too():
    rows = np.arange(600)
    share = np.where(rows % 3 == 1, 0.12, 0.06) + 0.005 * np.random.default_rng(1).normal(size=600)
    demand = acting_demand(15.0 * rows, share)
    assert "every 3 rows" in demand.words
    # pulses up to an eighth of the window: the highest phase counts alone
    assert demand.share[10:-10].mean() == pytest.approx(0.12, rel=0.02)


def test_on_and_off_in_step_with_the_window_is_not_trusted():
    t = 10.0 * np.arange(600)
    in_time = pd.DataFrame({"elapsed": t, "heater": (np.arange(600) % 2 == 0).astype(float)})
    had = power_of(in_time, RECORD)
    assert "its mean is not told" in had.how
    assert had.sd == pytest.approx(0.3)
    free = ((t * 0.7 + 3.1) % 20 < 8).astype(float)
    assert not in_step(t, free)


def test_limits_of_the_rests_count_where_only_on_and_off_were_logged():
    t = 10.0 * np.arange(400)
    trace = pd.DataFrame({"elapsed": t, "heater": 1.0, "set_temp": np.where(t < 2000, 64.0, 72.0)})
    rests = (Rest("1", 1, 64.0), Rest("1", 2, 72.0, power=80.0))
    had = limited(power_of(trace, RECORD), trace, rests, (0.0, 4000.0))
    assert had.watts[100] == 2000.0
    assert had.watts[300] == 1600.0
    blind = limited(power_of(trace, RECORD), trace.drop(columns="set_temp"), rests, (0.0, 4000.0))
    assert blind.sd == pytest.approx(0.1)
    assert "no set_temp tells when" in blind.how
    logged = power_of(trace.rename(columns={"heater": "power"}), RECORD)
    assert limited(logged, trace, rests, (0.0, 4000.0)) is logged
