"""Fits of plain arrays that find their own start, and several runs taken together."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from brewlog.rig.arrays import combine_runs, fit_two_node
from brewlog.rig.fitting import correlation_length

RUNS = [f"{kind}_run_{number}" for kind in ("step_50", "sin_2_50", "sin_5_50", "sin_50_50") for number in (1, 2)]


def fit_run(folder, run, **options):
    frame = pd.read_csv(folder / f"{run}.csv")
    return fit_two_node(
        frame["Time"].to_numpy(),
        0.032 * frame["Q1"].to_numpy(),  # W per %: as the source of the data takes it
        frame["T1"].to_numpy(),
        frame["T2"].to_numpy(),
        ambient_temp=float(frame["T1"].iloc[0]),
        base_lagged=True,
        loss_at_base=None,
        **options,
    )


@pytest.fixture(scope="module")
def fits(open_data):
    return [fit_run(open_data, run) for run in RUNS]


def test_real_runs_are_met_without_a_start_being_given(fits):
    assert max(fit.rms["pooled"] for fit in fits) <= 0.20


def test_what_the_runs_do_not_tell_singly_is_said(fits):
    table = combine_runs(fits)
    assert table.loc["bed_conductance", "verdict"].startswith("only as ratio")
    assert table.loc["mash_heat_capacity", "verdict"].startswith("only as ratio")
    # 0.0022 to 0.0026 per s, as the source of the data has it
    ratio = table.loc["bed_conductance / mash_heat_capacity"]
    assert ratio["verdict"] == "identified"
    assert ratio["low"] < 0.0024 < ratio["high"] + 2e-4
    assert table.loc["base_heat_capacity", "verdict"] == "identified"


def test_in_the_limit_of_a_light_second_body_the_published_constants_come_out(open_data):
    # printed with the data: loss 0.041 to 0.049 W/K, heater capacity 5.6 to 6.7 J/K
    for run in RUNS:
        fit = fit_run(open_data, run, fixed={"mash_heat_capacity": 1e-3})
        assert 0.041 <= fit.constants["heat_loss"] <= 0.049
        assert 5.6 <= fit.constants["base_heat_capacity"] <= 6.7


def test_repeats_lie_inside_the_interval_for_one_more_run(fits):
    table = combine_runs(fits)
    for name in ("base_heat_capacity", "heat_loss", "probe_lag"):
        values = np.array([fit.constants[name] for fit in fits])
        assert table.loc[name, "spread"] == pytest.approx(values.std(ddof=1))
        assert np.all(np.abs(values - table.loc[name, "estimate"]) < 3 * table.loc[name, "spread"])


def test_one_run_has_no_spread():
    with pytest.raises(ValueError, match="two or more are needed"):
        combine_runs([])


def test_correlation_length_of_autoregressive_noise():
    # AR(1) with coefficient r: (1 + r) / (1 - r)
    rng = np.random.default_rng(0)
    noise = np.zeros(200_000)
    for k in range(1, noise.size):
        noise[k] = 0.8 * noise[k - 1] + rng.normal()
    assert correlation_length(noise) == pytest.approx(9.0, rel=0.1)
