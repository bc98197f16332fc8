"""Time weights, arrivals, levels and their match with a plan."""

from __future__ import annotations

import runpy
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from statsmodels.stats.weightstats import DescrStatsW

from brewlog.logbook.records import Rest, TraceFault
from brewlog.mash.levels import Level, match_levels, plateaus, set_levels
from brewlog.mash.measures import moments, probe_hold_sd, reconstructed_hold_sd, share_within
from brewlog.mash.samples import first_within, known_samples, time_weights

DAYS = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("days.py"))))
brew_of, full_day = DAYS.brew_of, DAYS.full_day


def test_each_sample_holds_half_the_interval_on_both_sides():
    # intervals 10, 20, 40 s: 5, 5 + 10, 10 + 20, 20
    np.testing.assert_allclose(time_weights([0, 10, 30, 70]), [5, 15, 30, 20])


def test_an_interval_of_five_minutes_is_bridged_and_a_longer_one_is_not():
    np.testing.assert_allclose(time_weights([0, 300]), [150, 150])
    np.testing.assert_allclose(time_weights([0, 301]), [0, 0])
    np.testing.assert_allclose(time_weights([0, 10, 400, 420]), [5, 5, 10, 10])


def test_only_time_inside_the_stretch_counts():
    # from 4 to 25 s: first sample 4 to 5, second 5 to 15 and 15 to 20, third 20 to 25
    np.testing.assert_allclose(time_weights([0, 10, 30], 4.0, 25.0), [1, 15, 5])
    assert time_weights([5.0]).tolist() == [0.0]
    assert time_weights([]).size == 0


def test_weights_sum_to_the_seen_time_whatever_the_sampling():
    rng = np.random.default_rng(1)
    times = np.cumsum(rng.uniform(1, 400, 500))
    seen = sum(gap for gap in np.diff(times) if gap <= 300)
    assert time_weights(times).sum() == pytest.approx(seen)


def test_moments_agree_with_weighted_statistics_of_statsmodels():
    # DescrStatsW (statsmodels): mean, and sum of squares about a value, with frequency weights
    rng = np.random.default_rng(2)
    weights, values = rng.uniform(1, 30, 200), rng.normal(-0.4, 0.8, 200)
    rms, mean, spread = moments(weights, values, np.zeros(200))
    other = DescrStatsW(values, weights=weights, ddof=0)
    assert mean == pytest.approx(other.mean, rel=1e-12)
    assert spread == pytest.approx(other.std, rel=1e-12)
    assert rms == pytest.approx(np.sqrt(DescrStatsW(values**2, weights=weights).mean), rel=1e-12)


def test_probe_offset_shows_only_in_a_mean_deviation():
    assert probe_hold_sd(1.0, 0.0) == pytest.approx(0.02)
    assert probe_hold_sd(1.0, -1.0) == pytest.approx(np.hypot(0.15, 0.02))
    assert probe_hold_sd(0.0, 0.0) == pytest.approx(0.02)


def test_reconstructed_sd_agrees_with_drawing_the_shared_error():
    rng = np.random.default_rng(3)
    weights, off, sd = rng.uniform(5, 15, 300), rng.normal(-1.2, 0.3, 300), rng.uniform(0.1, 0.4, 300)
    shared = rng.standard_normal(20000)
    squares = ((off[:, None] + sd[:, None] * shared) ** 2 * weights[:, None]).sum(axis=0) / weights.sum()
    rms = moments(weights, off, sd)[0]
    assert rms == pytest.approx(np.sqrt(squares.mean()), rel=0.01)
    assert reconstructed_hold_sd(weights, off, sd) == pytest.approx(np.sqrt(squares).std(), rel=0.05)


def test_share_within_counts_the_edge_and_expects_where_it_must():
    weights = np.array([1.0, 1.0, 2.0])
    assert share_within(weights, np.array([0.5, -0.51, 0.0]), np.zeros(3), 0.5) == pytest.approx(0.75)
    # a normal deviation of mean 0 and sd 0.5 lies within 0.5 in 68.27 % of cases
    assert share_within(np.ones(1), np.zeros(1), np.full(1, 0.5), 0.5) == pytest.approx(0.6827, abs=1e-4)
    assert np.isnan(share_within(np.zeros(2), np.zeros(2), np.zeros(2), 0.5))


def test_arrival_is_the_first_sample_inside_or_past_the_band():
    times = np.array([0.0, 60.0, 120.0, 180.0])
    assert first_within(times, np.array([62.0, 62.49, 62.5, 63.0]), 63.0, 0, 180) == 120.0
    assert first_within(times, np.array([61.0, 62.0, 64.0, 65.0]), 63.0, 0, 180) == 120.0
    assert np.isnan(first_within(times, np.array([61.0, 62.0, 62.4, 62.4]), 63.0, 0, 180))
    assert first_within(times, np.full(4, 63.0), 63.0, 61.0, 180) == 120.0


