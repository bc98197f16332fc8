"""Do the intervals of a rig's constants hold, and how near do the constants come? Many rigs, two kinds of truth.

Run: ``python tests/benchmarks/rig_coverage.py --rigs 400 --brews 8`` for days drawn from the fitted model, on rigs
whose vessel, lid-off loss and steam of the mash are off by what the model says of them: prints, per constant, how often
the 95 % interval from the spread between brews and the reported one held the truth (with the Monte-Carlo error), the
mean error, and the median half-width of the reported one; and on how many rigs lack of fit showed or could not be told,
so that the model's bound was added.

Run with ``--layered 30 --brews 6`` for rigs with more physics than the model, drawn at random: prints errors and
coverage against the true rig, and the bed's conductance against what noise-free node temperatures give.
"""

from __future__ import annotations

import argparse
import runpy
import time
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd

from brewlog.rig import fit_rig
from brewlog.simulate import brew_record

RIG = Path(__file__).parents[1] / "rig"
DRAWN = SimpleNamespace(**runpy.run_path(str(RIG / "drawn.py")))
RICHER = SimpleNamespace(**runpy.run_path(str(RIG / "richer.py")))
NAMES = ("heat_share", "heat_loss", "bed_flow", "vapour_loss", "boil_off", "absorption", "vessel_heat_capacity")
GOALS = {"heat_capacity": 0.05, "heat_loss": 0.15, "bed_conductance": 0.15}
"""Largest relative error that is aimed at; 0.02 in absolute terms for heat_share. [1]"""


def drawn(rigs: int, brews: int, seed: int) -> None:
    """Coverage on days drawn from the model."""
    begin = time.perf_counter()
    found = pd.DataFrame([row for number in range(rigs) for row in drawn_rig(number, brews, seed)])
    print(f"{rigs} rigs of {brews} brews, days drawn from the model, seed {seed}, {time.perf_counter() - begin:.0f} s")
    show(found)


def drawn_rig(number: int, brews: int, seed: int) -> list[dict]:
    """One rig whose days follow the model: a row per constant."""
    rng = np.random.default_rng([seed, brews, number])
    rig = DRAWN.draw_assumed(rng)
    fit = fit_rig(DRAWN.RECORD, DRAWN.draw_rig(brews, rng, rig))
    rows = []
    for name, true in DRAWN.truth_of(rig).items():
        row = fit.constants.loc[name]
        alone = fit.spread.loc[name] if name in fit.spread.index else row
        rows.append(
            {
                "constant": name,
                "held": alone["low"] <= true <= alone["high"],
                "reported": row["low"] <= true <= row["high"],
                "error": row["estimate"] / true - 1,
                "half": (row["high"] - row["low"]) / 2 / true,
                "bound": fit.spread.loc["bed_flow", "added_sd"] > 0,
            }
        )
    return rows


def show(frame: pd.DataFrame) -> None:
    """Print how often the intervals of each constant held."""
    head = f"{'constant':21} {'spread %':>9} {'+-':>4} {'reported %':>11} {'+-':>4} {'bias %':>8} {'half-width %':>13}"
    for name, found in frame.groupby("constant", sort=False):
        held, reported, shown, rigs = found["held"].mean(), found["reported"].mean(), found["bound"].mean(), len(found)
        if head:
            print(f"the bound was added on {100 * shown:.1f} +- {_error(shown, rigs):.1f} % of the rigs\n{head}")
            head = ""
        print(
            f"{name:21} {100 * held:9.1f} {_error(held, rigs):4.1f} {100 * reported:11.1f} "
            f"{_error(reported, rigs):4.1f} {100 * found['error'].mean():8.2f} {100 * found['half'].median():13.1f}"
        )


def _error(share: float, count: int) -> float:
    """Monte-Carlo error of a share, in per cent."""
    return 100 * float(np.sqrt(share * (1 - share) / count))


def layered(rigs: int, brews: int, seed: int) -> None:
    """Bias and coverage on rigs with more physics than the model."""
    rows, shown, probe = [], [], []
    for rig in range(rigs):
        rng = np.random.default_rng([seed, 77, rig])
        days = RICHER.draw_days(RICHER.draw_rig(rng, str(rig)), brews, rng)
        record, true = days[0].rig.record(), RICHER.truth_of(days)
        fit = fit_rig(record, [brew_record(day) for day in days])
        shown.append(fit.spread.loc["heat_share", "added_sd"] > 0)
        clean = fit_rig(record, [RICHER.noise_free(day) for day in days])
        for name in NAMES:
            row = fit.constants.loc[name]
            held = row["low"] <= true[name] <= row["high"]
            half = (row["high"] - row["low"]) / 2 / row["estimate"]
            rows.append((name, row["estimate"] / true[name] - 1, held, half, row["estimate"] - true[name]))
        for name in ("probe_lag", "probe_offset"):
            row, alone = fit.constants.loc[name], fit.spread.loc[name]
            held = [one["low"] <= true[name] <= one["high"] for one in (row, alone)]
            probe.append((name, row["unit"], row["estimate"] - true[name], *held))
        loss, low, high = (fit.constants.loc["heat_loss", c] for c in ("estimate", "low", "high"))
        steam = true["heat_loss_with_steam"]
        rows.append(("heat_loss, steam counted", loss / steam - 1, low <= steam <= high, np.nan, np.nan))
        rows.append(("heat_capacity", fit.per_brew["heat_capacity"].mean() / true["heat_capacity"] - 1, *[np.nan] * 3))
        rows.append(("bed_conductance", fit["bed_conductance"] / clean["bed_conductance"] - 1, *[np.nan] * 3))
    print(
        f"{rigs} rigs of {brews} brews with more physics than the model, seed {seed}; "
        f"the bound was added on {sum(shown)}"
    )
    head = ("bias %", "sd %", "worst %", "holds %", "half-width %", "within goal")
    print(f"{'constant':25}" + "".join(f" {word:>12}" for word in head))
    frame = pd.DataFrame(rows, columns=["name", "error", "held", "half", "absolute"])
    for name, found in frame.groupby("name", sort=False):
        error = found["error"].astype(float)
        goal = ""
        if name in GOALS:
            goal = f"{int((error.abs() <= GOALS[name]).sum())} of {rigs}"
        elif name == "heat_share":
            goal = f"{int((found['absolute'].abs() <= 0.02).sum())} of {rigs}"
        held, half = found["held"].astype(float).mean(), found["half"].astype(float).median()
        numbers = (error.mean(), error.std(), error.abs().max(), held, half)
        print(f"{name:25}" + "".join(f" {100 * value:12.1f}" for value in numbers) + f" {goal:>12}")
    found = pd.DataFrame(probe, columns=["name", "unit", "error", "held", "alone"])
    for (name, unit), group in found.groupby(["name", "unit"], sort=False):
        print(
            f"{name}: off by {group['error'].mean():.2f} +- {group['error'].std():.2f} {unit}; the interval held on "
            f"{100 * group['held'].mean():.0f} %, that from the spread alone on {100 * group['alone'].mean():.0f} %"
        )
    print(
        "bed_conductance is compared with the same model's on noise-free node temperatures, the others with the rig's."
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rigs", type=int, default=400)
    parser.add_argument("--brews", type=int, default=8)
    parser.add_argument("--layered", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    if options.layered:
        layered(options.layered, options.brews, options.seed)
    else:
        drawn(options.rigs, options.brews, options.seed)


if __name__ == "__main__":
    main()
