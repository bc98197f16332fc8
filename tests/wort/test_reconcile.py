"""Data reconciliation and propagation against worked examples."""

from __future__ import annotations

import numpy as np
import pytest

from brewlog.wort.account import INDEX, STATES, Account
from brewlog.wort.reconcile import reconcile
from tests.wort.published import GUM_H3

# Narasimhan and Jordache, Data Reconciliation and Gross Error Detection, 2000, example 1.1: flows of a heat exchanger
# with bypass, all measured with the same sd; splitter, exchanger, bypass, mixer
FLOWS = np.array([101.91, 64.45, 34.65, 64.20, 36.44, 98.88])
FLOWS_ADJUSTED = np.array([100.22, 64.50, 35.72, 64.50, 35.72, 100.22])
NODES = np.array([[1, -1, -1, 0, 0, 0], [0, 1, 0, -1, 0, 0], [0, 0, 1, 0, -1, 0], [0, 0, 0, 1, 1, -1]], dtype=float)


def flows(x):
    return NODES @ x, NODES


def known(size, *unknown):
    mask = np.zeros(size, dtype=bool)
    mask[list(unknown)] = True
    return mask


def test_flows_of_a_heat_exchanger_with_bypass():
    fit = reconcile(FLOWS, np.eye(6), known(6), flows)
    np.testing.assert_allclose(fit.state, FLOWS_ADJUSTED, atol=0.006, rtol=0)  # printed with two decimals
    assert fit.df == 4
    assert fit.converged


def test_linear_reconciliation_is_the_closed_form():
    rng = np.random.default_rng(3)
    parts = rng.normal(size=(6, 9))  # correlated errors
    covariance = parts @ parts.T
    gain = covariance @ NODES.T @ np.linalg.inv(NODES @ covariance @ NODES.T)
    fit = reconcile(FLOWS, parts, known(6), flows)
    np.testing.assert_allclose(fit.state, FLOWS - gain @ NODES @ FLOWS, rtol=1e-10)
    np.testing.assert_allclose(fit.errors @ fit.errors.T, covariance - gain @ NODES @ covariance, atol=1e-9)
    misfit = NODES @ FLOWS
    chi_square = misfit @ np.linalg.solve(NODES @ covariance @ NODES.T, misfit)
    assert fit.chi_square == pytest.approx(chi_square)


def test_an_unmeasured_flow_follows_from_the_others_and_costs_a_degree_of_freedom():
    fit = reconcile(np.where(np.arange(6) == 1, 0.0, FLOWS), np.eye(6), known(6, 1), flows)
    assert fit.df == 3
    assert fit.determined.all()
    np.testing.assert_allclose(NODES @ fit.state, 0.0, atol=1e-9)
    assert fit.state[1] == pytest.approx(fit.state[3])
    np.testing.assert_allclose(fit.errors[1], fit.errors[3], atol=1e-12)  # it errs as the adjusted flow that it equals
    size, _, gain = fit.slips()
    assert np.isnan(size[1])  # what was not measured cannot have slipped
    assert gain[1] == 0.0


def test_what_no_balance_determines_is_said_to_be_undetermined():
    # both flows through the exchanger, and both around it, unmeasured: only in = out is left to test
    fit = reconcile(FLOWS, np.eye(6), known(6, 1, 2, 3, 4), flows)
    assert fit.determined.tolist() == [True, False, False, False, False, True]
    assert fit.df == 1
    assert fit.state[0] == pytest.approx((FLOWS[0] + FLOWS[5]) / 2)


def test_setting_a_reading_aside_takes_its_gain_off_the_chi_square():
    fit = reconcile(FLOWS, np.eye(6), known(6), flows)
    size, sd, gain = fit.slips()
    for flow in range(6):
        aside = reconcile(FLOWS, np.eye(6), known(6, flow), flows)
        assert aside.chi_square == pytest.approx(fit.chi_square - gain[flow], abs=1e-9)
        assert FLOWS[flow] - aside.state[flow] == pytest.approx(size[flow])
        assert (size[flow] / sd[flow]) ** 2 == pytest.approx(gain[flow])