def test_only_spoilt_stretches_that_were_left_out_are_unknown():
    trace = full_day()
    spoilt = TraceFault("stuck", "mash_temp", 4200.0, 4500.0, 31, "left out")
    kept = TraceFault("stuck", "mash_temp", 4200.0, 4500.0, 31, "kept")
    times, _ = known_samples(brew_of(trace, faults=[spoilt]), "mash_temp")
    assert not ((times >= 4200) & (times <= 4500)).any()
    assert known_samples(brew_of(trace, faults=[kept]), "mash_temp")[0].size == len(trace)
    assert known_samples(brew_of(trace, faults=[spoilt]), "base_temp")[0].size == len(trace)


def test_levels_of_a_target_that_steps():
    times = np.arange(0.0, 3600.0, 30.0)
    levels = set_levels(times, np.where(times < 1200, 63.0, np.where(times < 2400, 71.0, 76.0)))
    assert levels == (Level(63.0, 0.0, 1200.0), Level(71.0, 1200.0, 2400.0), Level(76.0, 2400.0, 3570.0))


def test_a_target_raised_little_by_little_leaves_a_gap_between_levels():
    times = np.arange(0.0, 3001.0, 60.0)
    levels = set_levels(times, np.interp(times, [0, 1200, 1800, 3000], [63, 63, 71, 71]))
    assert [level.temp for level in levels] == [63.0, 71.0]
    assert levels[0].end == 1260.0
    assert levels[1].start == pytest.approx(1800.0, abs=60)


def test_a_slip_of_the_target_does_not_end_a_level():
    times = np.arange(0.0, 1801.0, 30.0)
    setting = np.full(times.size, 63.0)
    setting[20:22] = 36.0
    assert [(one.start, one.end) for one in set_levels(times, setting)] == [(0.0, 1800.0)]
    setting[20:26] = 36.0  # three minutes are meant
    assert len(set_levels(times, setting)) == 3


def test_a_change_hidden_in_a_gap_is_put_on_neither_side():
    times = np.concatenate([np.arange(0.0, 901.0, 30.0), np.arange(1800.0, 2701.0, 30.0)])
    levels = set_levels(times, np.where(times < 1000, 63.0, 71.0))
    assert (levels[0].end, levels[1].start) == (900.0, 1800.0)


@pytest.mark.parametrize("step", [5.0, 30.0, 60.0])
def test_plateaus_of_a_noisy_temperature(step):
    times = np.arange(0.0, 6000.0, step)
    rng = np.random.default_rng(4)
    temps = np.interp(times, [0, 2400, 3000, 4800, 5400, 6000], [63, 63, 71, 71, 76, 76])
    found = plateaus(times, temps + 0.07 * rng.standard_normal(times.size))
    assert [level.temp for level in found] == pytest.approx([63, 71, 76], abs=0.15)
    assert [level.start for level in found] == pytest.approx([0, 3000, 5400], abs=150)


REST_PLAN = [Rest("1", k + 1, temp) for k, temp in enumerate([63.0, 66.0, 72.0, 77.0])]


def levels_at(*temps: float) -> list[Level]:
    return [Level(temp, 1000.0 * k, 1000.0 * k + 900) for k, temp in enumerate(temps)]


@pytest.mark.parametrize(
    ("temps", "pairs"),
    [
        ((63, 66, 72, 77), {0: 0, 1: 1, 2: 2, 3: 3}),
        ((63, 72, 77), {0: 0, 1: 2, 2: 3}),  # one skipped
        ((63, 66, 69, 72, 77), {0: 0, 1: 1, 3: 2, 4: 3}),  # one too many
        ((68.5, 63, 66, 72, 77), {1: 0, 2: 1, 3: 2, 4: 3}),  # strike
        ((64.5, 67.5, 73.5, 78.5), {0: 0, 1: 1, 2: 2, 3: 3}),  # target set above the rest
        ((50,), {}),
        ((), {}),
        ((77, 63), {1: 0}),  # order is kept: only one of the two can be matched
    ],
)
def test_levels_match_rests_by_temperature_and_order(temps, pairs):
    found = match_levels(levels_at(*temps), REST_PLAN)
    if temps == (77, 63):
        assert found in ({1: 0}, {0: 3})
    else:
        assert found == pairs


def test_of_two_levels_at_one_temperature_the_longer_is_the_rest():
    short, long = Level(66.0, 0, 200), Level(66.1, 300, 3000)
    assert match_levels([short, long], [Rest("1", 1, 66.0)]) == {1: 0}
