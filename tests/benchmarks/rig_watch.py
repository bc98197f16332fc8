"""What the watch finds and what the reconstruction is worth, on fresh simulated days.

Run: ``python tests/benchmarks/rig_watch.py --days 60``. A fifth of the brews of both rigs have a bed that lets
through half or less for ten minutes or more. Prints recall and precision, and the error of the reconstructed bed on
other days.

Run with ``--clocks 24`` for clocks on rigs drawn at random, of 6 to 8 brews: prints what the watch says of brews whose
clocks agree, and, for the first ``--shifted`` of the rigs, how often a shift of one or two of its brews is found and
named rightly, with its error.

Run with ``--random 30`` for the whole watch on as many rigs drawn at random, of 6 to 8 brews or of ``--brews``: what it
says of clean brews; of brews a fifth of which have a blocked bed; and of brews whose bed probe jumped, two on each rig.
"""

from __future__ import annotations

import argparse
import runpy
from collections import Counter
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np

from brewlog.rig import fit_rig, reconstruct_mash, watch_rig
from brewlog.rig.blocked import blocked_bed
from brewlog.rig.clocks import clocks
from brewlog.simulate import KITCHEN, SHED, BrewPlan, brew_record, simulate_day
from brewlog.simulate.plan import Block, PlannedMalt

RICHER = SimpleNamespace(**runpy.run_path(str(Path(__file__).parents[1] / "rig" / "richer.py")))
SENSORS = {
    "temperatures": ("base_temp", "mash_temp"),
    "bed probe": ("mash_temp",),
    "base sensor": ("base_temp",),
}
SHIFTS = (60, 90, 120, 180, 300)
"""[s]"""
JUMPS = (1.0, 1.5, 2.0)
"""[K]"""
KINDS = ("clocks differ", "blocked bed", "probe jump")


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


def shifted(brew, columns, seconds):
    """The brew with some readings stamped too late; readings that were missing stay so."""
    trace, faults, events = brew.load_trace()
    frame, t = trace.copy(), trace["elapsed"].to_numpy(float)
    row = np.clip(np.searchsorted(t, t - seconds), 0, t.size - 1)
    for column in columns:
        seen = frame[column].notna().to_numpy()
        value = np.interp(t - seconds, t[seen], frame.loc[seen, column])
        frame[column] = np.where(seen[row], value, np.nan)
    return replace(brew, load_trace=lambda: (frame, faults, events))


def study_clocks(rigs, shifted_rigs, seed):
    """False alarms on brews whose clocks agree, and recall of shifts by sensor and size."""
    brews, alarms, told = 0, Counter(), {(name, size): [] for name in SENSORS for size in SHIFTS}
    for number in range(rigs):
        rng = np.random.default_rng([seed, number])
        days = RICHER.draw_days(RICHER.draw_rig(rng, str(number)), 6 + number % 3, rng)
        record, usual = days[0].rig.record(), [brew_record(day) for day in days]
        alarms.update(found.kind for found in watch_rig(fit_rig(record, usual), usual))
        brews += len(usual)
        for (name, size), found in told.items() if number < shifted_rigs else ():
            odd = rng.choice(len(usual), int(rng.integers(1, 3)), replace=False)
            true = float(size * rng.choice([-1, 1]))
            now = [shifted(b, SENSORS[name], true) if k in odd else b for k, b in enumerate(usual)]
            fit = fit_rig(record, now)
            found += [(true, next(iter(clocks(now[k], fit)), None)) for k in odd]
    print(f"{rigs} rigs, {brews} brews whose clocks agree: the watch says {dict(alarms)}")
    print(f"{'shifted':13} {'by, s':>6} {'brews':>6} {'found':>6} {'right':>6} {'rms error, s':>13} {'held':>5}")
    for (name, size), found in told.items():
        hits = [(true, one) for true, one in found if one is not None]
        right = [(true, one) for true, one in hits if named(one.sentence, name)]
        error = np.sqrt(np.mean([(one.size - true) ** 2 for true, one in right])) if right else np.nan
        held = sum(one.low <= true <= one.high for true, one in right)
        print(f"{name:13} {size:6} {len(found):6} {len(hits):6} {len(right):6} {error:13.0f} {held:5}")


