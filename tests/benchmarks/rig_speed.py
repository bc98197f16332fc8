"""How fast are the fits? This package, its peers and the floors in one run, as ratios; times do not travel.

Run: ``python tests/benchmarks/rig_speed.py``, some 10 s; with ``--peers`` also the ways that take seconds a fit.

One simulated mash of 3 h at 5 s (2161 rows): two nodes, an on/off heater, probe lag and offset, white noise of 0.05 K.
All ways solve exactly the same problem: heater share and room given; free are both heat capacities, conductance, loss,
lag, offset and the two start temperatures; residuals are those of both sensors, unweighted; the start is 1.2 times the
truth (`fit_two_node` finds its own). The table shows each way's sum of squares over that of this package, so that no
way is timed on its way to somewhere else. Times are CPU times, all ways taken in turn, the least of several rounds.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.integrate import odeint
from scipy.optimize import least_squares as scipy_least_squares
from scipy.signal import lfilter

from brewlog.rig import fit_model, fit_two_node, kernels, least_squares, make_series, two_node
from brewlog.rig.capacity import Inventory
from brewlog.rig.daily import bed_model, fit_mash
from brewlog.rig.model import Model, step
from brewlog.rig.predict import modelled
from brewlog.rig.problem import Problem

DT = 5.0
SHARE, ROOM = 0.93, 20.0
TRUE = {
    "heat_share": SHARE,
    "base_heat_capacity": 140e3,
    "mash_heat_capacity": 70e3,
    "bed_conductance": 250.0,
    "heat_loss": 8.0,
    "probe_lag": 20.0,
    "probe_offset": 0.1,
}
FREE = ("base_heat_capacity", "mash_heat_capacity", "bed_conductance", "heat_loss", "probe_lag")
FIXED = ("heat_share", "room_shift")
START = {**TRUE, **{name: 1.2 * TRUE[name] for name in FREE}, "probe_offset": 0.0}
FIRST = np.concatenate([np.log([START[n] for n in FREE]), [0.0, 63.0, 63.0]])
"""Start of those ways that take logarithms: constants, offset, start temperatures."""


def drawn(
    rows: int, seed: int = 1, irregular: bool = False, model: Model | None = None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Time, power of an on/off heater, and noisy readings of a model (two nodes if not given)."""
    model = model or two_node()
    rng = np.random.default_rng(seed)
    t = DT * np.arange(rows)
    if irregular:
        t = t + rng.uniform(-0.4, 0.4, rows) * DT
    power = np.where((t // 300) % 3 == 0, 2400.0, 2400.0 * (rng.random(rows) < 0.12))
    series = make_series(t, power, base_temp=np.zeros(rows))
    first = np.full(model.starts.shape[1], 63.0)
    return t, power, modelled(model, series, {**TRUE, "bed_flow": 2.8}, first) + 0.05 * rng.normal(size=(rows, 2))


def series_of(rows: int, seed: int = 1, irregular: bool = False, model: Model | None = None):
    t, power, seen = drawn(rows, seed, irregular, model)
    return make_series(t, power, base_temp=seen[:, 0], mash_temp=seen[:, 1], ambient_temp=ROOM)


def fit(series) -> float:
    """Sum of squares of this package's fit from the common start."""
    found = fit_model(two_node(), series, START, fixed=FIXED, robust=False)
    return float(sum(np.vdot(r, r) for r in found.residuals))


def fit_arrays(t, power, seen) -> float:
    """Sum of squares of `fit_two_node`: arrays in, its own start."""
    found = fit_two_node(
        t, power, seen[:, 0], seen[:, 1], ambient_temp=ROOM, heat_share=SHARE, room_free=False, probe_offset=True
    )
    return float(np.vdot(found.residuals[0], found.residuals[0]))


def fit_calibrated(series) -> None:
    """A trace as `calibrate` takes it: layered bed, priors, outliers looked for, room and share free, weighed anew."""
    stock = Inventory(180e3, 20e3, 10e3, 3600.0, 1600.0, 1500.0, "")
    fit_mash([series], bed_model("layered bed", 0.5), stock, 1.0)


def unpacked(p: np.ndarray) -> dict[str, float]:
    return {**TRUE, **dict(zip(FREE, np.exp(p[:5]), strict=True)), "probe_offset": p[5]}


def by_scipy(series) -> float:
    """This package's compiled pass inside `scipy.optimize.least_squares`, derivatives by differences."""

    def rest(p):
        return (series.readings - modelled(two_node(), series, unpacked(p), p[6:])).ravel()

    return 2 * scipy_least_squares(rest, FIRST, x_scale="jac").cost


def by_loop(series) -> float:
    """The good way by hand: a Python loop with the exact step inside `scipy.optimize.least_squares`."""
    u = series.inputs

    def rest(p):
        constants = unpacked(p)
        phi, gamma = step(*two_node().matrices(constants), DT)
        heat = u @ gamma.T
        x = np.empty((len(u), 3))
        x[0] = two_node().starts @ p[6:]
        for k in range(len(u) - 1):
            x[k + 1] = phi @ x[k] + heat[k]
        seen = x[:, [0, 2]] + [0.0, p[5]]
        return (series.readings - seen).ravel()

    return 2 * scipy_least_squares(rest, FIRST, x_scale="jac").cost


def filtered(series) -> Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]:
    """Readings and their derivatives by eigenvalues and `scipy.signal.lfilter`, nothing compiled but the step."""
    model, u = two_node(), series.inputs
    columns = [model.constants.index(name) for name in FREE]

    def both(p):
        logs = np.log([unpacked(p)[name] for name in model.constants])
        a, b, da, db = model.expand(logs, np.ones(1), 0.0)
        da, db = np.ascontiguousarray(da[..., columns]), np.ascontiguousarray(db[..., columns])
        phi, gamma, dphi, dgamma = (x[0] for x in kernels.step_tables(a, b, da, db, np.array([DT])))
        roots, vectors = np.linalg.eig(phi)
        back = np.linalg.inv(vectors)

        def run(source, first):
            modes = np.vstack([first, source]) @ back.T
            return np.column_stack([lfilter([1.0], [1.0, -r], modes[:, i]) for i, r in enumerate(roots)]) @ vectors.T

        x = run(u[:-1] @ gamma.T, model.starts @ p[6:])
        slopes = [run(x[:-1] @ dphi[..., c].T + u[:-1] @ dgamma[..., c].T, np.zeros(3)) for c in range(len(FREE))]
        ones = np.broadcast_to([0.0, 0.0, 1.0], x.shape)
        slopes += [ones, *(run(np.zeros((len(u) - 1, 3)), model.starts[:, j]) for j in (0, 1))]
        x = x + p[5] * ones
        return x[:, [0, 2]].ravel(), np.stack([s[:, [0, 2]].ravel() for s in slopes], axis=1)

    return both


def by_lfilter(series) -> float:
    found, _ = least_squares(filtered(series), series.readings.ravel(), FIRST, tolerance=1e-8)
    return found.sum_squares


def by_lfilter_scipy(series) -> float:
    both = filtered(series)
    data = series.readings.ravel()
    found = scipy_least_squares(
        lambda p: both(p)[0] - data, FIRST, jac=lambda p: both(p)[1], x_scale="jac", method="lm"
    )
    return 2 * found.cost


def by_odeint(t, power, seen) -> float:
    """The usual careful way: `odeint` under lmfit, its largest step held at the sampling time.

    With lmfit's own difference step the noise of the solver sends the fit astray (2.4 times the least sum of squares);
    the wider one below ends at the minimum, and sooner.
    """
    import lmfit

    def rates(x, now, p):
        watts = power[min(int(now / DT), power.size - 1)]
        base, bed, probe = x
        flow = p["bed_conductance"] * (base - bed)
        return (
            (SHARE * watts - flow - 0.75 * p["heat_loss"] * (base - ROOM)) / p["base_heat_capacity"],
            (flow - 0.25 * p["heat_loss"] * (bed - ROOM)) / p["mash_heat_capacity"],
            (bed - probe) / p["probe_lag"],
        )

    def rest(params):
        p = params.valuesdict()
        x = odeint(rates, [p["base"], p["bed"], p["bed"]], t, args=(p,), hmax=DT)
        return np.concatenate([x[:, 0] - seen[:, 0], x[:, 2] + p["probe_offset"] - seen[:, 1]])

    params = lmfit.Parameters()
    for name in FREE:
        params.add(name, value=START[name], min=1e-3)
    params.add("probe_offset", value=0.0)
    params.add("base", value=63.0)
    params.add("bed", value=63.0)
    return float(lmfit.minimize(rest, params, epsfcn=1e-6).chisqr)


def by_kalman(series) -> float:
    """statsmodels' Kalman filter without process noise: the same residuals, by maximum likelihood."""
    from statsmodels.tsa.statespace.mlemodel import MLEModel

    readings, u = series.readings, series.inputs

    class Mash(MLEModel):
        def __init__(self):
            super().__init__(readings, k_states=3, k_posdef=1)
            self["design"] = two_node().outputs
            self["selection"] = np.zeros((3, 1))

        @property
        def start_params(self):
            return np.append(FIRST, np.log(0.5))

        def update(self, params, **options):
            params = super().update(params, **options)
            phi, gamma = step(*two_node().matrices(unpacked(params)), DT)
            self["transition"] = phi
            self["state_intercept"] = (u @ gamma.T).T
            self["obs_intercept"] = np.array([0.0, params[5]])
            self["obs_cov"] = np.exp(2 * params[8]) * np.eye(2)
            self.initialize_known(two_node().starts @ params[6:8], np.zeros((3, 3)))

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its optimiser complains on the way
        mash = Mash()
        # its climbs with slopes by differences stop short of the minimum; one without slopes goes on from there
        first = mash.fit(disp=False, maxiter=500, cov_type="none").params
        found = mash.fit(first, disp=False, maxiter=5000, method="nm", cov_type="none").params
    rest = readings - modelled(two_node(), series, unpacked(found), found[6:8])
    return float(np.vdot(rest, rest))


def least(tasks: dict[str, Callable[[], object]], rounds: int, inside: int = 5) -> dict[str, float]:
    """Least CPU time of each of several tasks that are taken in turn. [s]"""
    for task in tasks.values():
        task()
    best = dict.fromkeys(tasks, np.inf)
    for _ in range(rounds):
        for name, task in tasks.items():
            for _ in range(inside):
                begin = time.process_time()
                task()
                best[name] = min(best[name], time.process_time() - begin)
    return best


def one_pass(series) -> Callable[[], object]:
    """One compiled pass with all derivatives: the least that a fit can cost."""
    problem = Problem(two_node(), [series], START, [*FREE, "probe_offset"], {}, None)
    rows = problem.rows._replace(weight=problem.weigh(0.1))
    begin, jr, jj = problem.begin(), np.zeros(problem.size), np.zeros((problem.size, problem.size))
    return lambda: problem.evaluate(begin, rows, True, jr, jj)


def in_a_process(code: str, cache: str | None = None) -> float:
    """CPU seconds of a fresh interpreter. [s]"""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    environment = os.environ | ({"NUMBA_CACHE_DIR": cache} if cache else {})
    subprocess.run([sys.executable, "-c", code], check=True, env=environment)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


_FIT = """
import numpy as np
from brewlog.rig import fit_two_node
t = 5.0 * np.arange(400)
fit_two_node(t, 1e3 + 5e2 * (t // 300 % 2), 60 + t / 200, 60 + t / 220)
"""


def starts() -> dict[str, float]:
    """CPU seconds of imports and of the first fit, less what comes before. [s]"""
    bare = min(in_a_process("import numpy, pandas") for _ in range(3))
    found = {"import brewlog": min(in_a_process("import numpy, pandas, brewlog") for _ in range(3)) - bare}
    found["import brewlog.rig"] = min(in_a_process("import numpy, pandas, brewlog.rig") for _ in range(3)) - bare
    with tempfile.TemporaryDirectory() as folder:
        cold = in_a_process(_FIT, folder)
        found["import numba and first fit, compiled before"] = min(in_a_process(_FIT, folder) for _ in range(3)) - bare
        found["first fit of all, compiled then"] = cold - bare
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--peers", action="store_true", help="also the ways that take seconds a fit")
    options = parser.parse_args()
    t, power, seen = drawn(2161)
    one, eight = series_of(2161), [series_of(2161, seed) for seed in range(8)]
    odd, layers = series_of(2161, irregular=True), series_of(2161, model=bed_model("layered bed", 0.5))
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder, "trace.csv")
        columns = {"elapsed": t, "base_temp": seen[:, 0], "mash_temp": seen[:, 1], "power": power}
        pd.DataFrame(columns).round(2).to_csv(file, index=False)
        quick: dict[str, Callable[[], object]] = {
            "floor: pandas.read_csv of the trace": lambda: pd.read_csv(file),
            "floor: one pass with derivatives": one_pass(one),
            "fit_model, from the common start": lambda: fit(one),
            "fit_two_node, arrays in, own start": lambda: fit_arrays(t, power, seen),
            "fit_model, every step another length": lambda: fit(odd),
            "fit_model, eight mashes jointly": lambda: fit(eight),
            "as calibrate: layered bed, priors": lambda: fit_calibrated(layers),
        }
        times = least(quick, 12)
    peers: dict[str, Callable[[], float]] = {
        "lfilter, derivatives, our optimiser": lambda: by_lfilter(one),
        "lfilter, derivatives, least_squares": lambda: by_lfilter_scipy(one),
        "compiled pass in least_squares": lambda: by_scipy(one),
        "Python loop, exact step, least_squares": lambda: by_loop(one),
    }
    if options.peers:
        peers["odeint + lmfit, hmax = dt"] = lambda: by_odeint(t, power, seen)
        peers["statsmodels Kalman filter"] = lambda: by_kalman(one)
    ours = fit(one)
    squares = {
        "fit_model, from the common start": 1.0,
        "fit_two_node, arrays in, own start": fit_arrays(t, power, seen) / ours,
    }
    for name, way in peers.items():
        squares[name] = way() / ours
        begin = time.process_time()
        way()  # once more: what had to be compiled or imported is there now
        times[name] = time.process_time() - begin
        if times[name] < 1:
            times |= least({name: way}, 3, 1)
    read, base = times["floor: pandas.read_csv of the trace"], times["fit_model, from the common start"]
    print(f"{'way':40} {'ms':>9} {'/ reading':>10} {'/ fit_model':>12} {'squares / ours':>15}")
    for name, seconds in times.items():
        same = f"{squares[name]:15.6f}" if name in squares else ""
        print(f"{name:40} {1000 * seconds:9.3f} {seconds / read:10.2f} {seconds / base:12.2f} {same}")
    astray = [name for name, ratio in squares.items() if not abs(ratio - 1) <= 1e-3]
    print("same minimum within 0.1 %:", "all ways" if not astray else f"not {', '.join(astray)}")
    sizes = {rows: series_of(rows) for rows in (2000, 20_000, 200_000, 1_000_000)}
    lengths = {rows: least({"": lambda s=s: fit(s)}, 2, 3 if rows < 1e5 else 1)[""] for rows, s in sizes.items()}
    words = [f"{rows}: {1e6 * seconds / rows:.2f}" for rows, seconds in lengths.items()]
    print("microseconds per row at so many rows:", ", ".join(words))
    for name, seconds in starts().items():
        print(f"{name}: {seconds:.2f} s")


if __name__ == "__main__":
    main()
