"""What every brewer with such a rig sees, on simulated days: 65 L, 3.5 kW, 11 to 13 kg of grain, 2 to 4 L/min."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from brewlog.mash import find_marks, hold, match_rests
from brewlog.simulate import SHED, BrewPlan, PlannedMalt, PlannedRest, SimulatedDay, brew_record, simulate_day

# the whole pump flow goes through the bed and does not change, so that the flow named is the flow there is
RIG = replace(SHED, label="65 L", heater_power=3500.0, kettle_volume=65.0, setting=0.0, mains_sd=0.0)


def brew_day(grist: float, flow: float, follows: str, rests: tuple[PlannedRest, ...]) -> SimulatedDay:
    plan = BrewPlan(
        malts=(PlannedMalt("pale malt", grist),),
        mash_water=3.0 * grist,
        sparge_water=14.0,
        mill_gap=1.1,
        heater_follows=follows,
        rests=rests,
        pump=100.0,
    )
    return simulate_day(replace(RIG, flow=flow, pump_flow=flow), plan, np.random.default_rng(11))


@pytest.mark.parametrize(("grist", "flow"), [(11.0, 2.0), (12.0, 3.0), (13.0, 4.0)])
def test_the_bed_is_colder_than_the_base_by_5_to_10_kelvin_while_heating_hard_on_the_base(grist, flow):
    # common practice, no source
    rests = (PlannedRest(63.0, 40.0), PlannedRest(71.0, 20.0), PlannedRest(76.0, 10.0, "mash-out"))
    brew = brew_record(brew_day(grist, flow, "base", rests))
    second = match_rests(brew)[1]
    trace = brew.trace
    lead = trace["base_temp"] - trace["mash_temp"]
    heating = trace["elapsed"].between(second.change, second.start)
    assert 5.0 <= lead[heating].max() <= 10.0


@pytest.mark.parametrize(("grist", "flow"), [(11.0, 2.5), (12.0, 3.0), (13.0, 4.0)])
def test_a_5_kelvin_ramp_to_mash_out_takes_10_to_15_minutes(grist, flow):
    # common practice, no source: at about 60 % power and 10 K headroom. The more grain, the more flow it takes: at
    # 2 L/min the simulated bed needs 16 to 19 min.
    rests = (PlannedRest(63.0, 40.0), PlannedRest(70.0, 30.0), PlannedRest(75.0, 10.0, "mash-out", 10.0, 60.0))
    held = hold(brew_record(brew_day(grist, flow, "mash", rests)))
    assert 10.0 <= held.rests.loc[3, "ramp_time"] <= 15.0


@pytest.mark.parametrize("follows", ["base", "mash"])
def test_a_simulated_day_is_found_without_its_events(follows):
    rests = (PlannedRest(63.0, 40.0), PlannedRest(71.0, 25.0), PlannedRest(76.0, 10.0, "mash-out"))
    day = brew_day(12.0, 3.0, follows, rests)
    known, found = brew_record(day), brew_record(day, events=False)
    one, two = find_marks(known), find_marks(found)
    for name, minutes in (("mash_in", 1.0), ("lift", 1.0), ("boil", 2.0), ("boil_end", 3.5)):
        assert getattr(two, name) / 60 == pytest.approx(getattr(one, name) / 60, abs=minutes), name
    for recorded, seen in zip(match_rests(known), match_rests(found), strict=True):
        # the brewer notes the first rest when all the grain is stirred in, the bed may be there some minutes before
        early = 6.0 if recorded.rest == 1 else 1.5
        assert seen.start / 60 == pytest.approx(recorded.start / 60, abs=early)
        assert seen.end / 60 == pytest.approx(recorded.end / 60, abs=1.0)
        assert seen.found
    assert hold(found).overall["hold_rms"] == pytest.approx(hold(known).overall["hold_rms"], abs=0.1)
