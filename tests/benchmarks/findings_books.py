"""What the findings say of whole simulated logbooks: layered mash, two rigs, a control sensor that moves mash time too.

Run with ``python tests/benchmarks/findings_books.py [books] [--first 3000] [--kinds effect null] [--cache FOLDER]``.
Each book is simulated from the traces up, calibrated and read by `brew_table`; the truth is the same brews under the
other sensor with the same luck. One book of 44 brews takes about half a minute; the cache keeps its table and its
truth. Prints one row per book and one per kind.
"""

from __future__ import annotations

import argparse
import pickle
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from brewlog.findings import brew_table, relate
from brewlog.logbook import read_logbook
from brewlog.simulate import KITCHEN, SHED, HistorySettings, SimulatedRig, simulate_history, write_history

MILL_STEP = -0.25
"""Change of the mill that comes with the sensor. [mm]"""


@dataclass(frozen=True)
class Book:
    """A book as the library sees it, and the truth."""

    table: pd.DataFrame
    effect: float
    """Mean gain of control on the mash over control on the base. [points]"""
    hold_change: float
    """Mean change of tightness that goes with it. [K]"""


def rig(like: SimulatedRig, rng: np.random.Generator) -> SimulatedRig:
    """A rig of the same build with other constants."""
    probe = replace(like.bed_probe, offset=rng.normal(0, 0.2), depth=rng.uniform(0.4, 0.7))
    control = replace(like.controller, gain=rng.uniform(1.0, 2.0), base_margin=rng.choice([0.0, 0.0, 0.3]))
    return replace(
        like,
        flow=like.flow * rng.uniform(0.8, 1.25),
        layers=int(rng.integers(5, 11)),
        bed_loss=like.bed_loss * rng.uniform(0.7, 1.4),
        rinse=like.rinse + rng.normal(0, 0.04),
        gravity_offset=rng.normal(0, 0.0005),
        volume_offset=rng.normal(0, 0.2),
        bed_probe=probe,
        controller=control,
    )


def usual(rng: np.random.Generator, brews: int = 44) -> HistorySettings:
    """An ordinary pair of rigs whose sensors move once, with whatever else went on in those months."""
    return HistorySettings(
        rigs=(rig(KITCHEN, rng), rig(SHED, rng)),
        brews=brews,
        months=rng.uniform(10, 26),
        moves=tuple(np.clip(rng.uniform(0.35, 0.65) + rng.uniform(-0.1, 0.1, 2), 0.3, 0.7)),
        probe_from=tuple(rng.uniform(-0.1, 0.15, 2)),
        hold_effect=rng.uniform(0.8, 2.0),
        gap_effect=rng.uniform(0.6, 1.5),
        mill_change=rng.uniform(-0.1, 0.05),
        mill_at=rng.uniform(0.2, 0.8),
        learning=rng.uniform(0.0, 2.0),
        process_sd=rng.uniform(0.6, 1.1),
    )


def with_the_mill(rng: np.random.Generator) -> HistorySettings:
    """Mill and sensor changed in the same week."""
    at = rng.uniform(0.4, 0.6)
    return replace(usual(rng), moves=(at, at), mill_at=at, mill_change=MILL_STEP)


KINDS: dict[str, Callable[[np.random.Generator], HistorySettings]] = {
    "effect": usual,
    "null": lambda rng: replace(usual(rng), hold_effect=0.0),
    "mill and sensor": with_the_mill,
    "nine brews": lambda rng: usual(rng, 9),
    "random pairs": lambda rng: replace(usual(rng), design="random"),
}


def make(kind: str, seed: int) -> Book:
    """Simulate one book, write it, read it, and tabulate it."""
    rng = np.random.default_rng([seed, list(KINDS).index(kind)])
    history = simulate_history(KINDS[kind](rng), rng)
    with tempfile.TemporaryDirectory() as folder:
        write_history(folder, history)
        table = brew_table(read_logbook(folder))
    both = history.control_effect()
    return Book(table, float(both["gain"].mean()), float((both["hold_mash"] - both["hold_base"]).mean()))


def cached(kind: str, seed: int, folder: Path | None) -> Book:
    """A book, from the cache where it is there."""
    if folder is None:
        return make(kind, seed)
    file = folder / f"{kind.replace(' ', '-')}-{seed}.pickle"
    if not file.is_file():
        made = make(kind, seed)
        folder.mkdir(parents=True, exist_ok=True)
        file.write_bytes(pickle.dumps((made.table, made.effect, made.hold_change)))
    return Book(*pickle.loads(file.read_bytes()))


def judged(book: Book) -> dict[str, Any]:
    """What is said of one book."""
    relation = relate(book.table)
    low, high = relation.control_effect.conf_int(0.90)
    return {
        "brews": relation.n,
        "truth": book.effect,
        "estimate": relation.control_effect.estimate,
        "low 90": low,
        "high 90": high,
        "held": low <= book.effect <= high,
        "half-width": (high - low) / 2,
        "verdict": relation.verdict,
        "gain": relation.gain.estimate,
        "hardest": relation.culprit,
    }


def summarised(frame: pd.DataFrame) -> dict[str, float]:
    """One kind of book in one row. Standard errors are those of so many books."""
    verdict, error = frame["verdict"], frame["estimate"] - frame["truth"]
    told = verdict.isin(["not settled", "refused"]) & (frame["hardest"] == "mill_gap")
    return {
        "books": len(frame),
        "truth": frame["truth"].mean(),
        "held of 20": 20 * frame["held"].mean(),
        "+- held": 20 * float(np.sqrt(max(frame["held"].mean() * (1 - frame["held"].mean()), 0.01) / len(frame))),
        "half-width": frame["half-width"].median(),
        "widest": frame["half-width"].max(),
        "bias": error.mean(),
        "+- bias": error.std(ddof=1) / np.sqrt(len(frame)) if len(frame) > 1 else np.nan,
        "supported": int((verdict == "supported").sum()),
        "leaning": int((verdict == "leaning").sum()),
        "refused": int((verdict == "refused").sum()),
        "mill named": int(told.sum()),
    }


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description="Findings over whole simulated logbooks with known truth.")
    parser.add_argument("books", nargs="?", type=int, default=20)
    parser.add_argument("--first", type=int, default=3000, help="seed of the first book")
    parser.add_argument("--kinds", nargs="+", choices=list(KINDS), default=list(KINDS))
    parser.add_argument("--cache", type=Path, help="folder that keeps the tables between runs")
    args = parser.parse_args()
    rows = {}
    for kind in args.kinds:
        for seed in range(args.first, args.first + args.books):
            rows[kind, seed] = judged(cached(kind, seed, args.cache))
            print(f"{kind}, book {seed} done", file=sys.stderr, flush=True)
    frame = pd.DataFrame.from_dict(rows, orient="index")
    frame.index.names = ["kind", "seed"]
    print(frame.to_string(float_format="{:.2f}".format))
    table = pd.DataFrame({kind: summarised(group) for kind, group in frame.groupby(level="kind", sort=False)}).T
    print(table.to_string(float_format="{:.2f}".format))


if __name__ == "__main__":
    main()
