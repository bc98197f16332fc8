"""Stages, rests and the controlling sensor found on drawn days whose times are known."""

from __future__ import annotations

import runpy
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from brewlog.logbook.records import Rest
from brewlog.mash import control_sensor, find_marks, find_stages, match_rests
from brewlog.mash.asked import tidy_purpose
from brewlog.mash.control import tell_control

DAYS = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("days.py"))))
PLAN, TRUTH, brew_of, full_day = DAYS.PLAN, DAYS.TRUTH, DAYS.brew_of, DAYS.full_day

DROPS = {
    "all": [],
    "no target": ["set_temp"],
    "no target, no power": ["set_temp", "power"],
    "base only": ["set_temp", "mash_temp"],
    "target and base": ["mash_temp", "power"],
}


# under mash control the moment of arrival needs the bed's probe
CASES = [(how, what) for what in DROPS for how in ("mash", "base") if how == "base" or "mash_temp" not in DROPS[what]]


@pytest.mark.parametrize(("control", "what"), CASES)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_day_without_events_is_found_in_the_trace(control, what, seed):
    trace = full_day(control, noise=0.1, seed=seed).drop(columns=DROPS[what])
    stages = {(one.kind, one.rest): one for one in find_stages(brew_of(trace, PLAN, heater_follows=control))}
    assert all(one.found for one in stages.values())
    at = {
        ("heat-up", None): (0.0, TRUTH["mash_in"]),
        ("rest", 1): TRUTH["rest 1"],
        ("ramp", 2): TRUTH["ramp 2"],
        ("rest", 2): TRUTH["rest 2"],
        ("ramp", 3): TRUTH["ramp 3"],
        ("mash-out", 3): TRUTH["rest 3"],
        ("lift", None): (TRUTH["lift"], TRUTH["boil"]),
        ("boil", None): (TRUTH["boil"], TRUTH["boil end"]),
        ("cooling", None): (TRUTH["boil end"], 285.0),
    }
    for key, (start, end) in at.items():
        early = 6.0 if key == ("rest", 1) else 2.5  # the first rest begins while the mash still settles
        assert stages[key].start / 60 == pytest.approx(start, abs=early), key
        assert stages[key].end / 60 == pytest.approx(end, abs=2.5), key


def test_recorded_events_win_and_are_marked():
    events = [("heat-up", 60.0), ("mash-in", 3700.0), ("rest", 4000.0), ("mash-out", 8400.0), ("lift", 9700.0)]
    events += [("boil", 11800.0), ("boil end", 15200.0)]
    stages = {(one.kind, one.rest): one for one in find_stages(brew_of(full_day(), PLAN, events))}
    assert (stages["heat-up", None].start, stages["heat-up", None].end) == (60.0, 3700.0)
    assert stages["rest", 1].start == 4000.0
    assert stages["rest", 2].end == 8400.0
    assert (stages["lift", None].start, stages["lift", None].end) == (9700.0, 11800.0)
    assert (stages["boil", None].start, stages["boil", None].end) == (11800.0, 15200.0)
    for key in [("heat-up", None), ("mash-in", None), ("rest", 1), ("lift", None), ("boil", None)]:
        assert not stages[key].found, key
    assert stages["rest", 2].found


def test_marks_say_which_were_found():
    marks = find_marks(brew_of(full_day(), PLAN, [("mash-in", 3600.0), ("boil", 11700.0)]))
    assert marks.found == {"lift", "boil_end"}
    assert marks.lift == pytest.approx(160 * 60, abs=20)
    assert np.isnan(marks.fill)


def test_a_trace_that_begins_with_the_mash():
    trace = full_day()
    trace = trace[(trace["elapsed"] > 4200) & (trace["elapsed"] < 9600)].reset_index(drop=True)
    trace["elapsed"] -= trace["elapsed"].iloc[0]
    stages = find_stages(brew_of(trace, PLAN, heater_follows="mash"))
    assert [one.kind for one in stages] == ["rest", "ramp", "rest", "ramp", "mash-out"]
    assert stages[0].start == 0.0
    assert stages[-1].end == trace["elapsed"].iloc[-1]


def test_a_fall_of_the_base_after_a_ramp_is_not_the_grain():
    trace = full_day("mash", noise=0.0)
    trace = trace[trace["elapsed"] > 110 * 60].reset_index(drop=True)  # begins 2 K and more above the first rest
    marks = find_marks(brew_of(trace, PLAN, heater_follows="mash"))
    assert marks.mash_in == trace["elapsed"].iloc[0]


def test_a_gap_over_a_change_does_not_lose_the_rests():
    trace = full_day()
    keep = (trace["elapsed"] < 105 * 60) | (trace["elapsed"] > 120 * 60)
    spans = match_rests(brew_of(trace[keep].reset_index(drop=True), PLAN, heater_follows="mash"))
    assert [span.rest for span in spans] == [1, 2, 3]
    assert spans[0].end / 60 == pytest.approx(105, abs=0.5)
    assert spans[1].start / 60 == pytest.approx(120, abs=0.5)


