"""How well the extract account keeps its promises: coverage, slips found and named, propagation, cost of a batch.

Run with ``python tests/benchmarks/extract_account.py [brews] [draws] [days]``; prints one table for each. Ratios of
times travel between machines, times do not.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd

from brewlog.logbook.records import Brew, Malt, Reading, Rig
from brewlog.simulate import KITCHEN, brew_record, simulate_day
from brewlog.simulate.recipes import RECIPES, draw_plan
from brewlog.simulate.rigs import SHED
from brewlog.sucrose import density_slope_float
from brewlog.wort import extract_balance, extract_from_sg, extract_mass, sg_from_extract, wort_density
from brewlog.wort.batch import balance_batch
from brewlog.wort.gravity import GLASS_EXPANSION
from brewlog.wort.suspects import ALARM

WATER = 0.998203
STAGES = ("pre-boil", "post-boil", "fermenter")
NAMES = [f"{stage} {what}" for what in ("volume", "gravity") for stage in STAGES]


def brew_day(rng: np.random.Generator, rig: Rig, errors: str) -> tuple[Brew, dict[str, float]]:
    """A brew with true efficiencies and readings of it.

    errors : `stated` (sd of the rig, all independent), `shared` (half of the variance an offset of the instrument) or
    `default` (limits of error of the instruments as offsets, uniform between them).
    """
    grist = rng.uniform(4.5, 7.0)
    fine, wet = rng.uniform(0.79, 0.83), rng.uniform(0.035, 0.05)
    potential = grist * (1 - wet) * fine
    conversion, lauter = rng.uniform(0.9, 0.99), rng.uniform(0.78, 0.9)
    dissolved = conversion * potential
    mash_water = rng.uniform(3.0, 4.2) * grist
    first = dissolved / (dissolved + mash_water * WATER + grist * wet)
    kettle, volume = lauter * dissolved, rng.uniform(24.0, 34.0)
    strength = kettle / (volume * 1.045)
    for _ in range(4):
        strength = kettle / (volume * float(wort_density(strength, 20.0)) / 1000)
    mass = volume * float(wort_density(strength, 20.0)) / 1000 - rng.normal(3.2, 0.4) * WATER
    boiled = kettle / mass
    after = 1000 * mass / float(wort_density(boiled, 20.0))
    last = after - rng.normal(2.0, 0.4)
    truth = {
        "conversion": 100 * conversion,
        "lauter": 100 * lauter,
        "mash": 100 * kettle / potential,
        "brewhouse": 100 * float(extract_mass(last, boiled)) / potential,
    }
    volumes, extracts = np.array([volume, after, last]), np.array([strength, boiled, boiled, first])
    hot = np.array([rng.uniform(60, 75), rng.uniform(90, 99), rng.uniform(15, 22)])
    ratio = wort_density(extracts[:3], hot) / wort_density(extracts[:3], 20.0)
    shown = volumes / ratio / np.array([(1 + 17.3e-6 * (t - 20)) ** 3 for t in hot[:2]] + [1.0])
    warm = rng.uniform(17.0, 26.0, 4)
    floats = wort_density(extracts, warm) * (1 + GLASS_EXPANSION * (warm - 20.0))
    gravity = (floats - 1.2) / (1000 * WATER - 1.2)
    if errors == "default":
        marks, glass = rng.uniform(-0.5, 0.5, 2), rng.uniform(-0.001, 0.001)
        volume_noise, gravity_noise = 0.15, 0.0003
    else:
        share = 0.5 if errors == "shared" else 0.0
        volume_sd, gravity_sd = rig.volume_sd or 0.0, rig.gravity_sd or 0.0
        marks, glass = np.sqrt(share) * volume_sd * rng.normal(size=2), np.sqrt(share) * gravity_sd * rng.normal()
        volume_noise, gravity_noise = np.sqrt(1 - share) * volume_sd, np.sqrt(1 - share) * gravity_sd
    shown = shown + marks[[0, 0, 1]] + volume_noise * rng.normal(size=3)
    gravity = gravity + glass + gravity_noise * rng.normal(size=4)
    told = warm + 0.5 * rng.normal(size=4)
    readings = [
        Reading("1", stage, "volume", float(v), "L", float(t)) for stage, v, t in zip(STAGES, shown, hot, strict=True)
    ]
    readings += [
        Reading("1", stage, "gravity", float(g), "SG", float(t))
        for stage, g, t in zip((*STAGES, "first wort"), gravity, told, strict=True)
    ]
    weighed, analysed, dried = rng.normal(size=3) * (0.0035 * grist, 0.006, 0.003)
    malt = Malt("1", "pale malt", grist + weighed, fine + analysed, None, wet + dried)
    water = mash_water + (rig.volume_sd or 0.3) * rng.normal()
    return Brew("1", malts=(malt,), mash_water=water, boil_time=60.0, readings=tuple(readings)), truth


def with_slip(brew: Brew, name: str, sign: float) -> Brew:
    """The same brew with 6 % on a volume or 0.004 on a gravity."""
    readings = [
        replace(one, value=one.value * (1 + 0.06 * sign) if one.quantity == "volume" else one.value + 0.004 * sign)
        if f"{one.stage} {one.quantity}" == name
        else one
        for one in brew.readings
    ]
    return replace(brew, readings=tuple(readings))


def study(n: int, errors: str, constants: pd.DataFrame | None, rng: np.random.Generator) -> None:
    """Print coverage, errors, false alarms and slips for one kind of errors."""
    rig = Rig("kitchen") if errors == "default" else Rig("kitchen", volume_sd=0.25, gravity_sd=0.0005)
    days = [brew_day(rng, rig, errors) for _ in range(n)]
    balances = [extract_balance(brew, rig, constants) for brew, _ in days]
    told = "with constants" if constants is not None else "without constants"
    print(f"\n{errors} errors, {told}, {n} brews")
    print(f"{'':22}{'coverage %':>12}{'mean error':>12}{'rms error':>12}{'mean sd':>12}")
    for name in ("conversion", "lauter", "mash", "brewhouse"):
        rows = [(getattr(b, name), truth[name]) for b, (_, truth) in zip(balances, days, strict=True)]
        pairs = [(value.nominal_value - true, value.std_dev) for value, true in rows if value is not None]
        error, sd = np.array(pairs).T
        held = 100 * np.mean(np.abs(error) < 1.96 * sd)
        print(f"{name:22}{held:12.1f}{error.mean():12.2f}{np.sqrt(np.mean(error**2)):12.2f}{sd.mean():12.2f}")
    alarms = [b.checks.loc["whole account", "p"] < ALARM for b in balances]
    print(f"false alarms {100 * np.mean(alarms):.1f} %")
    print(f"{'slip in':22}{'found %':>12}{'named first':>12}{'among named':>12}{'names':>12}")
    for name in NAMES:
        found, first, among, count = [], [], [], []
        for brew, _ in days:
            checks = extract_balance(with_slip(brew, name, rng.choice([-1.0, 1.0])), rig, constants).checks
            found.append(checks.loc["whole account", "p"] < ALARM)
            if found[-1]:
                named = checks.index[checks["verdict"].isin(["most likely wrong", "may be wrong"])]
                size = checks["standardised"].abs()
                first.append(size.idxmax() == name)
                among.append(name in named)
                count.append(len(named))
        numbers = (np.mean(found), np.mean(first or [np.nan]), np.mean(among or [np.nan]))
        print(f"{name:22}" + "".join(f"{100 * x:12.0f}" for x in numbers) + f"{np.mean(count or [np.nan]):12.1f}")


def read_again(brew: Brew, kind: str, rng: np.random.Generator) -> tuple[Brew, pd.DataFrame]:
    """The same brew day read once more: every source of error drawn anew, offsets shared by what shares an instrument.

    kind : `stated` (volumes 0.25 L, gravities 0.0005, half of the variance offset) or `default` (a hydrometer of
    +-0.001, marks of +-0.5 L or 2 %, each a / sqrt(3) of offset, and their scatter).
    """
    glass, kettle, vessel = rng.normal(size=3)
    readings = []
    shares = {}
    for one in brew.readings:
        if one.quantity == "gravity":
            offset, scatter = (np.sqrt(0.5) * 0.0005,) * 2 if kind == "stated" else (0.001 / np.sqrt(3), 0.0003)
            error, warmth = offset * glass + scatter * rng.normal(), 0.5
        else:
            wider = max(1.0, 0.02 * one.value / 0.5)
            offset, scatter = (
                (np.sqrt(0.5) * 0.25,) * 2 if kind == "stated" else (wider * 0.5 / np.sqrt(3), wider * 0.15)
            )
            marks = vessel if one.stage == "fermenter" else kettle
            shares[one.stage] = offset * marks
            error, warmth = offset * marks + scatter * rng.normal(), 0.5 if one.stage == "fermenter" else 2.0
        assert one.temp is not None
        readings.append(replace(one, value=one.value + error, temp=one.temp + warmth * rng.normal()))
    malt = brew.malts[0]
    assert malt.mass is not None
    assert malt.malt_extract is not None
    assert malt.moisture is not None
    malt = replace(
        malt,
        mass=malt.mass * (1 + 0.0035 * rng.normal()),
        malt_extract=malt.malt_extract + 0.006 * rng.normal(),
        moisture=malt.moisture + 0.003 * rng.normal(),
    )
    assert brew.mash_water is not None
    # starch takes up a little of the water, half a per cent of it more or less
    water = brew.mash_water * (1 + 0.005 * rng.normal()) + (0.25 if kind == "stated" else 0.3) * rng.normal()
    boil_off = 3.2 + 0.5 * rng.normal() + 3.2 * 3.0 / 60.0 * rng.normal()
    loss = 2.0 + 0.5 * rng.normal() + shares["post-boil"] - shares["fermenter"]
    told = pd.DataFrame(
        {"estimate": [boil_off, loss], "sd": [0.0, 0.0], "spread": [0.5, 0.5]}, index=["boil_off", "transfer_loss"]
    )
    return replace(brew, malts=(malt,), mash_water=water, readings=tuple(readings)), told


def monte_carlo(draws: int, constants: pd.DataFrame, rng: np.random.Generator) -> None:
    """Print the first-order standard deviation of each efficiency beside that of many readings of one brew day."""
    print(f"\nfirst-order propagation against {draws} draws, everything read")
    print(f"{'':22}{'propagated':>12}{'drawn':>12}{'ratio':>8}")
    for kind in ("stated", "default"):
        rig = Rig("kitchen") if kind == "default" else Rig("kitchen", volume_sd=0.25, gravity_sd=0.0005)
        brew = exact_day()
        once = extract_balance(brew, rig, constants)
        found: dict[str, list[float]] = {name: [] for name in ("conversion", "lauter", "mash", "brewhouse")}
        for _ in range(draws):
            again = extract_balance(*_with_rig(read_again(brew, kind, rng), rig))
            for name, values in found.items():
                values.append(getattr(again, name).nominal_value)
        for name, values in found.items():
            sd = getattr(once, name).std_dev
            drawn = np.std(values)
            print(f"{kind + ' ' + name:22}{sd:12.3f}{drawn:12.3f}{sd / drawn:8.3f}")


def _with_rig(read: tuple[Brew, pd.DataFrame], rig: Rig) -> tuple[Brew, Rig, pd.DataFrame]:
    return read[0], rig, read[1]


def exact_day() -> Brew:
    """A brew whose readings are all true: 5.4 kg of malt, 28 L before the boil, 3.2 L boiled off, 2 L left behind."""
    strength = float(extract_from_sg(1.044))
    kettle = float(extract_mass(28.0, strength))
    mass = 28.0 * float(wort_density(strength, 20.0)) / 1000 - 3.2 * WATER
    boiled = kettle / mass
    after = 1000 * mass / float(wort_density(boiled, 20.0))
    dissolved = kettle / 0.85
    first = dissolved / (dissolved + 19.0 * WATER + 5.4 * 0.04)
    values = {
        "first wort": (None, first),
        "pre-boil": (28.0, strength),
        "post-boil": (after, boiled),
        "fermenter": (after - 2.0, boiled),
    }
    readings = []
    for stage, (volume, extract) in values.items():
        readings.append(Reading("1", stage, "gravity", float(sg_from_extract(extract)), "SG", 20.0))
        if volume is not None:
            readings.append(Reading("1", stage, "volume", volume, "L", 20.0))
    malt = Malt("1", "pale malt", 5.4, malt_extract=0.81, moisture=0.04)
    return Brew("1", malts=(malt,), mash_water=19.0, boil_time=60.0, readings=tuple(readings))


def simulated(days: int, rng: np.random.Generator) -> None:
    """Print coverage on days of the simulator: more physics, rounded scales, one unknown offset per day and instrument.

    Hydrometers are off by up to 0.001 and kettle marks by up to 0.5 L; the fermenter's marks are true. Efficiencies are
    true against what the malt really held, since the sd of the potential stands for the difference.
    """
    rows = []
    for number in range(days):
        rig = replace(
            (KITCHEN, SHED)[number % 2],
            gravity_offset=rng.uniform(-0.001, 0.001),
            volume_offset=rng.uniform(-0.5, 0.5),
        )
        recipe = RECIPES[int(rng.integers(len(RECIPES)))]
        stages = ("first wort", *STAGES)
        plan = draw_plan(rig, recipe, f"{number}", rng, reads=stages, refractometer=number % 3 == 0)
        day = simulate_day(rig, plan, rng)
        brew, record = brew_record(day), rig.record()
        held = day.truth["potential"] / day.truth["there"]
        for kind, stated in (("stated", record), ("default", replace(record, volume_sd=None, gravity_sd=None))):
            balance = extract_balance(brew, stated)
            for name in ("conversion", "lauter", "mash", "brewhouse"):
                value = getattr(balance, name)
                if value is not None:
                    true = day.truth[name] * (1.0 if name == "lauter" else held)
                    rows.append((kind, name, value.nominal_value - true, value.std_dev))
    table = pd.DataFrame(rows, columns=["kind", "name", "error", "sd"])
    print(f"\n{days} days of the simulator")
    print(f"{'':22}{'brews':>8}{'coverage %':>12}{'mean error':>12}{'rms error':>12}{'mean sd':>12}")
    for (kind, name), part in table.groupby(["kind", "name"], sort=False):
        error, sd = part["error"], part["sd"]
        inside = 100 * np.mean(np.abs(error) < 1.96 * sd)
        numbers = (inside, error.mean(), np.sqrt(np.mean(error**2)), sd.mean())
        digits = (1, 2, 2, 2)
        cells = "".join(f"{x:12.{d}f}" for x, d in zip(numbers, digits, strict=True))
        print(f"{f'{kind} {name}':22}{len(part):8d}{cells}")


def propagate(volume: np.ndarray, gravity: np.ndarray, potential: np.ndarray) -> tuple[np.ndarray, ...]:
    """One first-order propagation in numpy: extract of six readings, its sd, efficiencies and theirs."""
    w = extract_from_sg(gravity)
    rho, slope = wort_density(w, 20.0) / 1000, density_slope_float(w, 20.0) / 1000
    mass = volume * rho * w
    sd = np.hypot(rho * w * 0.25, volume * (rho + w * slope) * 0.0005 * 0.997 / slope)
    percent = 100 * mass / potential[:, None]
    return mass, sd, percent, percent * np.hypot(sd / mass, 0.01)


def best(call: Callable[[], object], repeats: int = 15) -> float:
    """Least processor time of several runs: other work on the machine does not count. [s]"""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        call()
        times.append(time.process_time() - start)
    return min(times)


def cost(rng: np.random.Generator) -> None:
    """Print the cost of a batch against one propagation of the same size."""
    print(f"\n{'brews':>10}{'propagation':>14}{'batch':>10}{'ratio':>8}")
    for n in (100, 1000, 10_000, 100_000):
        volume = np.array([28.0, 25.0, 23.0]) + 0.25 * rng.normal(size=(n, 3))
        gravity = sg_from_extract(np.array([0.109, 0.1215, 0.1215])) + 0.0005 * rng.normal(size=(n, 3))
        potential = np.full(n, 4.2)
        plain = best(lambda v=volume, g=gravity, p=potential: propagate(v, g, p))
        batch = best(
            lambda v=volume, g=gravity, p=potential: balance_batch(v, g, 0.25, 0.0005, p, 0.01 * p, 3.0, 0.5, 2.0, 0.5)
        )
        print(f"{n:10d}{1e3 * plain:11.2f} ms{1e3 * batch:7.1f} ms{batch / plain:8.1f}")


if __name__ == "__main__":
    brews = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    draws = int(sys.argv[2]) if len(sys.argv) > 2 else 5000
    days = int(sys.argv[3]) if len(sys.argv) > 3 else 60
    generator = np.random.default_rng(2)
    known = pd.DataFrame(
        {"estimate": [3.2, 2.0], "sd": [0.0, 0.0], "spread": [0.5, 0.5]}, index=["boil_off", "transfer_loss"]
    )
    for kind in ("stated", "shared", "default"):
        study(brews, kind, known, generator)
    study(brews, "stated", None, generator)
    monte_carlo(draws, known, generator)
    simulated(days, generator)
    cost(generator)
