"""Lack of fit against the spread between brews: when the model's bound widens an interval, and when it does not."""

from __future__ import annotations

import runpy
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from brewlog.rig import fit_rig
from brewlog.rig.bounds import BOUND_SD, MASH_BOUND, PROBE_SD, with_lag
from brewlog.rig.interval import Interval, far_off, over_brews
from brewlog.rig.lackoffit import FEWEST, LEVEL, LackOfFit, lack_of_fit, sign_flips
from brewlog.rig.remarks import lack_in_words
from brewlog.rig.verdicts import limits_of, spared
from brewlog.simulate import brew_record

HERE = Path(__file__)
DRAWN = SimpleNamespace(**runpy.run_path(str(HERE.with_name("drawn.py"))))
RICHER = SimpleNamespace(**runpy.run_path(str(HERE.with_name("richer.py"))))


@cache
def drawn(count, seed, share_factor=1.0):
    return tuple(DRAWN.draw_rig(count, np.random.default_rng([412, seed]), step=15.0, share_factor=share_factor))


@cache
def fitted(count, seed):
    return fit_rig(DRAWN.RECORD, drawn(count, seed))


@cache
def richer_days():
    rng = np.random.default_rng([413, 6])
    return RICHER.draw_days(RICHER.draw_rig(rng, "richer"), 6, rng)


@cache
def richer():
    days = richer_days()
    return fit_rig(days[0].rig.record(), [brew_record(day) for day in days])


def said(fit, words):
    return any(words in note for note in fit.notes)


def changed(brew, change):
    trace, faults, events = brew.load_trace()
    frame = change(trace.copy())
    return replace(brew, load_trace=lambda: (frame, faults, events))


def test_signs_of_three_brews_counted_by_hand():
    # sums of 3, 1, 1 with all signs: 5, 3, 3, 1 in size; of 1, 1, -1: 1, 3, 1, 1
    assert sign_flips([[3.0], [1.0], [1.0]]) == 0.25
    assert sign_flips([[1.0], [1.0], [-1.0]]) == 1.0


def test_noise_shows_as_often_as_the_level_says():
    # three of 32 patterns of six brews are below the level: 9.4 %; 2000 draws scatter by 0.65 %
    rng = np.random.default_rng(1)
    shown = [sign_flips(rng.normal(size=(6, 5)) * rng.uniform(0.2, 3, (6, 1))) <= LEVEL for _ in range(2000)]
    assert np.mean(shown) == pytest.approx(3 / 32, abs=0.022)


def test_many_brews_are_turned_over_in_groups():
    assert sign_flips(np.ones((40, 3))) == 2.0**-11


def test_days_of_the_model_itself_get_no_bound():
    # lack of fit shows on a tenth of such rigs: on three or four of four with probability 0.003
    plain = [fit for fit in (fitted(8, seed) for seed in range(4)) if said(fit, "do not stray from the model")]
    assert len(plain) >= 2
    for fit in plain:
        assert (fit.spread.loc[list(MASH_BOUND), "added_sd"] == 0).all()
        for name in ("heat_loss", "bed_flow", "bed_conductance"):
            assert fit.spread.loc[name, "bound_sd"] == BOUND_SD[name]
            assert fit.constants.loc[name, "low"] == fit.spread.loc[name, "low"]
            assert fit.constants.loc[name, "high"] == fit.spread.loc[name, "high"]
            assert "model" not in fit.constants.loc[name, "rests_on"]


def test_a_rig_with_more_physics_gets_the_bound():
    fit = richer()
    assert said(fit, "stray from the model in a way that repeats")
    assert fit.lack_of_fit.shown
    assert not fit.lack_of_fit.excluded
    for name in MASH_BOUND:
        spread, row = fit.spread.loc[name], fit.constants.loc[name]
        own = PROBE_SD[name] if name in PROBE_SD else BOUND_SD[name] * row["estimate"]
        assert spread["added_sd"] == spread["bound_sd"] >= (PROBE_SD | BOUND_SD)[name]
        assert row["high"] - row["estimate"] > 1.95 * own
        assert "model ±" in row["rests_on"]


def test_the_probe_of_a_rig_with_more_physics_lies_inside_what_its_mashes_say():
    fit, true = richer(), RICHER.truth_of(richer_days())
    offset, lag = fit.constants.loc["probe_offset"], fit.constants.loc["probe_lag"]
    assert offset["low"] < true["probe_offset"] < offset["high"]
    assert 0 <= lag["low"] < true["probe_lag"] < lag["high"]
    # without the bound of the model it would not: the spread between brews does not know where the probe stands
    assert fit.spread.loc["probe_offset", "high"] < true["probe_offset"]
    assert fit.constants.loc["probe_offset", "rests_on"].endswith("; model ±0.65 K")


def test_a_lag_at_the_end_of_its_range_is_not_taken_for_known():
    nothing_shows, something_shows = LackOfFit(8, 0.5), LackOfFit(8, 0.01)
    assert spared("probe_lag", 20.0, nothing_shows)
    assert spared("heat_loss", 0.2, nothing_shows)
    assert not spared("probe_lag", 0.2, nothing_shows)
    assert not spared("probe_lag", 20.0, something_shows)
    assert not spared("absorption", 0.9, nothing_shows)


