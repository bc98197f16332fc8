"""How fast are the fits? Every way and every floor in one run, as ratios; times do not travel between machines.

Run: ``python tests/benchmarks/rig_speed.py``. One simulated mash of 3 h at 5 s, two nodes with lag and offset.
`--peers` adds ``odeint`` under lmfit with its largest step held at the sampling time (some seconds a fit).
"""

from __future__ import annotations

import argparse
import io
import subprocess
import sys
import time
from collections.abc import Callable

import numpy as np
import pandas as pd
from scipy.integrate import odeint
from scipy.optimize import least_squares as scipy_least_squares

from brewlog.rig import fit_model, make_series, two_node
from brewlog.rig.fitting import modelled

TRUE = {
    "heat_share": 0.93,
    "base_heat_capacity": 140e3,
    "mash_heat_capacity": 70e3,
    "bed_conductance": 250.0,
    "heat_loss": 8.0,
    "probe_lag": 20.0,
    "probe_offset": 0.1,
}
FREE = ("base_heat_capacity", "mash_heat_capacity", "bed_conductance", "heat_loss", "probe_lag")
FIXED = ("heat_share", "room_shift")


def drawn(rows: int, seed: int = 1) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Time, power of an on/off heater, and noisy readings."""
    rng = np.random.default_rng(seed)
    t = 5.0 * np.arange(rows)
    power = np.where((t // 300) % 3 == 0, 2400.0, 2400.0 * (rng.random(rows) < 0.12))
    series = make_series(t, power, base_temp=np.zeros(rows))
    return t, power, modelled(two_node(), series, TRUE, np.array([63.0, 63.0])) + 0.05 * rng.normal(size=(rows, 2))


def least(task: Callable[[], object], repeats: int) -> float:
    """Shortest of several runs after a first one. [s]"""
    task()
    times = []
    for _ in range(repeats):
        begin = time.perf_counter()
        task()
        times.append(time.perf_counter() - begin)
    return min(times)


def series_of(rows: int, seed: int = 1):
    t, power, seen = drawn(rows, seed)
    return make_series(t, power, base_temp=seen[:, 0], mash_temp=seen[:, 1])


def by_odeint(t, power, seen):
    """The usual way: an adaptive solver under lmfit, its largest step held at the sampling time."""
    import lmfit

    def rates(x, now, p):
        watts = power[min(int(now / 5.0), power.size - 1)]
        base, bed, probe = x
        flow = p["bed_conductance"] * (base - bed)
        return (
            (0.93 * watts - flow - 0.75 * p["heat_loss"] * (base - 20)) / p["base_heat_capacity"],
            (flow - 0.25 * p["heat_loss"] * (bed - 20)) / p["mash_heat_capacity"],
            (bed - probe) / p["probe_lag"],
        )

    def rest(params):
        p = params.valuesdict()
        x = odeint(rates, [p["base"], p["bed"], p["bed"]], t, args=(p,), hmax=5.0)
        return np.concatenate([x[:, 0] - seen[:, 0], x[:, 2] + p["probe_offset"] - seen[:, 1]])

    params = lmfit.Parameters()
    for name in FREE:
        params.add(name, value=1.2 * TRUE[name], min=1e-3)
    params.add("probe_offset", value=0.0)
    params.add("base", value=63.0)
    params.add("bed", value=63.0)
    found = lmfit.minimize(rest, params)
    return float(found.chisqr)


def by_scipy(t, power, seen):
    """The exact step of this package inside `scipy.optimize.least_squares`, derivatives by differences."""
    series = make_series(t, power, base_temp=seen[:, 0], mash_temp=seen[:, 1])
    model = two_node()

    def rest(p):
        constants = {**TRUE, **dict(zip(FREE, np.exp(p[:5]), strict=True)), "probe_offset": p[5]}
        return (seen - modelled(model, series, constants, p[6:])).ravel()

    start = np.concatenate([np.log([1.2 * TRUE[n] for n in FREE]), [0.0, 63.0, 63.0]])
    return 2 * scipy_least_squares(rest, start, x_scale="jac").cost


def cold(code: str) -> float:
    """Seconds that a fresh interpreter needs for some code, less an empty one."""

    def run(text: str) -> float:
        begin = time.perf_counter()
        subprocess.run([sys.executable, "-c", text], check=True)
        return time.perf_counter() - begin

    return min(run(code) for _ in range(3)) - min(run("import numpy, pandas") for _ in range(3))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--peers", action="store_true")
    options = parser.parse_args()
    t, power, seen = drawn(2161)
    text = (
        pd.DataFrame({"elapsed": t, "base": seen[:, 0], "bed": seen[:, 1], "power": power}).round(2).to_csv(index=False)
    )
    model = two_node()
    start = {**TRUE, **{name: 1.2 * TRUE[name] for name in FREE}, "probe_offset": 0.0}
    one = series_of(2161)

    def fit(series):
        return fit_model(model, series, start, fixed=FIXED, robust=False)

    eight = [series_of(2161, seed) for seed in range(8)]
    rows = {"read the trace (pandas.read_csv)": least(lambda: pd.read_csv(io.StringIO(text)), 50)}
    rows["fit_model, one mash"] = base = least(lambda: fit(one), 30)
    rows["fit_model, eight mashes jointly"] = least(lambda: fit(eight), 5)
    rows["exact step in scipy least_squares"] = least(lambda: by_scipy(t, power, seen), 3)
    ours = float(sum(np.nansum(r**2) for r in fit(one).residuals))
    theirs = {"scipy": by_scipy(t, power, seen)}
    if options.peers:
        begin = time.perf_counter()
        theirs["odeint"] = by_odeint(t, power, seen)
        rows["odeint + lmfit, hmax = dt"] = time.perf_counter() - begin
    print(f"{'way':36} {'ms':>10} {'ratio':>9}")
    for name, seconds in rows.items():
        print(f"{name:36} {1000 * seconds:10.2f} {seconds / base:9.2f}")
    for name, total in theirs.items():
        print(f"sum of squares over ours, {name}: {total / ours:.6f}")
    small = series_of(1000)
    first = least(lambda: fit(small), 5)
    for count in (10_000, 100_000, 1_000_000):
        big = series_of(count)
        ratio = least(lambda big=big: fit(big), 1) / first
        print(f"{count} rows: {ratio:.1f} times as long as 1000 rows")
    print(f"import brewlog.rig: {cold('import brewlog.rig'):.2f} s; kernels from cache: {cold(_FIRST):.2f} s")


_FIRST = "import brewlog.rig.model as m; m.step([[-1.0]], [[1.0]], 1.0)"

if __name__ == "__main__":
    main()