def test_a_gross_error_is_named_with_its_size():
    true = np.array([100.0, 64.0, 36.0, 64.0, 36.0, 100.0])
    readings = true + np.array([0.0, 0.0, 4.0, 0.0, 0.0, 0.0])
    size, _, gain = reconcile(readings, 0.3 * np.eye(6), known(6), flows).slips()
    assert int(np.argmax(gain)) == 2
    assert size[2] == pytest.approx(4.0)


@pytest.mark.parametrize("account", [Account(), Account(no_rinse=True, plain_transfer=False, repeats=(6, 6))])
def test_derivatives_of_the_brewing_account(account):
    rng = np.random.default_rng(4)
    x = rng.uniform(0.5, 1.5, len(STATES) + len(account.repeats))
    for extract in ("first_wort", "pre_extract", "post_extract", "fermenter_extract"):
        x[INDEX[extract]] *= 0.1
    _, slope = account(x)
    step = 1e-6 * np.eye(x.size)
    numeric = np.array([(account(x + h)[0] - account(x - h)[0]) / 2e-6 for h in step]).T
    np.testing.assert_allclose(slope, numeric, atol=1e-7)


def test_end_gauge_of_the_gum():
    # JCGM 100 (GUM), H.1: l = l_s + d - l_s (da theta + alpha dtheta), contributions 25, 9.7, 2.9 and 16.6 nm
    length, alpha, theta = 50.000623e6, 11.5e-6, -0.1
    readings = np.array([5.0e7, length, 215.0, 0.0, 0.0])
    sds = np.array([0.0, 25.0, 9.7, 0.58e-6, 0.029])

    def comparison(x):
        long, standard, difference, expansion, warmth = x
        residual = long - standard - difference + standard * (expansion * theta + alpha * warmth)
        slope = [1.0, -1.0 + expansion * theta + alpha * warmth, -1.0, standard * theta, standard * alpha]
        return np.array([residual]), np.array([slope])

    fit = reconcile(readings, np.diag(sds), known(5, 0), comparison)
    assert fit.state[0] == pytest.approx(50.000838e6, abs=0.5)
    assert np.linalg.norm(fit.errors[0]) == pytest.approx(31.7, abs=0.05)
    assert abs(fit.errors[0, 4]) == pytest.approx(16.6, abs=0.1)
    assert abs(fit.errors[0, 3]) == pytest.approx(2.9, abs=0.01)


def test_calibration_line_of_the_gum():
    # JCGM 100 (GUM), H.3: correction of a thermometer, y1 + y2 (t - 20); u from the scatter of the eleven points
    reading, correction = np.array(GUM_H3).T
    design = np.column_stack([np.ones_like(reading), reading - 20.0])
    slope = np.hstack([design, -np.eye(11)])
    readings = np.concatenate([[0.0, 0.0], correction])
    parts = np.vstack([np.zeros((2, 11)), np.eye(11)])
    fit = reconcile(readings, parts, known(13, 0, 1), lambda x: (slope @ x, slope))
    scatter = np.sqrt(fit.chi_square / fit.df)
    u = scatter * np.linalg.norm(fit.errors[:2], axis=1)
    assert fit.state[0] == pytest.approx(-0.1712, abs=5e-5)
    assert fit.state[1] == pytest.approx(0.00218, abs=5e-6)
    assert u[0] == pytest.approx(0.0029, abs=5e-5)
    assert u[1] == pytest.approx(0.00067, abs=5e-6)
    assert fit.df == 9
    assert scatter == pytest.approx(0.0035, abs=5e-5)
    correlation = scatter**2 * fit.errors[0] @ fit.errors[1] / (u[0] * u[1])
    assert correlation == pytest.approx(-0.930, abs=5e-4)
    at_30 = np.array([1.0, 10.0])
    assert at_30 @ fit.state[:2] == pytest.approx(-0.1494, abs=5e-5)
    assert scatter * np.linalg.norm(at_30 @ fit.errors[:2]) == pytest.approx(0.0041, abs=5e-5)
