"""Numbers as people read them, and the reader's units."""

from __future__ import annotations

import pytest

from brewlog.figures.decimals import decimals
from brewlog.figures.units import UnitChoice
from brewlog.report.words import interval, number


@pytest.mark.parametrize(
    ("sd", "places"),
    [(0.0123, 3), (0.034, 2), (0.29, 2), (0.31, 1), (1.4, 1), (3.2, 0), (140.0, 0), (None, 2), (0.0, 2)],
)
def test_as_many_decimals_as_are_known(sd, places):
    assert decimals(sd) == places


def test_a_missing_number_is_said_not_printed():
    assert number(None) == number(float("nan")) == interval(None, 1, 2) == "not known"
    assert interval(3.0, float("nan"), 4.0, "K") == "3 K (range not known)"


def test_minus_is_a_minus_sign():
    assert number(-1.234, 0.1, "K") == "−1.23 ± 0.10 K"


@pytest.mark.parametrize(
    # exact by definition: US gallon 3.785411784 L, pound 0.45359237 kg, degF = degC x 1.8 + 32
    ("unit", "value", "shown"),
    [("L", 3.785411784, 1.0), ("kg", 0.45359237, 1.0), ("degC", 100.0, 212.0), ("K", 5.0, 9.0), ("K/min", 1.0, 1.8)],
)
def test_units_of_the_united_states(unit, value, shown):
    assert UnitChoice("us").convert(value, unit) == pytest.approx(shown, rel=1e-12)
    assert UnitChoice("metric").convert(value, unit) == value


def test_a_spread_of_temperatures_has_no_offset():
    assert UnitChoice("us").scale(1.0, "degC") == pytest.approx(1.8, rel=1e-12)


def test_another_system_is_refused():
    with pytest.raises(ValueError, match="expected one of metric, us"):
        UnitChoice("imperial")
