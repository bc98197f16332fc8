"""Hold measures on traces whose numbers can be worked out by hand."""

from __future__ import annotations

import runpy
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from brewlog.logbook.records import Rest, TraceFault
from brewlog.mash import hold
from brewlog.quantities import names

DAYS = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("days.py"))))
PLAN, brew_of, full_day = DAYS.PLAN, DAYS.brew_of, DAYS.full_day

ONE = (Rest("1", 1, 64.0, 30.0, purpose="saccharification"),)


def minutes(values, **channels) -> pd.DataFrame:
    """A trace with one sample a minute."""
    channels = {name: np.asarray(column, dtype=float) for name, column in channels.items()}
    return pd.DataFrame({"elapsed": 60.0 * np.arange(len(values)), "mash_temp": np.asarray(values, float), **channels})


def lone(values, **fields):
    """One rest at 64 degC from the first sample to the last, the bed controlled."""
    trace = minutes(values)
    trace["set_temp"] = 64.0
    return brew_of(trace, ONE, heater_follows="mash", **fields)


def test_rms_bias_and_sd_of_a_rest_by_hand():
    # deviations 0.5, 0, 1, -0.5, -0.5 at whole minutes: weights 30, 60, 60, 60, 30 s of 240
    # mean = (15 + 0 + 60 - 30 - 15) / 240 = 0.125; mean square = (7.5 + 0 + 60 + 15 + 7.5) / 240 = 0.375
    held = hold(lone([64.5, 64.0, 65.0, 63.5, 63.5]))
    rest = held.rests.loc[1]
    assert rest["hold_bias"] == pytest.approx(0.125)
    assert rest["hold_rms"] == pytest.approx(np.sqrt(0.375))
    assert rest["hold_sd"] == pytest.approx(np.sqrt(0.375 - 0.125**2))
    assert rest["within_half"] == pytest.approx(180 / 240)
    assert rest["within_one"] == pytest.approx(1.0)
    assert rest["overshoot"] == pytest.approx(1.0)
    assert rest["seen"] == pytest.approx(1.0)
    assert held.overall["hold_rms_sd"] == pytest.approx(np.hypot(0.125 / np.sqrt(0.375) * 0.15, 0.02))
    assert held.overall["hold_from"] == "probe"


def test_overshoot_is_zero_when_the_bed_never_rose_above():
    assert hold(lone([63.5, 63.6, 63.9, 63.9])).rests.loc[1, "overshoot"] == 0.0


def test_a_long_gap_is_not_bridged_and_shows_in_the_share_seen():
    # known 0 to 10 and 20 to 30 min: 20 of 30 min; the deviation is 0.2 before and 0.4 behind the gap
    values = np.concatenate([np.full(11, 64.2), np.full(9, np.nan), np.full(11, 64.4)])
    rest = hold(lone(values)).rests.loc[1]
    assert rest["seen"] == pytest.approx(20 / 30)
    assert rest["hold_bias"] == pytest.approx(0.3)
    assert rest["hold_rms"] == pytest.approx(np.sqrt((0.04 + 0.16) / 2))


def test_a_gap_of_five_minutes_is_bridged():
    # one reading in five minutes: 64.2 for 10 + 2.5 of the 25 min, 64.4 for the other 12.5
    values = np.concatenate([np.full(11, 64.2), np.full(4, np.nan), np.full(11, 64.4)])
    rest = hold(lone(values)).rests.loc[1]
    assert rest["seen"] == pytest.approx(1.0)
    assert rest["hold_bias"] == pytest.approx(0.3)


def test_a_stretch_left_out_by_the_reader_is_not_seen():
    fault = TraceFault("stuck", "mash_temp", 600.0, 1200.0, 11, "left out")
    brew = lone(np.full(31, 64.2))
    spoilt = brew_of(brew.trace, ONE, faults=[fault], heater_follows="mash")
    assert hold(brew).rests.loc[1, "seen"] == pytest.approx(1.0)
    assert hold(spoilt).rests.loc[1, "seen"] == pytest.approx(18 / 30)  # 9 to 21 min unknown


def test_a_brew_seen_for_less_than_half_has_no_tightness():
    half = lone(np.concatenate([np.full(16, 64.2), np.full(15, np.nan)]))
    less = lone(np.concatenate([np.full(15, 64.2), np.full(16, np.nan)]))
    assert np.isfinite(hold(half).overall["hold_rms"])
    held = hold(less)
    assert np.isnan(held.overall["hold_rms"])
    assert held.reasons["hold_rms"] == "the bed was seen for only 47 % of the rests"
    assert held.overall["seen"] == pytest.approx(14 / 30)
    assert held.overall["hold_from"] is None
    assert np.isfinite(held.rests.loc[1, "hold_rms"])  # what was seen stays visible


