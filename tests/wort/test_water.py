"""Water against IAPWS-95 and IAPWS-97."""

from __future__ import annotations

import numpy as np
import pytest
from iapws import IAPWS97

from brewlog.quantities import ureg
from brewlog.wort import air_pressure, boiling_point, latent_heat, water_density, water_specific_heat
from tests.wort.published import ALTITUDE, BOILING, WATER


def test_density_and_specific_heat_of_water_are_those_of_iapws95():
    temp, density, heat = np.array(WATER).T
    np.testing.assert_allclose(water_density(temp), density, atol=0.02, rtol=0)  # Kell 1975 differs by 0.006
    np.testing.assert_allclose(water_specific_heat(temp), heat, atol=1.0, rtol=0)  # a polynomial through IAPWS-95


@pytest.mark.parametrize("celsius", [1.0, 20.0, 55.0, 78.0, 99.0])
def test_water_agrees_with_the_industrial_formulation(celsius):
    # IAPWS-97 (PyPI package iapws) differs from IAPWS-95 by up to 0.015 kg/m3 and 2.2 J/kgK
    water = IAPWS97(T=celsius + 273.15, P=0.101325)
    assert water_density(celsius) == pytest.approx(water.rho, abs=0.02)
    assert water_specific_heat(celsius) == pytest.approx(1000 * water.cp, abs=3.0)


def test_boiling_point_and_latent_heat_by_pressure():
    pressure, temp, heat = np.array(BOILING).T
    np.testing.assert_allclose(boiling_point(pressure=pressure), temp, atol=0.01, rtol=0)
    np.testing.assert_allclose(latent_heat(temp) / 1000, heat, atol=0.5, rtol=0)


def test_boiling_point_by_altitude():
    altitude, pressure, temp = np.array(ALTITUDE).T
    np.testing.assert_allclose(air_pressure(altitude), pressure, atol=0.02, rtol=0)
    np.testing.assert_allclose(boiling_point(altitude), temp, atol=0.02, rtol=0)


def test_water_boils_at_99_974_and_not_at_100():
    # IAPWS-95 at 101.325 kPa
    assert boiling_point(0.0) == pytest.approx(99.974, abs=0.002)


def test_heating_rate_and_boil_off_of_one_kilowatt():
    # computed from IAPWS-95: 2400 W into 35 L of water at 50 degC; 3600 / 2256.5 kg/h
    rate = 2400 / (35 * water_density(50.0) / 1000 * water_specific_heat(50.0)) * 60
    assert rate == pytest.approx(0.9959, abs=0.002)
    assert 3.6e6 / latent_heat(boiling_point(0.0)) == pytest.approx(1.5955, abs=0.001)


def test_quantities_with_units_and_missing_values():
    assert water_density(ureg.Quantity(68.0, "degF")) == pytest.approx(water_density(20.0), abs=1e-9)
    assert boiling_point(ureg.Quantity(1.5, "km")) == pytest.approx(boiling_point(1500.0))
    assert np.isnan(water_density([np.nan, 20.0])[0])


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: water_density(152.0), "temp is 152 degC; expected 0 to 105 degC"),
        (lambda: boiling_point(20000.0), "altitude is 20000 m; expected -500 to 11000 m."),
        (lambda: boiling_point(pressure=1013.0), "pressure is 1013 kPa; expected 50 to 110 kPa."),
        (
            lambda: water_density(ureg.Quantity(20.0, "kg")),
            "temp is in kilogram; expected a unit that converts to degC",
        ),
    ],
)
def test_impossible_input_is_named(call, message):
    with pytest.raises(ValueError, match=message):
        call()