def study_random(rigs, brews, seed):
    """What the whole watch says of clean brews, of blocked beds and of jumps of the probe on random rigs."""
    clean, free, blocked, jumped = Counter(), Counter(), Counter(), {size: Counter() for size in JUMPS}
    for number in range(rigs):
        rng = np.random.default_rng([seed, number])
        days = RICHER.draw_days(RICHER.draw_rig(rng, str(number)), brews or 6 + number % 3, rng)
        record, usual = days[0].rig.record(), [brew_record(day) for day in days]
        fit = fit_rig(record, usual)
        clean.update(said(fit, usual, brew) for brew in usual)
        for k in rng.choice(len(usual), min(2, len(usual)), replace=False):
            whole = fit.days[usual[k].label].mash
            if whole is None:
                continue
            at = rng.uniform(whole.series[0].elapsed[0] + 600, whole.series[-1].elapsed[-1] - 600)
            sign = rng.choice([-1.0, 1.0])
            for size, found in jumped.items():
                now = [jumping(b, at, sign * size) if i == k else b for i, b in enumerate(usual)]
                found[said(fit_rig(record, now), now, now[k])] += 1
        odd = [rng.random() < 0.2 for _ in days]
        now = [brew_record(with_block(day, rng) if one else day) for day, one in zip(days, odd, strict=True)]
        fit = fit_rig(record, now)
        for brew, one in zip(now, odd, strict=True):
            (blocked if one else free)[said(fit, now, brew)] += 1
    rows = [("clean", clean), ("a fifth blocked: the others", free), ("a fifth blocked: the blocked", blocked)]
    rows += [(f"probe jumped by {size} K", found) for size, found in jumped.items()]
    for name, found in rows:
        print(f"{name:30} {found.total():4} brews: {dict(found)}", flush=True)


def said(fit, brews, brew):
    """Kind of the watch's first finding about one brew."""
    kinds = [f.kind for f in watch_rig(fit, [brew]) if f.kind in KINDS]
    return kinds[0] if kinds else "nothing"


def jumping(brew, at, size):
    """The brew with a bed probe that reads `size` [K] more from `at` [s] on."""
    trace, faults, events = brew.load_trace()
    frame = trace.copy()
    frame.loc[frame["elapsed"] > at, "mash_temp"] += size
    return replace(brew, load_trace=lambda: (frame, faults, events))


def with_block(day, rng):
    """The same day brewed again, its bed letting through half or less for ten minutes or more."""
    block = Block(rng.uniform(12, 55), rng.uniform(10, 28), rng.uniform(0.1, 0.5))
    return simulate_day(day.rig, replace(day.plan, block=block), rng)


def named(sentence, name):
    """Whether a finding names the readings that were shifted, or leaves them open among others."""
    return f"the {name} run" in sentence or (name != "bed probe" and "do not tell" in sentence)


def study_blocks_and_beds(count, seed):
    """Recall and precision of blocked beds, and the error of reconstructed beds."""
    hits = misses = alarms = 0
    rms, held = [], []
    for rig in (KITCHEN, SHED):
        rng = np.random.default_rng([seed, round(rig.heater_power)])
        days = draw(rig, count, rng)
        fit = fit_rig(rig.record(), [brew_record(day) for day in days])
        for day in days:
            block, found = day.plan.block, blocked_bed(brew_record(day), fit, weighed=True)
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
        for day in draw(rig, count // 3, rng, blocks=False):
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


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=60)
    parser.add_argument("--clocks", type=int, default=0)
    parser.add_argument("--shifted", type=int, default=10)
    parser.add_argument("--random", type=int, default=0)
    parser.add_argument("--brews", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    if options.random:
        study_random(options.random, options.brews, options.seed)
    elif options.clocks:
        study_clocks(options.clocks, options.shifted, options.seed)
    else:
        study_blocks_and_beds(options.days, options.seed)


if __name__ == "__main__":
    main()