TWO = (Rest("1", 1, 63.0, 10.0), Rest("1", 2, 70.0, 10.0))


def base_controlled():
    """Base at the target, bed late: at 70 degC the base arrives at 17 min, the bed at 22 min."""
    base = np.concatenate([np.full(11, 63.0), 63.0 + np.arange(1, 8), np.full(13, 70.0)])
    bed = np.concatenate([np.full(11, 62.8), 62.8 + 0.7 * np.arange(1, 11), np.full(10, 69.8)])
    target = np.where(np.arange(31) < 10, 63.0, 70.0)
    return minutes(bed, base_temp=base, set_temp=target)


def test_base_control_starts_the_rest_before_the_bed_arrives():
    held = hold(brew_of(base_controlled(), TWO, heater_follows="base"))
    second = held.rests.loc[2]
    assert second["start"] == 17 * 60
    # bed 62.8 + 0.7 k at minute 10 + k comes within 0.5 K of 70 at k = 10: 69.8 at 20 min, three minutes late
    assert second["lateness"] == pytest.approx(3.0)
    assert second["ramp_time"] == pytest.approx(10.0)
    assert second["ramp_rate"] == pytest.approx(0.7)
    # from 17 min deviations -2.3, -1.6, -0.9, then -0.2 until 30 min: weights 0.5, 1, 1, 1 x 9, 1, 0.5 min of 13
    squares = 0.5 * 2.3**2 + 1.6**2 + 0.9**2 + 10.5 * 0.2**2
    assert second["hold_rms"] == pytest.approx(np.sqrt(squares / 13))
    # lead 2.3, 1.6, 0.9, then 0.2 with the same weights
    assert second["lead"] == pytest.approx((0.5 * 2.3 + 1.6 + 0.9 + 10.5 * 0.2) / 13)
    assert held.rests.loc[1, "lateness"] == 0.0
    assert np.isnan(held.rests.loc[1, "ramp_time"])


def test_mash_control_waits_for_the_bed():
    second = hold(brew_of(base_controlled(), TWO, heater_follows="mash")).rests.loc[2]
    assert (second["start"], second["lateness"]) == (20 * 60, 0.0)
    assert second["hold_rms"] == pytest.approx(0.2)


def test_a_recorded_rest_wins_over_the_trace():
    brew = brew_of(base_controlled(), TWO, [("rest", 60.0), ("rest", 18 * 60.0)], heater_follows="base")
    held = hold(brew)
    assert held.rests["start"].tolist() == [60.0, 1080.0]
    assert held.rests.loc[2, "lateness"] == pytest.approx(2.0)


def test_a_bed_that_never_arrives_is_late_by_the_length_of_the_rest():
    trace = base_controlled()
    trace["mash_temp"] = np.minimum(trace["mash_temp"], 69.4)
    second = hold(brew_of(trace, TWO, heater_follows="base")).rests.loc[2]
    assert second["lateness"] == pytest.approx(13.0)
    assert np.isnan(second["ramp_rate"])


def test_an_arrival_hidden_in_a_gap_is_not_known():
    trace = base_controlled()
    trace.loc[18:24, "mash_temp"] = np.nan
    held = hold(brew_of(trace, TWO, heater_follows="base"))
    assert np.isnan(held.rests.loc[2, "lateness"])
    assert held.reasons["lateness"] == "a gap of more than five minutes hides when the bed arrived"


def test_brew_values_are_over_both_rests_by_time():
    held = hold(brew_of(base_controlled(), TWO, heater_follows="base"))
    one, two = held.rests.loc[1], held.rests.loc[2]
    assert (one["end"] - one["start"], two["end"] - two["start"]) == (600.0, 780.0)
    assert held.overall["hold_rms"] == pytest.approx(
        np.sqrt((10 * one["hold_rms"] ** 2 + 13 * two["hold_rms"] ** 2) / 23)
    )
    assert held.overall["hold_bias"] == pytest.approx((10 * one["hold_bias"] + 13 * two["hold_bias"]) / 23)
    assert held.overall["lateness"] == pytest.approx(1.5)
    assert held.overall["ramp_rate"] == pytest.approx(0.7)


@pytest.mark.parametrize("word", ["mash-in", "mash-out"])
def test_mash_in_and_mash_out_do_not_count(word):
    rests = (TWO[0], replace(TWO[1], purpose=word))
    held = hold(brew_of(base_controlled(), rests, heater_follows="base"))
    assert held.overall["hold_rms"] == pytest.approx(held.rests.loc[1, "hold_rms"])
    assert np.isfinite(held.rests.loc[2, "hold_rms"])


