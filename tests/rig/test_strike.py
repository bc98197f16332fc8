"""The strike temperature against published examples and against simulated days with more physics."""

from __future__ import annotations

import runpy
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from brewlog.rig import fit_rig
from brewlog.rig.capacity import wetting_heat
from brewlog.rig.strike import strike_temp

HERE = Path(__file__)
DRAWN = SimpleNamespace(**runpy.run_path(str(HERE.with_name("drawn.py"))))
RICHER = SimpleNamespace(**runpy.run_path(str(HERE.with_name("richer.py"))))


def test_the_heat_balance_of_a_textbook():
    # heat balance 0.40 / R (T - T_grain): 65 degC from 20 degC at 3 kg/kg needs 71.0 degC without heat of wetting
    moisture = 0.0323  # specific heat 0.40 of that of water
    litres = 15.0 / 0.9982
    found, _ = strike_temp(litres, 5.0, 65.0, grain_temp=20.0, moisture=moisture)
    wetting = 5.0 * float(wetting_heat(moisture)) / (15.0 * 4187.0)
    assert found + wetting == pytest.approx(71.0, abs=0.05)


def test_the_initial_heat_of_the_slaking_table():
    # Brewing Room Book 1984/85: grist 27 degC, moisture 2 %, 2.68 kg of liquor a kilogram at 69 degC gives 65.96 degC
    found, sd = strike_temp(268.0 / 0.9982, 100.0, 65.96, grain_temp=27.0, moisture=0.02)
    assert found == pytest.approx(69.0, abs=0.1)
    assert 0.2 < sd < 1.0


def heat_after(day):
    """Mean of base and bed when the grain is stirred in, less what the heater brought by then; strike temperature."""
    at = {event.event: event.elapsed for event in day.events}
    true, truth = day.true, day.truth
    base, bed = truth["base_heat_capacity"] + truth["vessel_heat_capacity"], truth["bed_heat_capacity"]
    after = true[true["elapsed"] > at["pump on"] + 120].iloc[0]
    mean = (base * after["base"] + bed * after["bed"]) / (base + bed)
    part = true[(true["elapsed"] >= at["mash-in"]) & (true["elapsed"] <= after["elapsed"])]
    brought = day.rig.heat_share * np.trapezoid(part["power"], part["elapsed"])
    lost = truth["mash_heat_loss"] * (mean - part["room"].mean()) * (after["elapsed"] - at["mash-in"])
    strike = float(np.interp(at["mash-in"] - 1, true["elapsed"], true["base"]))
    return mean - (brought - lost) / (base + bed), strike


@pytest.mark.parametrize("seed", range(4))
def test_simulated_days_with_more_physics_keep_to_it(seed):
    rng = np.random.default_rng([77, seed])
    for day in RICHER.draw_days(RICHER.draw_rig(rng, str(seed)), 2, rng):
        mash, strike = heat_after(day)
        plan, vessel = day.plan, day.truth["vessel_heat_capacity"]
        grain = sum(malt.mass for malt in plan.malts)
        found, sd = strike_temp(
            plan.mash_water, grain, mash, grain_temp=plan.grain_temp, vessel=vessel, vessel_sd=0.1 * vessel
        )
        assert abs(found - strike) < 2 * sd
        assert abs(found - strike) < 1.0


def test_a_rig_counts_its_vessel():
    fit = fit_rig(DRAWN.RECORD, DRAWN.draw_rig(3, np.random.default_rng(2)))
    own, bare = fit.strike_temp(18.0, 5.0, 64.0), strike_temp(18.0, 5.0, 64.0)
    vessel = fit["vessel_heat_capacity"] / (18.0 * 4180.0)
    assert own.nominal_value - 64.0 == pytest.approx((bare[0] - 64.0) / (1 + vessel), rel=0.01)
    assert 0.2 < own.std_dev < 1.0
    unknown = replace(fit, constants=fit.constants.assign(estimate=np.nan))
    assert 64 < unknown.strike_temp(18.0, 5.0, 64.0).nominal_value < bare[0]


@pytest.mark.parametrize(("water", "grain"), [(0.0, 5.0), (20.0, 0.0), (np.nan, 5.0)])
def test_no_water_or_no_grain_is_refused(water, grain):
    with pytest.raises(ValueError, match="expected both above 0"):
        strike_temp(water, grain, 65.0)


def test_water_that_would_have_to_boil_is_refused():
    with pytest.raises(ValueError, match="hot; expected more water or warmer grain"):
        strike_temp(4.0, 8.0, 75.0, grain_temp=0.0)
