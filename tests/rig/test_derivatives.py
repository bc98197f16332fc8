"""Derivatives are analytic: steps against complex steps, passes against differences, gradient against the full pass."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm

from brewlog.rig import layered, make_series, one_node, two_node
from brewlog.rig.kinds import model_steps
from brewlog.rig.predict import modelled
from brewlog.rig.problem import Problem

CONSTANTS = {
    "heat_share": 0.93,
    "base_heat_capacity": 140e3,
    "mash_heat_capacity": 70e3,
    "bed_conductance": 250.0,
    "bed_flow": 2.5,
    "heat_loss": 8.0,
    "bed_loss": 3.0,
    "vapour_loss": 2.0,
    "probe_lag": 25.0,
    "probe_offset": 0.2,
}
MODELS = {
    "one node, vapour": one_node(evaporation=True),
    "two nodes": two_node(),
    "two nodes, both lagged": two_node(base_lagged=True, loss_at_base=None),
    "layered": layered(),
    "layered, low probe": layered(3, 0.8, base_lagged=True),
}


def even(n):
    return 5.0 * np.arange(n)


def uneven(n):
    return np.cumsum(np.random.default_rng(2).uniform(1.0, 9.0, n))


def day(clock, n=160, seed=3):
    """On/off heater, wandering room, flow that stops, missing readings."""
    rng = np.random.default_rng(seed)
    base, mash = 63 + rng.normal(size=n), 62 + rng.normal(size=n)
    base[rng.random(n) < 0.1], mash[rng.random(n) < 0.3] = np.nan, np.nan
    flow = np.where((np.arange(n) > 40) & (np.arange(n) < 70), 0.1, 1.0)
    return make_series(
        clock(n), 2400.0 * (rng.random(n) < 0.3), base_temp=base, mash_temp=mash,
        ambient_temp=20 + np.cumsum(0.05 * rng.normal(size=n)), coupling=flow, vapour=np.linspace(5.0, 30.0, n),
    )  # fmt: skip


@pytest.mark.parametrize("name", MODELS)
@pytest.mark.parametrize("dt", [0.5, 5.0, 120.0])
def test_slopes_of_the_step_are_those_of_a_complex_step(name, dt):
    # reference: scipy.linalg.expm of the augmented matrix with a constant's logarithm moved along the imaginary axis
    # (Squire and Trapp, "Using complex variables to estimate derivatives of real functions", SIAM Review 40, 1998)
    model = MODELS[name]
    logs = np.log([CONSTANTS[c] for c in model.constants])
    n, m = model.starts.shape[0], model.drives
    p, dp = model_steps(logs, *model.wiring, np.array([[0.7, dt]]), n, m, True)
    inputs = [0, 1, 3][:m]
    for c in range(logs.size):
        moved = logs.astype(complex)
        moved[c] += 1e-20j
        rates = model.factors * np.exp(model.exponents @ moved) * np.where(model.coupled, 0.7, 1.0)
        block = np.zeros((n + m, n + m), dtype=complex)
        block[:n, :n] = np.tensordot(rates, model.a, 1)
        block[:n, n:] = np.tensordot(rates, model.b[..., inputs], 1)
        whole = expm(block * dt)[:n]
        np.testing.assert_allclose(p[0], whole.real, rtol=1e-9, atol=1e-13)
        np.testing.assert_allclose(dp[0, :, :, c], whole.imag / 1e-20, rtol=1e-8, atol=1e-12)


@pytest.mark.parametrize("model", [two_node(), layered()], ids=lambda m: m.name)
def test_steps_of_many_lengths_are_the_matrix_exponential_each(model):
    rng = np.random.default_rng(4)
    lengths = np.concatenate([np.sort(rng.uniform(0.2, 40.0, 200)), [300.0, 900.0]])
    kinds = np.concatenate([np.column_stack([np.full(lengths.size, flow), lengths]) for flow in (0.02, 1.0)])
    logs = np.log([CONSTANTS[c] for c in model.constants])
    n, m = model.starts.shape[0], model.drives
    p, dp = model_steps(logs, *model.wiring, kinds, n, m, True)
    for q in rng.choice(len(kinds), 40, replace=False):
        a, b = model.matrices(CONSTANTS, kinds[q, 0])
        block = np.zeros((n + m, n + m))
        block[:n, :n], block[:n, n:] = a, b[:, :m]
        # atol: entries are parts of 1 (phi) and kelvins per kelvin or watt (gamma)
        np.testing.assert_allclose(p[q], expm(block * kinds[q, 1])[:n], atol=1e-12)
        _, alone = model_steps(logs, *model.wiring, kinds[q : q + 1], n, m, True)
        np.testing.assert_allclose(dp[q], alone[0], atol=1e-11)


def problem_of(name, clock):
    model = MODELS[name]
    series = [day(clock), day(clock, 90, 5)]
    free = [*model.constants, "probe_offset", "room_shift"]
    priors = {"heat_capacity": (230e3, 0.05), "room_shift": (0.5, 2.0), "heat_loss": (7.0, 0.3)}
    found = Problem(model, series, CONSTANTS, free, priors, 0.5)
    return found, found.begin() + 0.01 * np.random.default_rng(1).normal(size=found.size)


@pytest.mark.parametrize("clock", [even, uneven], ids=["even", "uneven"])
@pytest.mark.parametrize("name", MODELS)
def test_normal_equations_of_several_series_are_those_of_differences(name, clock):
    problem, at = problem_of(name, clock)
    weight = problem.weigh(0.1)

    def rest(params):
        """Every weighted residual, of readings and priors, the slow and plain way."""
        logs, offset, shift, starts = problem.split(params)
        constants = dict(zip(problem.model.constants, np.exp(logs), strict=True)) | {"probe_offset": offset}
        parts = []
        for i, s in enumerate(problem.series):
            off = s.readings - modelled(problem.model, s, constants, starts[i], shift[i])
            parts += [off[np.isfinite(off)] / 0.1, [(0.5 - shift[i]) / 2.0], (problem.first[i] - starts[i]) / 0.5]
        whole = sum(v for c, v in constants.items() if c.endswith("heat_capacity"))
        parts += [[np.log(230e3 / whole) / 0.05], [np.log(7.0 / constants["heat_loss"]) / 0.3]]
        return np.concatenate(parts)

    jr, jj = np.zeros(problem.size), np.zeros((problem.size, problem.size))
    total, read = problem.evaluate(at, problem.rows._replace(weight=weight), True, jr, jj)
    step = 1e-5
    slopes = [(rest(at - step * e) - rest(at + step * e)) / (2 * step) for e in np.eye(problem.size)]
    jacobian = np.stack(slopes, axis=1)
    r = rest(at)
    assert total == pytest.approx(float(r @ r), rel=1e-10)
    # central differences of values up to 100 with steps of 1e-5 are good to about 1e-7 of the largest entry
    np.testing.assert_allclose(jr, jacobian.T @ r, atol=1e-6 * np.abs(jr).max())
    np.testing.assert_allclose(jj, jacobian.T @ jacobian, atol=1e-6 * np.abs(jj).max())
    assert read.shape == weight.shape


@pytest.mark.parametrize("clock", [even, uneven], ids=["even", "uneven"])
@pytest.mark.parametrize("name", MODELS)
def test_the_gradient_alone_is_that_of_the_full_pass(name, clock):
    problem, at = problem_of(name, clock)
    rows = problem.rows._replace(weight=problem.weigh(0.1))
    full, alone, jj = np.zeros(problem.size), np.zeros(problem.size), np.zeros((problem.size, problem.size))
    total, read = problem.evaluate(at, rows, True, full, jj)
    again, read_again = problem.evaluate(at, rows, False, alone, jj)
    assert again == pytest.approx(total, rel=1e-12)
    np.testing.assert_allclose(alone, full, rtol=1e-9, atol=1e-9 * np.abs(full).max())
    np.testing.assert_allclose(read_again, read, rtol=1e-12)
