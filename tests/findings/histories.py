"""Brew histories with known truth, drawn from one generator: what tests of the findings measure themselves on.

Everything that may coincide with the move of the control sensor can: mill gap, grain bill, learning, something
unwritten.
The sensor causes tightness, mash time and the mash-out reached; the rest merely comes with it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Settings:
    """Sizes of one kind of history. Points are points of efficiency."""

    n: int = 40
    rigs: int = 2
    gain: float = 2.0
    """Points that the usual change of tightness brings."""
    design: str = "switch"
    """`switch`: base to mash once. `pairs`: random order inside pairs."""
    mill_change: float = 0.0
    learning: float = 0.0
    unwritten: float = 0.0
    """Standard deviation of something unwritten that came with the move."""
    missing: float = 0.0
    """Share of settings not recorded."""
    scatter: float = 1.7


@dataclass(frozen=True)
class History:
    """One history: the table that the library sees, and what it does not see."""

    table: pd.DataFrame
    slope: float
    """Points per kelvin of true tightness."""
    true_tight: np.ndarray
    control_effect: float
    """Points that the sensor itself causes: tightness, mash time, mash-out."""
    coefficients: dict[str, float]
    true: pd.DataFrame
    """Settings as they were."""


CENTRES = {"grist": 4.8, "mill_gap": 1.25, "thickness": 3.3, "mash_time": 70.0, "mash_out": 0.5, "sparge": 11.0}
USUAL_CHANGE = 1.25
"""Kelvin of tightness that the move of the sensor usually brings."""


def draw(settings: Settings, seed: int) -> History:
    """Draw one history; the same seed gives the same."""
    rng = np.random.default_rng(seed)
    n = settings.n
    rig = rng.permutation(np.arange(n) % settings.rigs)
    share = np.arange(n) / (n - 1)
    moved = share >= rng.uniform(0.38, 0.62)
    mash = moved.copy()
    if settings.design == "pairs":
        for k in range(settings.rigs):
            mine = np.flatnonzero(rig == k)
            flips = rng.random((len(mine) + 1) // 2) < 0.5
            mash[mine] = np.column_stack([flips, ~flips]).ravel()[: len(mine)]
    came = moved if settings.design == "switch" else np.zeros(n, bool)

    true = pd.DataFrame(
        {
            "grist": CENTRES["grist"] + rng.normal(0, 0.7, n) - 0.3 * (settings.learning > 0) * came,
            "mill_gap": CENTRES["mill_gap"] + np.repeat(rng.normal(0, 0.05, n), 4)[:n] + settings.mill_change * came,
            "thickness": CENTRES["thickness"] + rng.normal(0, 0.3, n),
            "mash_time": CENTRES["mash_time"] + rng.choice([-10.0, 0.0, 0.0, 10.0], n) + 6.0 * mash,
            "mash_out": (rng.random(n) < np.where(mash, 0.9, 0.3)).astype(float),
            "sparge": CENTRES["sparge"] + rng.normal(0, 1.8, n),
        }
    )
    bias = np.where(mash, rng.normal(0, 0.08, n), rng.normal(1.4, 0.5, n))
    swing = np.where(mash, 0.40, 0.75) * np.exp(rng.normal(0, 0.25, n))
    offset = rng.normal(0, 0.2, settings.rigs)[rig]  # of each rig's probe: it hides where that probe controls
    placed = rng.normal(0, 0.15, n)
    true_tight = np.hypot(np.where(mash, bias - offset, bias), swing)
    seen_bias = np.where(mash, bias, bias + offset) + placed
    seen_tight = np.hypot(seen_bias, swing)

    coefficients = {
        "grist": rng.normal(-1.5, 1.0),
        "mill_gap": rng.normal(-8.0, 4.0),
        "thickness": rng.normal(0.6, 0.8),
        "mash_time": rng.normal(0.025, 0.02),
        "mash_out": rng.normal(1.0, 0.8),
        "sparge": rng.normal(0.2, 0.15),
    }
    slope = -settings.gain / USUAL_CHANGE
    u = rng.uniform(1.0, 2.0, n)
    efficiency = 73.0 + slope * (true_tight - 1.0) + rng.normal(0, 2.0, settings.rigs)[rig]
    for name, coefficient in coefficients.items():
        efficiency = efficiency + coefficient * (true[name].to_numpy() - CENTRES[name])
    efficiency = efficiency + settings.learning * np.sqrt(share) + rng.normal(0, 1.0) * settings.unwritten * came
    efficiency = efficiency + rng.normal(0, settings.scatter, n) + u * rng.normal(0, 1, n)

    recorded = true.copy()
    recorded["mill_gap"] = (recorded["mill_gap"] + rng.normal(0, 0.02, n)).round(2)
    for name in recorded:
        recorded.loc[rng.random(n) < settings.missing, name] = np.nan
    table = pd.DataFrame(
        {
            "brew": [f"{k + 1}" for k in range(n)],
            "date": pd.Timestamp("2023-02-03") + pd.to_timedelta(9 * np.arange(n), unit="D"),
            "rig": [("kitchen", "shed", "attic", "yard")[k] for k in rig],
            "control": np.where(mash, "mash", "base"),
            "brewhouse": efficiency,
            "brewhouse_sd": u,
            "hold_rms": seen_tight,
            "hold_rms_sd": np.hypot(np.abs(seen_bias) / seen_tight * 0.15, 0.02),
            "hold_bias": seen_bias,
            "planned_volume": 20.0,
        }
    ).join(recorded)
    changed = {name: true[name][mash].mean() - true[name][~mash].mean() for name in ("mash_time", "mash_out")}
    effect = slope * (true_tight[mash].mean() - true_tight[~mash].mean())
    effect += sum(coefficients[name] * change for name, change in changed.items())
    return History(table, slope, true_tight, float(effect), coefficients, true)


HOME = {"mill_change": -0.15, "learning": 2.0, "missing": 0.08}
"""An ordinary home log: everything that may coincide does."""