def test_a_skipped_rest_has_no_span():
    plan = (PLAN[0], Rest("1", 2, 67.0, 10.0), replace(PLAN[1], rest=3), replace(PLAN[2], rest=4))
    assert [span.rest for span in match_rests(brew_of(full_day(), plan))] == [1, 3, 4]


def test_an_unplanned_rest_has_no_span_and_ends_the_one_before():
    spans = match_rests(brew_of(full_day(), (PLAN[0], PLAN[2]), heater_follows="mash"))
    assert [span.rest for span in spans] == [1, 3]
    assert spans[0].end / 60 == pytest.approx(108, abs=0.5)


def test_a_rest_that_was_never_reached_has_no_span():
    trace = full_day("mash", noise=0.0)
    cold = (trace["elapsed"] > 149 * 60 - 30) & (trace["elapsed"] < 160 * 60)
    climbing = (trace["elapsed"] > 142 * 60) & (trace["elapsed"] < 160 * 60)
    trace.loc[cold | climbing, "mash_temp"] = 75.0
    assert [span.rest for span in match_rests(brew_of(trace, PLAN, heater_follows="mash"))] == [1, 2]
    trace.loc[cold | climbing, "mash_temp"] = 75.5
    assert [span.rest for span in match_rests(brew_of(trace, PLAN, heater_follows="mash"))] == [1, 2, 3]


def test_span_carries_the_plan_and_the_change():
    first, second, third = match_rests(brew_of(full_day(noise=0.0), PLAN, heater_follows="mash"))
    assert np.isnan(first.change)
    assert second.change == 108 * 60
    assert (second.time, second.headroom, second.purpose) == (25.0, 6.0, "saccharification")
    assert not third.counts
    assert second.counts


@pytest.mark.parametrize(("temp", "word"), [(74.5, "mash-out"), (74.4, None)])
def test_a_hot_last_rest_without_purpose_is_a_mash_out(temp, word):
    plan = (PLAN[0], PLAN[1], Rest("1", 3, temp))
    spans = match_rests(brew_of(full_day(noise=0.0), plan))
    assert spans[-1].purpose == word


def test_purposes_are_read_in_any_spelling():
    assert [tidy_purpose(word) for word in ("Mash-Out", "mash out", "mashin", " ", None, "Protein rest")] == [
        "mash-out",
        "mash-out",
        "mash-in",
        None,
        None,
        "Protein rest",
    ]


def test_a_planned_mash_in_rest_is_its_own_stage():
    plan = (replace(PLAN[0], purpose="mash-in"), *PLAN[1:])
    stages = find_stages(brew_of(full_day(), plan, heater_follows="mash"))
    assert [one.kind for one in stages][:3] == ["heat-up", "mash-in", "ramp"]
    assert stages[1].rest == 1


def test_nothing_to_see_gives_nothing():
    assert find_stages(brew_of(None, PLAN)) == ()
    assert match_rests(brew_of(None, PLAN)) == ()
    assert match_rests(brew_of(full_day().drop(columns="set_temp"), ())) == ()


@pytest.mark.parametrize("control", ["mash", "base"])
@pytest.mark.parametrize("drop", [[], ["set_temp"]], ids=["target logged", "no target"])
def test_controlling_sensor_is_told_from_the_trace(control, drop):
    brew = brew_of(full_day(control, noise=0.1).drop(columns=drop), PLAN)
    assert control_sensor(brew) == (control, "trace")


def test_a_recorded_sensor_wins():
    assert control_sensor(brew_of(full_day("base"), PLAN, heater_follows="mash")) == ("mash", "recorded")


@pytest.mark.parametrize(
    ("control", "drop", "told"),
    [
        ("mash", ["base_temp"], "mash"),
        ("mash", ["mash_temp"], "mash"),  # the base stands 1.2 K above the target: something else is on it
        ("base", ["mash_temp"], "base"),
        ("base", ["base_temp"], "base"),  # the bed stands 0.8 K below it
    ],
)
def test_one_sensor_alone_can_tell(control, drop, told):
    assert control_sensor(brew_of(full_day(control).drop(columns=drop), PLAN)) == (told, "trace")


@pytest.mark.parametrize(("shift", "told"), [(-0.7, None), (-0.5, "base"), (0.15, "base"), (0.4, None), (0.8, "mash")])
def test_a_lone_base_sensor_tells_by_the_side_on_which_it_stands(shift, told):
    trace = full_day("base", noise=0.0).drop(columns="mash_temp")
    trace["base_temp"] += shift
    assert control_sensor(brew_of(trace, PLAN))[0] == told


def test_ramps_tell_where_holding_does_not():
    trace = full_day("mash", noise=0.0)
    holding = (trace["base_temp"] - trace["mash_temp"]).between(1.0, 1.4)
    trace.loc[holding, "base_temp"] = trace["mash_temp"] + 0.1
    assert control_sensor(brew_of(trace, PLAN)) == ("mash", "trace")


def test_two_sensors_both_off_the_target_cannot_tell():
    trace = full_day("base", noise=0.0)
    trace["base_temp"] += 1.5
    sensor, source, reason = tell_control(brew_of(trace, PLAN))
    assert (sensor, source) == (None, None)
    assert "neither is clearly on it" in reason
    assert control_sensor(brew_of(None)) == (None, None)
