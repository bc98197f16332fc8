"""The watch: what it finds on days with a known fault, and that it keeps quiet on days without."""

from __future__ import annotations

import runpy
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from brewlog.rig import fit_rig
from brewlog.rig.blocked import blocked_bed, blocked_stretches
from brewlog.rig.clocks import clock_shift, clocks, hints
from brewlog.rig.drift import control_chart, heater_drift, heater_outliers
from brewlog.rig.fitting import modelled
from brewlog.rig.flow import FlowCourse, flow_course
from brewlog.rig.jumps import JUMP, probe_jump, probe_out
from brewlog.rig.restamped import Restamped
from brewlog.rig.settling import best_step, falling, step_beside_settling
from brewlog.rig.watch import watch_rig
from brewlog.simulate import brew_record

DRAWN = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("drawn.py"))))
RICHER = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("richer.py"))))
RIG = DRAWN.DrawnRig()


@cache
def days(n=8, seed=6):
    """Usual days, but for number 3, whose bed lets through a third from 35 to 60 min after mash-in."""
    rng = np.random.default_rng(seed)
    block = (2100.0, 3600.0, 0.33)
    return tuple(
        replace(
            DRAWN.draw_brew(RIG, str(k), rng, block=block if k == 3 else None)[0],
            date=date(2024, 1, 6) + timedelta(days=14 * k),
        )
        for k in range(n)
    )


@cache
def fitted():
    return fit_rig(DRAWN.RECORD, days())


def changed(brew, change):
    trace, faults, events = brew.load_trace()
    frame = change(trace.copy())
    return replace(brew, load_trace=lambda: (frame, faults, events))


@pytest.mark.parametrize(("sd", "found"), [(0.2, 1), (0.44, 0)])
def test_a_flow_that_may_be_whole_is_no_blocked_bed(monkeypatch, sd, found):
    logs = np.where(np.isin(np.arange(12), (5, 6, 7)), np.log(0.53), 0.0)
    sds = np.where(logs < 0, sd, 0.1)
    course = FlowCourse(300.0 * np.arange(13), logs, sds, 2.0)
    monkeypatch.setattr("brewlog.rig.blocked.flow_course", lambda brew, fit: course)
    assert len(blocked_stretches(course)) == 1
    assert len(blocked_bed(SimpleNamespace(label="7"), None)) == found


def test_a_blocked_bed_is_found_with_its_start_and_depth():
    (found,) = blocked_bed(days()[3], fitted())
    mash_in = next(e.elapsed for e in days()[3].events if e.event == "mash-in")
    assert found.start == pytest.approx(mash_in + 2100, abs=450)
    assert found.low < 0.33 < found.high or found.size == pytest.approx(0.33, abs=0.12)
    assert "let through only" in found.sentence
    assert "scalds" in found.sentence


def test_days_with_a_free_bed_are_quiet():
    assert [b.label for b in days() if b.label != "3" and blocked_bed(b, fitted())] == []


def test_the_course_of_the_flow_says_where_it_cannot_tell():
    course = flow_course(days()[0], fitted())
    assert course.edges.size == course.logs.size + 1
    assert course.sds.max() > 1.5 * course.sds.min()
    with pytest.raises(ValueError, match="the flow cannot be told"):
        flow_course(replace(days()[0], mash_water=None), fitted())


def test_a_jump_of_the_probe_is_found():
    def jump(frame):
        late = frame["elapsed"] > frame["elapsed"].iloc[-1] - 3000
        frame.loc[late, "mash_temp"] += 1.5
        return frame

    brews = [changed(days()[0], jump), *days()[1:]]
    fit = fit_rig(DRAWN.RECORD, brews)
    (found,) = probe_jump(brews[0], fit)
    assert found.size == pytest.approx(1.5, abs=0.5)
    assert found.start == pytest.approx(days()[0].trace["elapsed"].iloc[-1] - 3000, abs=120)
    assert not any(probe_jump(b, fit) for b in brews[1:] if b.label != "3")


