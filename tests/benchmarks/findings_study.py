"""How well the findings keep their promises over many brew histories with known truth.

Run with ``python tests/benchmarks/findings_study.py [histories] [--n 12 20 40 80] [--kinds home null]``; 1000 histories
of every kind take about an hour on one core (`OPENBLAS_NUM_THREADS=1`), 60 some minutes. Prints one row per kind of
history and length, then what one verdict costs in plain least-squares fits. Ratios of times travel between machines,
times do not.

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

from brewlog.findings import Effect, Relation, explain_change, relate

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
PIECES = ("home", "coincide", "hidden", "own home", "bent: far coefficients")
"""Kinds whose pieces are looked at, too."""
SHORTEST = ("clean", "coincide", "home", "hidden", "randomised", "null", "own home", "own null")
"""Kinds that are drawn with as few as eight brews, too."""


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


def study(draw: Draw, count: int, first: int = 0, with_pieces: bool = True) -> dict[str, float | str]:
    """What `count` histories show, in per cent, points and points per kelvin; `+-` is the Monte-Carlo error."""
    seen, rows = [], []
    held: dict[str, list[bool]] = {}
    for seed in range(first, first + count):
        truth = draw(seed)
        relation = relate(truth.table)
        gain, sides = relation.gain, relation.sides
        told = relation.verdict in ("not settled", "refused") and relation.culprit == "mill_gap"
        seen.append({"verdict": relation.verdict, "told": told, "off": relation.verdict != "refused" and _off(gain)})
        if relation.verdict == "refused" or sides is None:
            continue
        low, high = relation.fit.posterior.along(relation.fit.slope).interval() if relation.fit else (np.nan, np.nan)
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
        if with_pieces:
            for name, inside in pieces_held(truth, relation).items():
                held.setdefault(name, []).append(inside)
    all_, frame = pd.DataFrame(seen), pd.DataFrame(rows)
    shares = {name: 100 * float(np.mean(values)) for name, values in held.items()}
    worst = min(shares, key=shares.__getitem__) if shares else ""
    off = all_["off"].mean()
    linear = frame["error"].notna().any()
    square = frame["error"] ** 2
    rmse = float(np.sqrt(square.mean()))
    return {
        "refused": 100 * (all_["verdict"] == "refused").mean(),
        "slope": 100 * frame["slope"].mean() if linear else np.nan,
        "points": 100 * frame["points"].mean(),
        "+- cover": 100 * np.sqrt(0.05 * 0.95 / len(frame)),
        "off zero": 100 * off,
        "+- off": 100 * np.sqrt(off * (1 - off) / count),
        "supported": 100 * (all_["verdict"] == "supported").mean(),
        "leaning": 100 * (all_["verdict"] == "leaning").mean(),
        "rmse": rmse,
        "+- rmse": float(square.std() / np.sqrt(len(frame)) / 2 / rmse),
        "width": frame["width"].median(),
        "bias": frame["error"].mean(),
        "+- bias": frame["error"].std() / np.sqrt(len(frame)),
        "control 90": 100 * frame["control 90"].mean(),
        "half-width": frame["half-width"].median(),
        "mill named": 100 * all_["told"].mean(),
        "worst piece": shares.get(worst, np.nan),
        "which": worst,
    }


def _off(gain: Effect) -> bool:
    return gain.low > 0 or gain.high < 0


def pieces_held(truth: Truth, relation: Relation) -> dict[str, bool]:
    """Whether the interval of each piece holds what the recorded setting is worth in truth."""
    mash = (truth.table["control"] == "mash").to_numpy()
    pieces = explain_change(truth.table, "base", "mash", relation=relation).pieces
    low, high = pieces["low"].to_dict(), pieces["high"].to_dict()
    held = {}
    for name, values in (truth.pieces | {"hold_rms": truth.tight_points}).items():
        if name in low:
            held[name] = bool(low[name] <= values[mash].mean() - values[~mash].mean() <= high[name])
    return held


def cost(draw: Draw, repeats: int = 40) -> tuple[float, float]:
    """Cost of one verdict with its sentence, and with all tables and notes, in plain OLS fits of the same table.

    Seconds of the processor, so that what else runs on the machine counts for little; the lower quartile of many.
    """
    table = draw(1).table
    settings = ["hold_rms", "grist", "mill_gap", "thickness", "mash_time", "mash_out", "sparge"]
    full = table[settings].fillna(table[settings].mean())
    x = sm.add_constant(full.to_numpy())
    y = table["brewhouse"].to_numpy()

    def seconds(call: Callable[[], object]) -> float:
        times = []
        for _ in range(repeats):
            start = time.process_time()
            call()
            times.append(time.process_time() - start)
        return float(np.quantile(times, 0.25))

    fit = seconds(lambda: sm.OLS(y, x).fit())
    return seconds(lambda: relate(table).sentence) / fit, seconds(lambda: relate(table).summary()) / fit


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description="Findings over many histories with known truth.")
    parser.add_argument("histories", nargs="?", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0, help="seed of the first history")
    parser.add_argument("--n", nargs="+", type=int, default=[8, 12, 20, 40, 80], help="brews per history")
    parser.add_argument("--kinds", nargs="+", help="only these kinds of history")
    args = parser.parse_args()
    found = {}
    for n in args.n:
        for name, draw in (independent_kinds(n) | own_kinds(n)).items():
            chosen = name in args.kinds if args.kinds else n > 8 or name in SHORTEST
            if chosen:
                found[name, n] = study(draw, args.histories, args.first, 12 <= n <= 40 and name in PIECES)
                print(f"{name}, {n} brews: {found[name, n]}", file=sys.stderr, flush=True)
    table = pd.DataFrame.from_dict(found, orient="index")
    table.index = pd.MultiIndex.from_tuples(table.index, names=["history", "brews"])
    print(f"{args.histories} histories each; per cent, points, points per K; +- is the Monte-Carlo error")
    print(table.sort_index(level="history", sort_remaining=True).to_string(float_format="{:.2f}".format))
    for n in (12, 40, 80):
        verdict, everything = cost(own_kinds(n)["own home"])
        print(f"{n} brews: a verdict costs {verdict:.0f} plain OLS fits of its table, with all tables {everything:.0f}")


if __name__ == "__main__":
    main()