def test_the_base_sensor_is_never_taken_for_the_bed():
    trace = base_controlled().drop(columns="mash_temp")
    held = hold(brew_of(trace, TWO, heater_follows="base"))
    assert np.isnan(held.overall["hold_rms"])
    assert held.reasons["hold_rms"] == (
        "no probe in the bed was logged and no reconstructed temperature was given (the base sensor is not the bed)"
    )
    assert held.overall["hold_from"] is None
    assert held.rests["hold_rms"].isna().all()
    assert held.rests.loc[2, "start"] == 17 * 60


def test_base_control_without_a_base_sensor_cannot_tell_when_rests_began():
    trace = base_controlled().drop(columns="base_temp")
    held = hold(brew_of(trace, TWO, heater_follows="base"))
    assert np.isnan(held.overall["hold_rms"])
    assert held.reasons["hold_rms"] == (
        "the controller followed the base, which was not logged, and no rest is recorded in events.csv"
    )
    told = hold(brew_of(trace, TWO, [("rest", 0.0), ("rest", 1020.0)], heater_follows="base"))
    assert told.overall["hold_rms"] == pytest.approx(
        hold(brew_of(base_controlled(), TWO, heater_follows="base")).overall["hold_rms"]
    )


def test_a_reconstructed_bed_carries_its_own_uncertainty():
    trace = base_controlled()
    frame = trace[["elapsed", "mash_temp"]].assign(sd=0.3)
    held = hold(brew_of(trace.drop(columns="mash_temp"), TWO, heater_follows="base"), frame)
    exact = hold(brew_of(trace, TWO, heater_follows="base"))
    assert held.overall["hold_from"] == "reconstructed"
    assert held.overall["hold_rms"] == pytest.approx(np.sqrt(exact.overall["hold_rms"] ** 2 + 0.09))
    assert held.overall["hold_bias"] == pytest.approx(exact.overall["hold_bias"])
    # with one sd for all samples b = m sd and c = sd^2
    rms, bias = held.overall["hold_rms"], held.overall["hold_bias"]
    expected = np.hypot(np.sqrt((bias * 0.3) ** 2 + 0.09**2 / 2) / rms, 0.02)
    assert held.overall["hold_rms_sd"] == pytest.approx(expected)


def test_a_reconstructed_frame_is_checked_at_the_door():
    brew = lone(np.full(31, 64.2))
    with pytest.raises(ValueError, match=r"mash lacks the column\(s\) sd; expected elapsed, mash_temp and sd\."):
        hold(brew, brew.trace)
    frame = pd.DataFrame({"elapsed": [0.0, 0.0], "mash_temp": 64.0, "sd": 0.1})
    with pytest.raises(ValueError, match="does not rise"):
        hold(brew, frame)


def test_a_brew_without_trace_says_so():
    held = hold(brew_of(None, TWO))
    assert held.reasons["hold_rms"] == "no trace of this brew"
    assert held.rests.index.tolist() == [1, 2]
    assert held.overall["hold_from"] is None


def test_rest_temperature_is_the_target_where_nothing_is_planned():
    held = hold(brew_of(base_controlled(), (), heater_follows="base"))
    planned = hold(brew_of(base_controlled(), TWO, heater_follows="base"))
    assert held.overall["hold_rms"] == pytest.approx(planned.overall["hold_rms"])
    assert held.rests["temp"].tolist() == [63.0, 70.0]


def test_a_skipped_rest_keeps_its_row_and_a_reason():
    rests = (TWO[0], Rest("1", 2, 66.5, 10.0), replace(TWO[1], rest=3))
    held = hold(brew_of(base_controlled(), rests, heater_follows="base"))
    assert held.rests["hold_rms"].isna().tolist() == [False, True, False]
    assert held.reasons["rest 2"] == "no stretch at 66.5 degC that the controlling sensor reached was found"


def test_an_unplanned_rest_is_noted_and_does_not_count():
    held = hold(brew_of(base_controlled(), TWO[:1], heater_follows="base"))
    assert held.rests.index.tolist() == [1]
    assert any("70.0 degC" in note and "not in the plan" in note for note in held.notes)