@cache
def settling():
    """Record and clean brews of a rig whose flow falls by a third in an hour as its bed settles."""
    rng = np.random.default_rng([4, 17])
    rig = RICHER.draw_rig(rng, "settling")
    assert rig.setting > 0.29
    return rig.record(), tuple(brew_record(day) for day in RICHER.draw_days(rig, 4, rng))


def mash_in_of(brew):
    return next(e.elapsed for e in brew.events if e.event == "mash-in")


def jumping(brew, seconds, size):
    """The brew with a probe that reads `size` more from so many seconds after mash-in."""

    def change(frame):
        frame.loc[frame["elapsed"] > mash_in_of(brew) + seconds, "mash_temp"] += size
        return frame

    return changed(brew, change)


def test_a_bed_that_settles_is_not_called_a_jump():
    record, brews = settling()
    fit = fit_rig(record, brews)
    hints = [best_step(day.mash, 0) for day in fit.days.values()]
    assert any(abs(hint.size) > JUMP and hint.sigmas > 4 for hint in hints)  # what it would be taken for
    assert [probe_jump(brew, fit) + blocked_bed(brew, fit, weighed=True) for brew in brews] == [[]] * 4


@pytest.mark.parametrize("size", [1.5, -1.5])
def test_a_jump_is_found_where_the_bed_settles(size):
    record, usual = settling()
    brews = [jumping(usual[0], 3600.0, size), *usual[1:]]
    (found,) = watch_rig(fit_rig(record, brews), brews[:1])
    assert found.kind == "probe jump"
    assert found.size == pytest.approx(size, abs=0.4)
    assert found.start == pytest.approx(mash_in_of(usual[0]) + 3600.0, abs=120)


@pytest.mark.parametrize("size", [1.5, -1.5])
def test_less_is_said_of_a_rig_of_one_brew(size):
    record, usual = settling()
    brews = [jumping(usual[0], 3600.0, size)]
    fit = fit_rig(record, brews)
    assert blocked_bed(brews[0], fit)  # what it would be taken for
    assert {f.kind for f in watch_rig(fit, brews)} <= {"probe jump"}


def test_a_jump_is_not_called_a_blocked_bed():
    brews = [jumping(days()[0], 3600.0, -1.5), *days()[1:]]
    fit = fit_rig(DRAWN.RECORD, brews)
    assert blocked_bed(brews[0], fit)  # what it would be taken for
    assert blocked_bed(brews[0], fit, weighed=True) == []
    assert [f.kind for f in watch_rig(fit, brews) if f.brew == "0"] == ["probe jump"]


def test_a_blocked_bed_is_believed_where_a_step_does_not_explain_it():
    assert blocked_bed(days()[3], fitted(), weighed=True) == blocked_bed(days()[3], fitted())


