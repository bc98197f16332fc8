"""How well the findings keep their promises over many brew histories with known truth.

Run with ``python tests/benchmarks/findings_study.py [histories] [--n 12 20 40 80] [--kinds home null]``; 1000 histories
of every kind take some hours on one core, 60 some minutes. Prints one row per kind of history and length, then what one
verdict costs in plain least-squares fits. Ratios of times travel between machines, times do not.

Histories come from the generator of the tests and, where BREWLOG_OPEN_DATA names its folder, from an independent one.
"""

from __future__ import annotations

import argparse
import importlib.util
import os
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pandas as pd
import statsmodels.api as sm

from brewlog.findings import explain_change, relate

ROOT = Path(__file__).resolve().parents[2]
INDEPENDENT = Path(os.environ.get("BREWLOG_OPEN_DATA", ROOT.parent / "shared")) / "inference" / "world.py"
NAMES = {
    "eff": "brewhouse",
    "u_eff": "brewhouse_sd",
    "tight_K": "hold_rms",
    "u_tight": "hold_rms_sd",
    "mill": "mill_gap",
    "thick": "thickness",
    "time": "mash_time",
    "mashout": "mash_out",
}


@dataclass(frozen=True)
class Truth:
    """A history as the library sees it, and what it does not see."""

    table: pd.DataFrame
    tight_points: np.ndarray
    """Points that each brew's true tightness is worth."""
    slope: float
    """Points per kelvin; NaN where points do not go linearly with tightness."""
    pieces: dict[str, np.ndarray]
    """Points that each recorded setting is worth, per brew."""
    control_effect: float


Draw = Callable[[int], Truth]


def load(file: Path, name: str) -> ModuleType:
    """Import a module from a file that is not part of the package."""
    spec = importlib.util.spec_from_file_location(name, file)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module  # dataclasses look their module up
    sys.dont_write_bytecode = True  # the folder may be read-only
    spec.loader.exec_module(module)
    return module


def own_kinds(n: int) -> dict[str, Draw]:
    """Kinds of history drawn by the generator of the tests: here the sensor also moves mash time and mash-out."""
    made = load(ROOT / "tests" / "findings" / "histories.py", "findings_histories")
    settings = {
        "own clean": {},
        "own home": made.HOME,
        "own null": made.HOME | {"gain": 0.0},
        "own unwritten": made.HOME | {"unwritten": 1.5},
        "own pairs": {"design": "pairs", "learning": 2.0},
        "own mill and sensor": {"mill_change": -0.25},
    }

    def draw(values: dict[str, Any], seed: int) -> Truth:
        history = made.draw(made.Settings(n=n, **values), seed)
        pieces = {name: b * history.true[name].to_numpy() for name, b in history.coefficients.items()}
        points = history.slope * history.true_tight
        return Truth(history.table, points, history.slope, pieces, history.control_effect)

    return {name: lambda seed, values=values: draw(values, seed) for name, values in settings.items()}


def independent_kinds(n: int) -> dict[str, Draw]:
    """Kinds of history drawn by the independent generator; none where it is not on this machine."""
    if not INDEPENDENT.is_file():
        return {}
    w = load(INDEPENDENT, "history_world")
    kinds = {
        "clean": w.World(n=n),
        "coincide": w.typical(n=n, miss=0.0),
        "home": w.typical(n=n),
        "hidden": w.typical(0.5, hidden=1.5, n=n),
        "randomised": w.World(design="random", drift=2.0, miss=0.05, n=n),
        "null clean": w.World(n=n, effect=0.0),
        "null": w.typical(n=n, effect=0.0),
        "null hidden": w.typical(0.5, hidden=1.5, n=n, effect=0.0),
        "null randomised": w.World(design="random", drift=2.0, miss=0.05, n=n, effect=0.0),
        "bent: moved at different dates": w.typical(n=n, stagger=0.5),
        "bent: ruined brews": w.typical(n=n, tail="outlier"),
        "bent: scatter doubled": w.typical(n=n, sigma=3.5),
        "bent: scatter halved": w.typical(n=n, sigma=0.9),
        "bent: correlated scatter": w.typical(n=n, ar=0.4),
        "bent: loss as the square": w.typical(n=n, shape="square"),
        "bent: far coefficients": w.typical(n=n, coef_far=2.0),
        "bent: gap unlogged before": w.typical(n=n, miss_block=True),
    }
    kinds |= {f"null {name}": world.but(effect=0.0) for name, world in kinds.items() if name.startswith("bent")}

    def draw(world: Any, seed: int) -> Truth:
        d = w.simulate(world, seed)
        points, mash = d["parts"]["tight"], d["sensor"] == 1
        pieces = {NAMES.get(name, name): d["parts"][name] for name in w.COVARIATES}
        slope = d["beta"] if world.shape == "linear" else np.nan
        effect = points[mash].mean() - points[~mash].mean()
        return Truth(w.frame(d).rename(columns=NAMES), points, slope, pieces, float(effect))

    return {name: lambda seed, world=world: draw(world, seed) for name, world in kinds.items()}


