"""Do the intervals of a rig's constants hold? Days drawn from the fitted model, many rigs.

Run: ``python tests/benchmarks/rig_coverage.py --rigs 400 --brews 8``. Prints, per constant, how often the 95 % interval
held the truth (with its Monte-Carlo error), the mean error, and the median half-width.
"""

from __future__ import annotations

import argparse
import runpy
import time
from pathlib import Path
from types import SimpleNamespace

import numpy as np

from brewlog.rig import fit_rig

DRAWN = SimpleNamespace(**runpy.run_path(str(Path(__file__).parents[1] / "rig" / "drawn.py")))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rigs", type=int, default=400)
    parser.add_argument("--brews", type=int, default=8)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    hits: dict[str, list[bool]] = {name: [] for name in DRAWN.TRUTH}
    errors: dict[str, list[float]] = {name: [] for name in DRAWN.TRUTH}
    widths: dict[str, list[float]] = {name: [] for name in DRAWN.TRUTH}
    begin = time.perf_counter()
    for rig in range(options.rigs):
        rng = np.random.default_rng([options.seed, options.brews, rig])
        table = fit_rig(DRAWN.RECORD, DRAWN.draw_rig(options.brews, rng)).constants
        for name, true in DRAWN.TRUTH.items():
            row = table.loc[name]
            hits[name].append(bool(row["low"] <= true <= row["high"]))
            errors[name].append(row["estimate"] - true)
            widths[name].append((row["high"] - row["low"]) / 2)
    print(f"{options.rigs} rigs of {options.brews} brews, {time.perf_counter() - begin:.0f} s")
    print(f"{'constant':14} {'holds %':>8} {'+-':>4} {'bias':>9} {'half-width':>11} {'truth':>8}")
    for name, true in DRAWN.TRUTH.items():
        share = 100 * np.mean(hits[name])
        error = np.sqrt(share * (100 - share) / options.rigs)
        print(
            f"{name:14} {share:8.1f} {error:4.1f} {np.mean(errors[name]):9.4f} {np.median(widths[name]):11.4f}"
            f" {true:8.3f}"
        )


if __name__ == "__main__":
    main()
