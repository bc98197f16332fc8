"""What the watch finds and what the reconstruction is worth, on fresh simulated days.

Run: ``python tests/benchmarks/rig_watch.py --days 60``. A fifth of the brews of both rigs have a bed that lets
through half or less for ten minutes or more. Prints recall and precision, and the error of the reconstructed bed on
other days.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np

from brewlog.rig import fit_rig, reconstruct_mash
from brewlog.rig.blocked import blocked_bed
from brewlog.simulate import KITCHEN, SHED, BrewPlan, brew_record, simulate_day
from brewlog.simulate.plan import Block, PlannedMalt


def draw(rig, count, rng, blocks=True):
    days = []
    for k in range(count):
        scale = rig.kettle_volume / 35
        grain = rng.uniform(4.5, 5.8) * scale * 0.97
        block = Block(rng.uniform(12, 55), rng.uniform(10, 28), rng.uniform(0.1, 0.5))
        plan = BrewPlan(
            brew=str(k),
            malts=(PlannedMalt("pale malt", round(grain, 2)),),
            mash_water=round(grain * rng.uniform(3.9, 4.5)),
            room_temp=float(rng.uniform(12, 24)),
            mill_gap=float(rng.uniform(0.95, 1.25)),
            sparge_water=9 * scale,
            heater_follows="mash" if k % 2 else "base",
            block=block if blocks and k % 5 == 2 else None,
        )
        days.append(simulate_day(rig, plan, rng))
    return days


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    hits = misses = alarms = 0
    rms, held = [], []
    for rig in (KITCHEN, SHED):
        rng = np.random.default_rng([options.seed, round(rig.heater_power)])
        days = draw(rig, options.days, rng)
        fit = fit_rig(rig.record(), [brew_record(day) for day in days])
        for day in days:
            block, found = day.plan.block, blocked_bed(brew_record(day), fit)
            begin = next(e.elapsed for e in day.events if e.event == "pump on")
            right = [
                block is not None
                and f.start < begin + 60 * (block.start + block.length) + 300
                and f.end > begin + 60 * block.start - 300
                for f in found
            ]
            hits += block is not None and any(right)
            misses += block is not None and not any(right)
            alarms += bool(found) and not any(right)
        for day in draw(rig, options.days // 3, rng, blocks=False):
            brew = brew_record(day)
            trace, events = day.trace.drop(columns="mash_temp"), brew.events
            bare = replace(brew, label="new", load_trace=lambda t=trace, e=events: (t, (), e))
            frame = reconstruct_mash(bare, fit)
            begin = next(e.elapsed for e in events if e.event == "pump on")
            frame = frame[frame["elapsed"] > begin + 900]
            error = frame["mash_temp"] - np.interp(frame["elapsed"], day.true["elapsed"], day.true["bed"])
            rms.append(float(np.sqrt(np.mean(error**2))))
            held.append(float(np.mean(np.abs(error) < 1.96 * frame["sd"])))
    print(
        f"blocked beds: recall {hits / max(hits + misses, 1):.2f}, precision {hits / max(hits + alarms, 1):.2f}", end=""
    )
    print(f" ({hits} found, {misses} missed, {alarms} false alarms)")
    print(
        f"reconstructed bed: rms median {np.median(rms):.2f} K, 90th percentile {np.quantile(rms, 0.9):.2f} K,", end=""
    )
    print(f" 95 % band holds {100 * np.mean(held):.0f} % of the time ({len(rms)} brews)")


if __name__ == "__main__":
    main()