@pytest.mark.parametrize("count", [3, FEWEST - 1])
def test_few_brews_get_the_bound_whatever_they_show(count):
    fit = fit_rig(DRAWN.RECORD, drawn(8, 0)[:count])
    assert said(fit, f"{count} mashes are too few to show whether this rig does something")
    assert (fit.spread.loc[list(MASH_BOUND), "added_sd"] == [(PROBE_SD | BOUND_SD)[name] for name in MASH_BOUND]).all()


def test_days_with_one_sensor_cannot_tell():
    fit = fit_rig(DRAWN.RECORD, [changed(brew, lambda f: f.drop(columns="mash_temp")) for brew in drawn(8, 0)])
    assert said(fit, "No mash is there to show whether")
    assert fit.spread.loc["heat_loss", "added_sd"] == BOUND_SD["heat_loss"]


def test_heat_that_comes_late_in_every_brew_is_lack_of_fit_and_noise_is_not():
    def late(frame):
        """A fifth of a kelvin more while the heater has been on: 0.001 K of rms, 4 % of the flow."""
        frame["base_temp"] += 0.2 * (frame["power"] / 100).ewm(alpha=0.05).mean()
        return frame

    brews = drawn(8, 1)
    before = lack_of_fit(day.mash for day in fitted(8, 1).days.values())
    after = lack_of_fit(day.mash for day in fit_rig(DRAWN.RECORD, [changed(b, late) for b in brews]).days.values())
    assert before.excluded
    assert after.p_value < 0.02


def test_a_share_does_not_exceed_one():
    fit = fit_rig(DRAWN.RECORD, drawn(4, 7, share_factor=1.05))
    assert fit.spread.loc["heat_share", "high"] > 1
    assert fit["heat_share"] < fit.constants.loc["heat_share", "high"] == 1
    # an estimate above one is not hidden: the records contradict each other
    odd = fit_rig(replace(DRAWN.RECORD, heater_power=2200.0), drawn(4, 7))
    assert odd["heat_share"] > 1
    assert said(odd, "heat_share comes out above 1")


def test_the_common_lag_counts_with_its_degrees_of_freedom():
    # JCGM 100 (GUM) annex G, table G.2: t 95 % for 10 degrees of freedom 2.23; two equal parts of 5 make 10
    flow = over_brews([2.0, 2.2, 2.4, 2.6, 2.8, 3.0])
    lag = over_brews([20.0, 22.0, 24.0, 26.0, 28.0, 30.0])
    wide = with_lag(flow, lag, flow.sd / flow.estimate / lag.sd)
    assert wide.sd == pytest.approx(np.sqrt(2) * flow.sd)
    assert wide.high - wide.estimate == pytest.approx(2.228 * wide.sd, rel=1e-3)
    assert with_lag(flow, lag, 0.0) == flow


def test_limits_that_cannot_be_are_not_shown():
    wide = Interval(0.5, 0.4, -0.3, 1.3, 4)
    assert limits_of("heat_share", wide) == (0.0, 1.0)
    assert limits_of("vapour_loss", wide) == (0.0, 1.3)
    assert limits_of("probe_offset", wide) == (-0.3, 1.3)
    assert limits_of("transfer_loss", Interval(-0.1, 0.4, -0.9, 0.7, 4)) == (-0.9, 0.7)
    assert np.isnan(limits_of("boil_off", Interval(np.nan, np.nan, np.nan, np.nan, 0))[0])


def test_the_note_gives_the_chance_in_few_digits():
    assert "p = 0.031)" in lack_in_words(LackOfFit(6, 1 / 32))
    assert "p < 0.001)" in lack_in_words(LackOfFit(30, 2.0**-11))
    assert "p = 0.44)" in lack_in_words(LackOfFit(6, 14 / 32))
    assert lack_in_words(LackOfFit(1, float("nan"))).startswith("1 mash is too few to show")


def test_normal_values_are_hardly_ever_left_out():
    # 0.5 % by construction; 3000 draws scatter by 0.13 %
    rng = np.random.default_rng(3)
    for count in (5, 6, 8, 12, 20):
        out = np.mean([far_off(rng.normal(size=count)).any() for _ in range(3000)])
        assert out < 0.011, count


def test_whole_days_tell_what_the_boil_tells():
    # drawn rigs' vapour, boil-off and volumes come back within four sd of eight brews
    rig = DRAWN.DrawnRig(boils=True)
    fit = fit_rig(DRAWN.RECORD, DRAWN.draw_rig(8, np.random.default_rng([414, 0]), rig, step=15.0))
    for name, true in DRAWN.BOIL_TRUTH.items():
        row = fit.constants.loc[name]
        assert abs(row["estimate"] - true) < 4 * row["sd"], name
    vapour = fit.spread.loc["vapour_loss"]
    assert vapour["added_sd"] == vapour["bound_sd"] > 0.2  # what the walls lose is assumed, whatever the brews agree on
    assert fit.constants.loc["vapour_loss", "high"] > vapour["high"]