def study(draw: Draw, count: int) -> dict[str, float]:
    """What `count` histories show, in per cent, points and points per kelvin."""
    verdicts: list[str] = []
    culprits: list[str | None] = []
    seen, rows, held = [], [], []
    for seed in range(count):
        truth = draw(seed)
        relation = relate(truth.table)
        verdicts.append(relation.verdict)
        culprits.append(relation.culprit)
        if relation.verdict == "refused":
            seen.append(False)
            continue
        gain, sides = relation.gain, relation.sides
        assert sides is not None
        low, high = relation.conf_int().loc["hold_rms"]
        seen.append(low > 0 or high < 0)
        points = truth.tight_points
        control = relation.control_effect.conf_int(0.90)
        rows.append(
            {
                "slope": low <= truth.slope <= high,
                "points": gain.low <= points[sides.tight].mean() - points[~sides.tight].mean() <= gain.high,
                "control 90": control["low"] <= truth.control_effect <= control["high"],
                "half-width": (control["high"] - control["low"]) / 2,
                "width": high - low,
                "error": relation.params["hold_rms"] - truth.slope,
            }
        )
        mash = (truth.table["control"] == "mash").to_numpy()
        pieces = explain_change(truth.table, "base", "mash", relation=relation).pieces
        for name, values in (truth.pieces | {"hold_rms": points}).items():
            if name in pieces.index:
                value = values[mash].mean() - values[~mash].mean()
                held.append(pieces.loc[name, "low"] <= value <= pieces.loc[name, "high"])
    frame = pd.DataFrame(rows, columns=["slope", "points", "control 90", "half-width", "width", "error"])
    told = [v in ("not settled", "refused") and c == "mill_gap" for v, c in zip(verdicts, culprits, strict=True)]
    return {
        "refused": 100 * verdicts.count("refused") / count,
        "slope": 100 * frame["slope"].mean() if frame["error"].notna().any() else np.nan,
        "points": 100 * frame["points"].mean(),
        "+-": 100 * np.sqrt(0.05 * 0.95 / max(len(frame), 1)),
        "control 90": 100 * frame["control 90"].mean(),
        "half-width": frame["half-width"].median(),
        "pieces": 100 * float(np.mean(held)) if held else np.nan,
        "off zero": 100 * float(np.mean(seen)),
        "supported": 100 * verdicts.count("supported") / count,
        "mill named": 100 * float(np.mean(told)),
        "rmse": float(np.sqrt((frame["error"] ** 2).mean())),
        "width": frame["width"].median(),
        "bias": frame["error"].mean(),
    }


def cost(draw: Draw, repeats: int = 30) -> tuple[float, float]:
    """Cost of one verdict with its sentence, and with all tables and notes, in plain OLS fits of the same table."""
    table = draw(1).table
    settings = ["hold_rms", "grist", "mill_gap", "thickness", "mash_time", "mash_out", "sparge"]
    full = table[settings].fillna(table[settings].mean())
    x = sm.add_constant(full.to_numpy())
    y = table["brewhouse"].to_numpy()

    def fastest(call: Callable[[], object]) -> float:
        times = []
        for _ in range(repeats):
            start = time.perf_counter()
            call()
            times.append(time.perf_counter() - start)
        return float(np.median(times))

    fit = fastest(lambda: sm.OLS(y, x).fit().conf_int())
    return fastest(lambda: relate(table).sentence) / fit, fastest(lambda: relate(table).summary()) / fit


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description="Findings over many histories with known truth.")
    parser.add_argument("histories", nargs="?", type=int, default=1000)
    parser.add_argument("--n", nargs="+", type=int, default=[12, 20, 40, 80], help="brews per history")
    parser.add_argument("--kinds", nargs="+", help="only these kinds of history")
    args = parser.parse_args()
    found = {}
    for n in args.n:
        kinds = independent_kinds(n) | own_kinds(n)
        for name, draw in kinds.items():
            if args.kinds is None or name in args.kinds:
                found[name, n] = study(draw, args.histories)
                print(f"{name}, {n} brews done", file=sys.stderr, flush=True)
    table = pd.DataFrame.from_dict(found, orient="index")
    table.index.names = ["history", "brews"]
    print(f"{args.histories} histories each; per cent, points, points per K; +- is the Monte-Carlo error of a coverage")
    print(table.sort_index(level="history", sort_remaining=True).to_string(float_format="{:.2f}".format))
    verdict, everything = cost(own_kinds(40)["own home"])
    print(
        f"one verdict costs {verdict:.0f} plain least-squares fits of the same table, with all tables {everything:.0f}"
    )


if __name__ == "__main__":
    main()