def test_a_step_is_told_from_a_flow_that_falls():
    day = fitted().days["0"]
    (series,) = day.mash.series
    rng = np.random.default_rng(2)
    slower = replace(series, coupling=falling(series, series.elapsed[0], 0.5))
    readings = modelled(day.mash.model, slower, day.mash.constants, day.mash.starts[0], float(day.mash.room_shift[0]))
    at = float(series.elapsed[len(series.elapsed) // 2])
    for true in (0.0, 0.9):
        seen = readings + 0.05 * rng.normal(size=readings.shape)
        seen[series.elapsed > at, 1] += true
        mash = replace(day.mash, series=(replace(series, readings=seen),), residuals=(seen - day.mash.predict(0),))
        step = step_beside_settling(replace(day, mash=mash), fitted().model, 0)
        assert step.size == pytest.approx(true, abs=0.12)
        assert step.rms < 0.08
        assert true == 0 or step.at == pytest.approx(at, abs=60)


def shifted(columns, seconds):
    def change(frame):
        for column in columns:
            frame[column] = np.interp(frame["elapsed"] - seconds, frame["elapsed"], frame[column])
        return frame

    return change


BOTH = ("base_temp", "mash_temp")


@pytest.mark.parametrize(
    ("columns", "seconds", "words"),
    [
        (BOTH, 120.0, "temperatures run about"),
        (BOTH, -90.0, "ahead of the power"),
        (BOTH, 60.0, "behind the power"),
        (BOTH, -300.0, "Shifts below 45 s are not seen"),
        (BOTH, 420.0, "temperatures run about"),
        (("base_temp",), -150.0, "base sensor runs about"),
        (("mash_temp",), 240.0, "bed probe runs about"),
        (("mash_temp",), -120.0, "hides shifts below 80 s, and many below two and a half minutes"),
    ],
    ids=["late", "early", "little", "much", "very much", "base alone", "bed alone", "bed early"],
)
def test_clocks_that_differ_are_found(columns, seconds, words):
    brews = [changed(days()[0], shifted(columns, seconds)), *days()[1:]]
    fit = fit_rig(DRAWN.RECORD, brews)
    (found,) = clocks(brews[0], fit)
    assert words in found.sentence
    assert found.low < seconds < found.high
    # a bed probe's clock is told less well: its lag takes up a part
    assert found.size == pytest.approx(seconds, rel=0.1 if "base_temp" in columns else 0.3)
    assert found.high - found.low < (80.0 if "base_temp" in columns else 180.0)
    assert not any(clocks(b, fit) for b in brews[1:])


def test_two_brews_with_another_clock_are_both_found():
    late, early = (changed(days()[k], shifted(BOTH, s)) for k, s in ((0, 180.0), (5, -180.0)))
    brews = [late, *days()[1:5], early, *days()[6:]]
    fit = fit_rig(DRAWN.RECORD, brews)
    found = [finding for b in brews for finding in clocks(b, fit)]
    assert [(f.brew, np.sign(f.size)) for f in found] == [("0", 1.0), ("5", -1.0)]


def test_another_clock_is_not_called_a_blocked_bed():
    brews = [changed(days()[0], shifted(BOTH, 300.0)), *days()[1:]]
    fit = fit_rig(DRAWN.RECORD, brews)
    assert blocked_bed(brews[0], fit)  # what it would be taken for
    assert [f.kind for f in watch_rig(fit, brews) if f.brew == "0"] == ["clocks differ"]


def test_a_blocked_bed_is_not_called_another_clock():
    usual = [day.mash.rms["pooled"] for day in fitted().days.values()]
    assert fitted().days["3"].mash.rms["pooled"] > 1.25 * np.median(usual)
    assert clock_shift(fitted().days["3"], fitted()).channel == "bed"  # a bed that lets little through is late
    assert clocks(days()[3], fitted()) == []


def test_a_shift_shows_in_the_rates_before_it_shows_in_the_size_of_the_residuals(monkeypatch):
    brews = [changed(days()[0], shifted(BOTH, 60.0)), *days()[1:]]
    fit = fit_rig(DRAWN.RECORD, brews)
    assert hints(fit.days["0"])["temperatures"] > 0.3
    assert max(hints(fit.days["1"]).values()) < 0.15
    monkeypatch.setattr("brewlog.rig.clocks.SUSPECT", 1e9)
    assert clocks(brews[0], fit)


def test_what_base_sensor_and_both_sensors_explain_alike_is_left_open(monkeypatch):
    brews = [changed(days()[0], shifted(BOTH, 120.0)), *days()[1:]]
    fit = fit_rig(DRAWN.RECORD, brews)
    (told,) = clocks(brews[0], fit)
    monkeypatch.setattr("brewlog.rig.clocks.AKIN", 1e9)
    (open_,) = clocks(brews[0], fit)
    words = "Whether both sensors or the base sensor alone were stamped so, these readings do not tell."
    assert words in open_.sentence
    assert words not in told.sentence
    assert open_.high - open_.low > told.high - told.low


def test_moved_readings_are_fitted_from_what_the_other_brews_tell():
    day = fitted().days["0"]  # its own fit may be bent to wrong times
    bent = replace(day, mash=replace(day.mash, constants={**day.mash.constants, "bed_flow": 9.0, "heat_share": 0.5}))
    squares = [Restamped(one, fitted()).squares(60.0, (1,)) for one in (day, bent)]
    assert squares[1] == pytest.approx(squares[0])


def test_equal_clocks_are_told_to_be_so():
    for label in ("0", "1", "2"):
        shift = clock_shift(fitted().days[label], fitted())
        assert abs(shift.seconds) < 20
        assert shift.left > 0.9


def test_a_probe_out_of_the_bed_is_named_and_left_out():
    def slip(frame):
        end = frame["elapsed"].iloc[-1]
        out = (frame["elapsed"] > end - 3000) & (frame["elapsed"] < end - 2500)
        frame.loc[out, "mash_temp"] = 32.0
        return frame

    brews = [changed(days()[0], slip), *days()[1:]]
    fit = fit_rig(DRAWN.RECORD, brews)
    (found,) = probe_out(brews[0], fit)
    assert found.start == pytest.approx(days()[0].trace["elapsed"].iloc[-1] - 3000, abs=60)
    assert found.size == pytest.approx(500 / 60, abs=1.5)
    assert "left out" in found.sentence
    (series,) = fit.days["0"].mash.series
    out = (series.elapsed > found.start + 30) & (series.elapsed < found.end - 30)
    assert out.sum() > 20
    assert np.isnan(series.readings[out, 1]).all()
    assert fit.per_brew.loc["0", "bed_flow"] == pytest.approx(fitted().per_brew.loc["0", "bed_flow"], rel=0.1)


def test_a_brew_whose_heater_gave_much_less_is_named():
    fit, _ = _with_shares([0.93, 0.94, 0.92, 0.93, 0.94, 0.75, 0.93, 0.92, 0.94, 0.93, 0.92, 0.93])
    (found,) = heater_outliers(fit)
    assert found.brew == "5"
    assert found.size < -15
    assert "litres written down" in found.sentence


def _with_shares(shares):
    labels = [str(k) for k in range(len(shares))]
    fit = replace(fitted(), per_brew=pd.DataFrame({"heat_share": shares}, index=labels))
    return fit, {label: date(2023, 1, 1) + timedelta(days=12 * k) for k, label in enumerate(labels)}


def test_drift_of_the_heater_lies_in_its_interval():
    # -8 % over 60 brews, 3 % scatter of mains power: half-width at most 3 %; 100 logs, 95 % intervals
    rng, held, widths = np.random.default_rng(8), 0, []
    for _ in range(100):
        fit, dates = _with_shares(0.93 * np.exp(np.linspace(0, np.log(0.92), 60) + 0.03 * rng.normal(size=60)))
        found = heater_drift(fit, dates)
        held += found.low < -8 < found.high
        widths.append((found.high - found.low) / 2)
    assert held >= 88  # 88 or fewer of 100 has probability 0.005 at 95 %
    assert np.median(widths) < 3.0
    assert "lost" in found.sentence
    assert "electrician" in found.sentence


def test_a_heater_that_does_not_drift_is_not_reported():
    rng = np.random.default_rng(3)
    fit, dates = _with_shares(0.93 + 0.02 * rng.normal(size=30))
    found = heater_drift(fit, dates)
    assert found.low < 0 < found.high
    assert heater_drift(*_with_shares([0.9] * 4)) is None


def test_control_chart_limits():
    # Shewhart: centre +- 2.66 x mean moving range
    chart = control_chart(pd.Series([1.0, 1.1] * 10 + [1.6]))
    assert chart["out"].tolist() == [False] * 20 + [True]
    assert chart["high"].iloc[0] - chart["centre"].iloc[0] == pytest.approx(2.66 * (19 * 0.1 + 0.5) / 20)


def test_the_whole_watch_finds_the_blocked_bed_alone():
    kinds = [(f.kind, f.brew) for f in watch_rig(fitted(), days())]
    assert kinds == [("blocked bed", "3")]
