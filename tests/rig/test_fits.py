"""Fits end at the minimum whatever way they go, and stay finite whatever they are given."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from scipy.optimize import least_squares

from brewlog.rig import fit_model, fit_two_node, layered, make_series, one_node, two_node
from brewlog.rig.predict import modelled, states
from brewlog.rig.problem import Problem
from brewlog.rig.residuals import correlation_length
from brewlog.rig.series import MOST_KINDS, on_few_cells
from brewlog.rig.starting import find_starts

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


def mash(rows, seed=1, uneven=False, noise=0.05, truth=TRUE):
    """A mash drawn from the two-node model."""
    rng = np.random.default_rng(seed)
    t = 5.0 * np.arange(rows) + (rng.uniform(-2, 2, rows) if uneven else 0.0)
    power = np.where((t // 300) % 3 == 0, 2400.0, 2400.0 * (rng.random(rows) < 0.12))
    blank = make_series(t, power, base_temp=np.zeros(rows))
    seen = modelled(two_node(), blank, truth, [63.0, 62.0]) + noise * rng.normal(size=(rows, 2))
    return make_series(t, power, base_temp=seen[:, 0], mash_temp=seen[:, 1])


def start(factor=1.2):
    return {**TRUE, **{name: factor * TRUE[name] for name in FREE}, "probe_offset": 0.0}


@pytest.mark.parametrize("uneven", [False, True])
@pytest.mark.parametrize("rows", [400, 2200])
def test_the_minimum_is_that_of_an_independent_optimiser(rows, uneven):
    # scipy.optimize.least_squares with derivatives by differences; long traces begin on few cells, short ones do not
    series = mash(rows, uneven=uneven)
    fit = fit_model(two_node(), series, start(), fixed=("heat_share", "room_shift"), robust=False)

    def rest(p):
        constants = {**TRUE, **dict(zip(FREE, np.exp(p[:5]), strict=True)), "probe_offset": p[5]}
        return (series.readings - modelled(two_node(), series, constants, p[6:])).ravel()

    first = np.concatenate([np.log([start()[n] for n in FREE]), [0.0, 63.0, 62.0]])
    found = least_squares(rest, first, x_scale="jac", xtol=1e-12, ftol=1e-12, gtol=1e-12)
    ours = float(np.vdot(fit.residuals[0], fit.residuals[0]))
    assert ours == pytest.approx(2 * found.cost, rel=1e-7)
    sd = np.array([fit.sd[n] / fit.constants[n] for n in FREE])
    off = np.log([fit.constants[n] for n in FREE]) - found.x[:5]
    assert np.all(np.abs(off) < 0.02 * sd)  # a fall of 1e-8 of the squares is a hundredth of an sd here
    covariance = np.linalg.inv(found.jac.T @ found.jac) * 2 * found.cost / (2 * rows - 8) * fit.inflation
    np.testing.assert_allclose(sd, np.sqrt(np.diag(covariance))[:5], rtol=0.02)


def test_series_fitted_together_share_their_constants_and_keep_their_starts():
    several = [mash(1600, seed) for seed in range(3)] + [mash(300, 7, uneven=True)]
    joint = fit_model(two_node(), several, start(), fixed=("heat_share", "room_shift"), robust=False)
    alone = [fit_model(two_node(), s, start(), fixed=("heat_share", "room_shift"), robust=False) for s in several]
    assert joint.starts.shape == (4, 2)
    for name in FREE:
        # the mean by inverse variance, which a joint fit of independent days is up to what is not linear
        weight = np.array([1 / (f.sd[name] ** 2 / f.inflation) for f in alone])
        mean = float(weight @ [f.constants[name] for f in alone] / weight.sum())
        assert abs(joint.constants[name] - mean) < 1.5 * joint.sd[name], name
        assert joint.sd[name] < min(f.sd[name] for f in alone), name


def test_arrays_alone_find_the_constants_of_many_rigs():
    # starts are found from the arrays; without noise every constant must come back, whatever the rig
    rng = np.random.default_rng(6)
    for case in range(8):
        truth = {
            **TRUE,
            "base_heat_capacity": rng.uniform(40e3, 250e3),
            "mash_heat_capacity": rng.uniform(20e3, 120e3),
            "bed_conductance": rng.uniform(80, 600),
            "heat_loss": rng.uniform(3, 15),
            "probe_lag": rng.uniform(8, 60),
        }
        one = mash(2000, seed=case, noise=0.0, truth=truth)
        fit = fit_two_node(
            one.elapsed, one.power, one.readings[:, 0], one.readings[:, 1], heat_share=0.93, room_free=False,
            probe_offset=True,
        )  # fmt: skip
        for name in FREE:
            assert fit.constants[name] == pytest.approx(truth[name], rel=1e-3), (case, name)


def test_starts_from_the_arrays_are_near():
    # two low passes one after the other delay by the sum of their times, which is told best; the lag is the shorter
    for seed in range(4):
        found = find_starts(on_few_cells(mash(2100, seed), 300), two_node(), 0.93)[0]
        assert found["base_heat_capacity"] == pytest.approx(TRUE["base_heat_capacity"], rel=0.15)
        assert found["mash_heat_capacity"] == pytest.approx(TRUE["mash_heat_capacity"], rel=0.3)
        time = found["mash_heat_capacity"] / found["bed_conductance"]
        assert time + found["probe_lag"] == pytest.approx(70e3 / 250 + 20, rel=0.3)
        assert found["probe_lag"] < time


def test_few_cells_keep_the_heat_and_the_readings():
    t = np.cumsum(np.random.default_rng(0).uniform(1.0, 9.0, 600))
    power = 2400.0 * (np.arange(600) % 7 == 0)
    sparse = np.where(np.arange(600) % 10 == 0, 60 + 0.01 * t, np.nan)
    few = on_few_cells(make_series(t, power, base_temp=60 + 0.01 * t, mash_temp=sparse), 50)
    width = few.elapsed[1] - few.elapsed[0]
    assert few.power[:-1].sum() * width == pytest.approx(np.sum(power[:-1] * np.diff(t)), rel=1e-9)
    np.testing.assert_allclose(few.readings[:, 0], 60 + 0.01 * few.elapsed, atol=1e-9)
    known = np.isfinite(few.readings[:, 1])
    assert known.sum() > 40  # readings 50 s apart, cells 60 s long: nearly every cell has neighbours
    np.testing.assert_allclose(few.readings[known, 1], 60 + 0.01 * few.elapsed[known], atol=1e-9)


def test_a_cell_reads_the_line_through_all_readings_about_it():
    rng = np.random.default_rng(3)
    t = 5.0 * np.arange(2401)
    truth = 60 + 0.001 * t
    few = on_few_cells(make_series(t, np.zeros(t.size), base_temp=truth + 0.1 * rng.normal(size=t.size)), 400)
    rest = few.readings[:, 0] - (60 + 0.001 * few.elapsed)
    # six readings a cell, but at both ends, where the line leans on one side alone
    assert np.std(rest[1:-1]) == pytest.approx(0.1 / np.sqrt(6), rel=0.1)
    assert np.abs(rest[[0, -1]]).max() < 0.3


@pytest.mark.parametrize("seed", range(4))
def test_the_curvature_of_a_fit_is_that_at_its_minimum(seed):
    series = mash(2161, seed)
    found = fit_model(two_node(), series, start(), fixed=("heat_share", "room_shift"), robust=False).minimum
    free = [n for n in two_node().constants if n != "heat_share"]
    problem = Problem(two_node(), [series], TRUE, [*free, "probe_offset"], {}, None)
    exact, slopes = np.zeros_like(found.curvature), np.zeros(problem.size)
    problem.evaluate(found.params, problem.rows._replace(weight=problem.weigh(0.1)), True, slopes, exact)
    sds = [np.sqrt(np.diag(np.linalg.inv(c))) for c in (found.curvature, exact)]
    np.testing.assert_allclose(sds[0], sds[1], rtol=2e-3)
    # and it is a minimum: Newton's next step is a hundredth of a standard deviation or less
    assert np.abs(np.linalg.solve(exact, slopes) / sds[1]).max() < 0.01


def test_a_borrowed_curvature_is_not_handed_on():
    series = mash(2161)
    problem = Problem(two_node(), [series], TRUE, ["base_heat_capacity", "heat_loss"], {}, None)
    weight = problem.weigh(0.1)
    found, _ = problem.minimise(problem.begin(), weight, 1e-10)
    # at the minimum even the first step promises nothing; the curvature must be that of the rows nevertheless
    again, _ = problem._descend(
        found.params, problem.rows._replace(weight=weight), True, 1.5 * found.curvature, tolerance=1e-3
    )
    np.testing.assert_allclose(again.curvature, found.curvature, rtol=1e-3)


def test_a_start_at_the_minimum_itself_needs_no_way_down():
    series = mash(1600, noise=0.0)
    fit = fit_model(two_node(), series, TRUE, fixed=("heat_share", "room_shift"), robust=False)
    for name in two_node().constants:
        assert fit.constants[name] == pytest.approx(TRUE[name], rel=1e-6)
    assert fit.rms["pooled"] < 1e-6
    assert np.all(np.isfinite(fit.log_cov))


def test_very_many_lengths_of_step_are_rounded_to_nothing_that_matters():
    rng = np.random.default_rng(8)
    rows = MOST_KINDS + 1500
    t = 5.0 * np.arange(rows) + rng.uniform(-2, 2, rows)
    power = 2400.0 * (rng.random(rows) < 0.3)
    long = make_series(t, power, base_temp=np.full(rows, 60.0))
    assert len(long.steps[1]) < rows - 1
    found = states(two_node(), long, TRUE, [63.0, 62.0])
    # the same in two pieces, each with few enough lengths to be taken as they are
    half = rows // 2
    first = make_series(t[: half + 1], power[: half + 1], base_temp=np.full(half + 1, 60.0))
    middle = states(two_node(), first, TRUE, [63.0, 62.0])[-1]
    assert len(first.steps[1]) == half
    np.testing.assert_allclose(found[half], middle, atol=1e-4)


BAD = {
    "nothing happens": (np.full(300, 60.0), np.zeros(300)),
    "readings without any sense": (100 * np.random.default_rng(1).normal(size=300), np.full(300, 2400.0)),
    "two thousand degrees": (np.linspace(10.0, 2000.0, 300), np.full(300, 1e-6)),
    "a megawatt": (np.full(300, 60.0), np.full(300, 1e6)),
    "a leap": (np.where(np.arange(300) < 150, 20.0, 95.0), 2400.0 * (np.arange(300) % 3 == 0)),
}


@pytest.mark.parametrize("weighed", [False, True])
@pytest.mark.parametrize("model", [one_node(), two_node(), layered()], ids=lambda m: m.name)
@pytest.mark.parametrize("what", BAD)
def test_nothing_overflows_however_little_the_readings_make_sense(what, model, weighed):
    base, power = BAD[what]
    series = make_series(5.0 * np.arange(300), power, base_temp=base, mash_temp=base[::-1])
    priors = {"heat_capacity": (200e3, 0.03), "room_shift": (0.0, 3.0)} if weighed else None
    with warnings.catch_warnings(), np.errstate(all="raise", under="ignore"):
        warnings.simplefilter("error")
        fit = fit_model(model, series, {**TRUE, "bed_flow": 2.5}, fixed=("heat_share",), priors=priors)
    assert np.isfinite(fit.minimum.sum_squares)
    assert all(np.isfinite(value) and abs(value) < 1e12 for value in fit.constants.values())
    assert np.all(np.abs(fit.starts - base[0]) < 2200)
    assert np.all(np.abs(fit.room_shift) <= 200)


def test_a_start_that_is_no_positive_number_is_refused():
    with pytest.raises(ValueError, match="probe_lag = 0; expected numbers above 0"):
        fit_model(two_node(), mash(50), {**TRUE, "probe_lag": 0.0}, fixed=("heat_share",))


@pytest.mark.parametrize("coefficient", [0.3, 0.97])
def test_correlation_length_is_the_plain_sum(coefficient):
    # direct sums of the autocorrelations, up to the first pair that is not positive; 0.97 needs the Fourier transform
    rng = np.random.default_rng(5)
    noise = np.zeros(3000)
    for k in range(1, noise.size):
        noise[k] = coefficient * noise[k - 1] + rng.normal()
    r = noise - noise.mean()
    acf = [float(r[lag:] @ r[: r.size - lag]) / float(r @ r) for lag in range(1000)]
    total, lag = 0.0, 0
    while acf[lag] + acf[lag + 1] > 0:
        total += acf[lag] + acf[lag + 1]
        lag += 2
    assert correlation_length(noise) == pytest.approx(2 * total - 1, rel=1e-9)
    assert (lag > 40) == (coefficient > 0.9)
