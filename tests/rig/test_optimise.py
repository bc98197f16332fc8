"""Certified nonlinear regressions through the room's optimiser."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from brewlog.rig.optimise import least_squares, minimise

# NIST Statistical Reference Datasets (NIST StRD), nonlinear regression; certified values to 11 digits.
NIST = json.loads(Path(__file__).with_name("nist_strd.json").read_text(encoding="utf-8"))


def _columns(*parts):
    return np.column_stack(parts)


def misra1a(b, x):
    e = np.exp(-b[1] * x)
    return b[0] * (1 - e), _columns(1 - e, b[0] * x * e)


def misra1d(b, x):
    q = 1 + b[1] * x
    return b[0] * b[1] * x / q, _columns(b[1] * x / q, b[0] * x / q**2)


def danwood(b, x):
    p = x ** b[1]
    return b[0] * p, _columns(p, b[0] * p * np.log(x))


def chwirut2(b, x):
    e, q = np.exp(-b[0] * x), b[1] + b[2] * x
    return e / q, _columns(-x * e / q, -e / q**2, -e * x / q**2)


def rat42(b, x):
    e = np.exp(b[1] - b[2] * x)
    return b[0] / (1 + e), _columns(1 / (1 + e), -b[0] * e / (1 + e) ** 2, b[0] * x * e / (1 + e) ** 2)


def mgh09(b, x):
    top, low = x**2 + x * b[1], x**2 + x * b[2] + b[3]
    return b[0] * top / low, _columns(top / low, b[0] * x / low, -b[0] * top * x / low**2, -b[0] * top / low**2)


def mgh10(b, x):
    e = np.exp(b[1] / (x + b[2]))
    return b[0] * e, _columns(e, b[0] * e / (x + b[2]), -b[0] * e * b[1] / (x + b[2]) ** 2)


def mgh17(b, x):
    e, f = np.exp(-x * b[3]), np.exp(-x * b[4])
    return b[0] + b[1] * e + b[2] * f, _columns(np.ones_like(x), e, f, -b[1] * x * e, -b[2] * x * f)


MODELS = {"Misra1a": misra1a, "Misra1d": misra1d, "DanWood": danwood, "Chwirut2": chwirut2}
MODELS |= {"Rat42": rat42, "MGH09": mgh09, "MGH10": mgh10, "MGH17": mgh17}


@pytest.mark.parametrize("name", MODELS)
def test_certified_values_from_the_second_start(name):
    # NIST StRD: parameters to 5 digits, standard deviations to 1e-3, residual sum of squares to 1e-6
    case = NIST[name]
    x, y = np.array(case["x"]), np.array(case["y"])
    found, sd = least_squares(lambda b: MODELS[name](b, x), y, np.array(case["start_2"]))
    assert found.converged
    np.testing.assert_allclose(found.params, case["value"], rtol=1e-5)
    np.testing.assert_allclose(sd, case["sd"], rtol=1e-3)
    np.testing.assert_allclose(found.sum_squares, case["sum_squares"], rtol=1e-6)


@pytest.mark.parametrize("name", ["Misra1a", "DanWood", "Chwirut2", "Rat42"])
def test_certified_values_from_the_far_start(name):
    # NIST StRD, start 1
    case = NIST[name]
    x, y = np.array(case["x"]), np.array(case["y"])
    found, _ = least_squares(lambda b: MODELS[name](b, x), y, np.array(case["start_1"]))
    np.testing.assert_allclose(found.params, case["value"], rtol=1e-5)


def test_a_bound_is_kept_and_the_rest_is_optimal():
    # slope of the line forced to 1.5 at most: the best intercept is then the mean of y - 1.5 x
    x, y = np.array([0.0, 1.0, 2.0]), np.array([0.0, 2.0, 4.0])
    found, _ = least_squares(
        lambda p: (p[0] + p[1] * x, np.column_stack([np.ones(3), x])), y, np.zeros(2), upper=np.array([np.inf, 1.5])
    )
    np.testing.assert_allclose(found.params, [0.5, 1.5], atol=1e-9)


def test_a_start_that_gives_no_number_is_refused():
    with pytest.raises(ValueError, match="not a number"):
        minimise(lambda p: (float("nan"), p, np.eye(1)), np.zeros(1))
