"""Brews, a rig and a table to draw."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest

mpl.use("Agg")

from brewlog.simulate import KITCHEN, BrewPlan, PlannedRest, brew_record, simulate_day

RESTS = (PlannedRest(64.0, 30.0), PlannedRest(71.0, 20.0), PlannedRest(76.0, 8.0, "mash-out", headroom=6.0))


def brewed(label: str, follows: str, seed: int, **plan):
    day = simulate_day(
        KITCHEN, BrewPlan(label, heater_follows=follows, rests=RESTS, **plan), np.random.default_rng(seed)
    )
    return brew_record(day, date(2024, 1, 1 + seed))


@pytest.fixture(scope="session")
def base_brew():
    return brewed("b1", "base", 1)


@pytest.fixture(scope="session")
def mash_brew():
    return brewed("m1", "mash", 2)


@pytest.fixture(scope="session")
def blind_brew():
    return brewed("b2", "base", 3, bed_probe=False)


@pytest.fixture(scope="session")
def fit():
    from brewlog.rig import fit_rig

    brews = [brewed(f"{word}{seed}", word, seed) for seed, word in enumerate(["base", "mash", "base", "mash"], start=4)]
    return fit_rig(KITCHEN.record(), brews)


@pytest.fixture
def reconstructed(blind_brew):
    trace = blind_brew.trace
    inside = trace[trace["elapsed"].between(3600.0, 7200.0)]
    return pd.DataFrame({"elapsed": inside["elapsed"], "mash_temp": inside["base_temp"] - 1.0, "sd": 0.3})


@pytest.fixture(scope="session")
def table():
    rng = np.random.default_rng(9)
    n = 24
    late = np.arange(n) >= 12
    tight = np.where(late, 0.5, 1.6) + 0.2 * rng.random(n)
    frame = pd.DataFrame(
        {
            "brew": [f"n{k}" for k in range(n)],
            "date": pd.date_range("2023-01-07", periods=n, freq="21D"),
            "rig": ["kitchen", "shed"] * (n // 2),
            "control": np.where(late, "mash", "base"),
            "brewhouse": 76.0 - 2.5 * tight + 1.5 * rng.standard_normal(n),
            "brewhouse_sd": 1.4,
            "hold_rms": tight,
            "hold_rms_sd": 0.1,
            "hold_bias": -0.8 * tight,
            "mill_gap": np.where(late, 1.05, 1.2) + 0.02 * rng.standard_normal(n),
            "grist": 5.0 + 0.3 * rng.standard_normal(n),
            "planned_volume": 24.0,
        }
    )
    frame.loc[3, "brewhouse"] = np.nan
    frame.loc[7, "hold_rms"] = np.nan
    return frame


@pytest.fixture(autouse=True)
def _close_and_keep_style():
    from matplotlib import pyplot as plt

    before = dict(mpl.rcParams)
    yield
    plt.close("all")
    assert dict(mpl.rcParams) == before, "a figure changed a global style"


@pytest.fixture
def without_trace(base_brew):
    return replace(base_brew, load_trace=None)