def test_a_trace_that_ends_within_a_rest_says_how_much_of_it_there_is():
    trace = base_controlled()
    held = hold(brew_of(trace, TWO, heater_follows="base"))
    start, end = held.rests.loc[2, ["start", "end"]]
    longer = (TWO[0], replace(TWO[1], time=3 * (end - start) / 60))
    note = "The lift is neither recorded nor to be found: the last rest ends with the trace"
    of_three = hold(brew_of(trace, longer, heater_follows="base"))
    assert f"{note}, after {(end - start) / 60:.0f} of {(end - start) / 20:.0f} planned minutes." in of_three.notes
    as_planned = (TWO[0], replace(TWO[1], time=(end - start) / 60))
    assert f"{note}." in hold(brew_of(trace, as_planned, heater_follows="base")).notes


@pytest.mark.parametrize("control", ["mash", "base"])
def test_sampling_twice_as_often_changes_nothing_that_matters(control):
    fine = hold(brew_of(full_day(control, step=5.0, noise=0.0), PLAN, heater_follows=control)).overall
    coarse = hold(brew_of(full_day(control, step=5.0, noise=0.0).iloc[::4], PLAN, heater_follows=control)).overall
    for name in ("hold_rms", "hold_bias", "within_half", "lead"):
        assert coarse[name] == pytest.approx(fine[name], abs=0.03), name
    assert coarse["mash_time"] == pytest.approx(fine["mash_time"], abs=0.5)


def test_a_later_clock_changes_nothing():
    trace = full_day("base")
    later = trace.assign(elapsed=trace["elapsed"] + 12345.0)
    one, two = (hold(brew_of(frame, PLAN, heater_follows="base")) for frame in (trace, later))
    pd.testing.assert_series_equal(one.overall.drop("hold_from"), two.overall.drop("hold_from"), check_exact=False)
    assert (two.rests["start"] - one.rests["start"]).dropna().unique() == pytest.approx(12345.0)


def test_all_temperatures_a_kelvin_higher_give_the_same_hold():
    trace = full_day("base")
    warmer = trace.copy()
    warmer[["mash_temp", "base_temp", "set_temp"]] += 1.0
    plan = tuple(replace(rest, temp=rest.temp + 1.0) for rest in PLAN)
    one, two = hold(brew_of(trace, PLAN, heater_follows="base")), hold(brew_of(warmer, plan, heater_follows="base"))
    for name in ("hold_rms", "hold_bias", "lateness", "lead", "ramp_rate"):
        assert one.overall[name] == pytest.approx(two.overall[name], nan_ok=True), name


def mash_out_day(seconds: float):
    """A rest and then a mash-out at 76 degC that the bed keeps within 1 K for `seconds`."""
    times = np.arange(0.0, 3001.0, 5.0)
    bed = np.where(times < 1500, 64.0, np.where(times - 1600 <= seconds, 75.2, 74.0))
    bed = np.where((times >= 1500) & (times < 1600), 70.0, bed)
    trace = pd.DataFrame({"elapsed": times, "mash_temp": bed, "base_temp": np.where(times < 1500, 64.0, 76.0)})
    trace["set_temp"] = np.where(times < 1500, 64.0, 76.0)
    return brew_of(trace, (ONE[0], Rest("1", 2, 76.0, purpose="mash-out")), heater_follows="base")


def test_mash_out_needs_five_minutes():
    assert hold(mash_out_day(305.0)).overall["mash_out"] == 1.0
    assert hold(mash_out_day(285.0)).overall["mash_out"] == 0.0


def test_a_plan_without_mash_out_has_none():
    assert hold(lone(np.full(31, 64.0))).overall["mash_out"] == 0.0


def test_mash_time_runs_from_mash_in_to_mash_out():
    held = hold(brew_of(full_day(), PLAN, heater_follows="mash"))
    assert held.overall["mash_time"] == pytest.approx(142 - 60, abs=1.0)
    recorded = brew_of(full_day(), PLAN, [("mash-in", 3900.0), ("mash-out", 8100.0)], heater_follows="mash")
    assert hold(recorded).overall["mash_time"] == pytest.approx(70.0)
    straight = brew_of(full_day(), PLAN[:2], [("mash-in", 3600.0), ("lift", 9000.0)], heater_follows="mash")
    assert hold(straight).overall["mash_time"] == pytest.approx(90.0)


def test_dropouts_while_the_controller_followed_the_base_are_marked():
    trace = full_day("mash", noise=0.02)
    minute = trace["elapsed"] / 60
    for low, high in ((80, 86), (120, 126)):
        trace.loc[(minute > low) & (minute < high), "mash_temp"] = np.nan
    turned = (minute > 81) & (minute < 86)
    trace.loc[turned, "base_temp"] = 63.05  # in the second dropout the base stays 1.2 K above the target
    held = hold(brew_of(trace, PLAN, heater_follows="mash"))
    assert [(round(one.start / 60), round(one.end / 60), one.followed) for one in held.dropouts] == [
        (80, 86, "base"),
        (120, 126, None),
    ]
    assert held.notes == ("While the bed probe was silent the controller followed the base (1 times, 6 min).",)


def test_every_measure_is_a_known_name_with_its_unit():
    held = hold(brew_of(full_day(), PLAN))
    for name in [*held.overall.index.drop("hold_from"), *held.rests.columns.drop(["purpose", "start", "end"])]:
        assert held.units[name] == names()[name].unit


def test_a_hold_reads_well_and_goes_into_json():
    import json

    held = hold(brew_of(full_day("base"), PLAN, heater_follows="base"))
    text = held.summary()
    assert text.startswith("brew 1: rests as held, control by base")
    assert "hold_rms [K]" in text
    assert "hold_from probe" in text
    back = json.loads(json.dumps(held.to_dict()))
    assert back["hold_rms"] == pytest.approx(held.overall["hold_rms"])
    assert len(back["rests"]) == 3
    assert "<pre>" in held._repr_html_()


def test_a_probe_out_of_the_bed_is_left_out_with_a_note():
    trace = full_day("mash", noise=0.02)
    minute = trace["elapsed"] / 60
    usual = hold(brew_of(trace, PLAN, heater_follows="mash"))
    out = (minute >= 85) & (minute < 93)
    trace.loc[out, "mash_temp"] = 25.0 + 38.0 * np.exp(-(minute[out] - 85))
    held = hold(brew_of(trace, PLAN, heater_follows="mash"))
    assert held.overall["hold_rms"] == pytest.approx(usual.overall["hold_rms"], abs=0.02)
    assert held.rests.loc[1, "seen"] == pytest.approx(1 - 8 / 44, abs=0.02)
    assert held.notes == ("From 85 to 93 min the probe read far too cold: taken as out of the bed, left out.",)
    # a probe that is pulled out for the lift is left out without a word
    pulled = full_day("mash", noise=0.02)
    pulled.loc[pulled["elapsed"] >= 159.5 * 60, "mash_temp"] = 25.0
    quiet = hold(brew_of(pulled, PLAN, heater_follows="mash"))
    assert quiet.notes == ()
    assert quiet.rests.loc[3, "hold_rms"] < 0.2
    # a bed that drops by 7 K is believed
    trace.loc[out, "mash_temp"] = 56.0
    assert hold(brew_of(trace, PLAN, heater_follows="mash")).overall["hold_rms"] > 2.0


def test_falling_through_the_first_rest_while_grain_is_stirred_in_is_no_arrival():
    # grain in at 60 min: the bed falls through 63 degC to 60, is back at 63 after 12 min
    trace = full_day("mash", noise=0.0)
    minute = trace["elapsed"] / 60
    dip = np.interp(minute, [60, 63, 66, 72], [67, 60, 60, 63])
    trace["mash_temp"] = np.where((minute >= 60) & (minute < 72), dip, trace["mash_temp"])
    trace["base_temp"] = np.where((minute >= 60) & (minute < 72), dip, trace["base_temp"])
    held = hold(brew_of(trace, PLAN, heater_follows="mash"))
    assert held.rests.loc[1, "start"] / 60 == pytest.approx(71, abs=0.2)
    # a dip that stays within 1 K does not undo an arrival: 63.5 on the way down, at 60 + 3.5 / 4.7 x 3 min
    trace["mash_temp"] = np.where((minute >= 60) & (minute < 72), np.maximum(dip, 62.3), trace["mash_temp"])
    held = hold(brew_of(trace, PLAN, heater_follows="mash"))
    assert held.rests.loc[1, "start"] / 60 == pytest.approx(60 + 3.5 / 7 * 3, abs=0.2)


def test_mash_time_is_not_guessed_where_a_planned_mash_out_cannot_be_found():
    trace = full_day("mash").drop(columns=["set_temp", "mash_temp"])
    assert hold(brew_of(trace, PLAN, heater_follows="mash")).overall["mash_time"] == pytest.approx(82, abs=1)
    late = trace["elapsed"].between(139 * 60, 160 * 60)
    trace.loc[late, "base_temp"] = 72.0  # nobody went on to mash-out, or nobody can see it
    held = hold(brew_of(trace, PLAN, heater_follows="mash"))
    assert np.isnan(held.overall["mash_time"])
    assert held.reasons["mash_time"].startswith("a mash-out was planned, but its beginning")
    assert np.isnan(held.overall["mash_out"])
