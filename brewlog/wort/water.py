"""Water: density, specific heat, latent heat of evaporation and boiling point."""

from __future__ import annotations

import numpy as np
from numpy.polynomial.polynomial import polyval
from numpy.typing import ArrayLike

from brewlog.quantities import to_float
from brewlog.sucrose import water_density_float

# Least-squares polynomials in temp / 100 degC through IAPWS-95 (101.325 kPa, and the saturation line).
_SPECIFIC_HEAT = (4219.27, -334.32, 1116.74, -2032.82, 2256.26, -1350.45, 341.082)
_LATENT_HEAT = (2500915.0, -237582.3, 5534.525, -12473.33)
# IAPWS-IF97, equation 31: saturation temperature from pressure.
_SATURATION = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)


def water_density(temp: ArrayLike) -> np.ndarray:
    """Density of liquid water at 101.325 kPa.

    NaN in gives NaN out. Temperatures outside 0 to 105 degC are an error.

    Parameters
    ----------
    temp : array_like or pint.Quantity
        Temperature, 0 to 105. [degC]

    Returns
    -------
    numpy.ndarray
        Density, shape of `temp`. [kg/m^3]

    Raises
    ------
    ValueError
        If a temperature lies outside 0 to 105 degC.

    Notes
    -----
    A ratio of a polynomial of fifth degree and one of first degree [1]_, within 0.02 kg/m^3 of IAPWS-95.

    References
    ----------
    .. [1] Kell, G. S., "Density, thermal expansivity, and compressibility of liquid water from 0 to 150 degC",
       J. Chem. Eng. Data 20 (1975) 97.

    Examples
    --------
    >>> water_density([20.0, 100.0]).round(2)
    array([998.2 , 958.34])
    """
    return water_density_float(checked_temp(temp))


def water_specific_heat(temp: ArrayLike) -> np.ndarray:
    """Specific heat of liquid water at 101.325 kPa.

    NaN in gives NaN out.

    Parameters
    ----------
    temp : array_like or pint.Quantity
        Temperature, 0 to 105. [degC]

    Returns
    -------
    numpy.ndarray
        Specific heat, shape of `temp`. [J/(kg*K)]

    Raises
    ------
    ValueError
        If a temperature lies outside 0 to 105 degC.

    Notes
    -----
    Polynomial of sixth degree through IAPWS-95 [1]_, within 0.2 J/(kg K) of it from 0 to 100 degC.

    References
    ----------
    .. [1] Wagner, W., Pruss, A., "The IAPWS formulation 1995", J. Phys. Chem. Ref. Data 31 (2002) 387.

    Examples
    --------
    >>> water_specific_heat(65.0).round(0)
    np.float64(4187.0)
    """
    return np.asarray(polyval(checked_temp(temp) / 100.0, _SPECIFIC_HEAT))[()]


def latent_heat(temp: ArrayLike = 100.0) -> np.ndarray:
    """Heat that evaporates one kilogram of water at its boiling temperature.

    NaN in gives NaN out.

    Parameters
    ----------
    temp : array_like or pint.Quantity
        Temperature at which the water boils, 0 to 105. [degC]

    Returns
    -------
    numpy.ndarray
        Latent heat, shape of `temp`. [J/kg]

    Raises
    ------
    ValueError
        If a temperature lies outside 0 to 105 degC.

    Notes
    -----
    Polynomial of third degree through IAPWS-95 on the saturation line [1]_, within 30 J/kg of it.

    References
    ----------
    .. [1] Wagner, W., Pruss, A., "The IAPWS formulation 1995", J. Phys. Chem. Ref. Data 31 (2002) 387.

    Examples
    --------
    >>> (latent_heat(99.974) / 1000).round(1)
    np.float64(2256.5)
    """
    return np.asarray(polyval(checked_temp(temp) / 100.0, _LATENT_HEAT))[()]


def air_pressure(altitude: ArrayLike) -> np.ndarray:
    """Pressure of the standard atmosphere.

    Weather moves the true pressure by 2 kPa either way.

    Parameters
    ----------
    altitude : array_like or pint.Quantity
        Above sea level, -500 to 11000. [m]

    Returns
    -------
    numpy.ndarray
        Pressure, shape of `altitude`. [kPa]

    Raises
    ------
    ValueError
        If an altitude lies outside -500 to 11000 m.

    References
    ----------
    .. [1] ICAO, "Manual of the standard atmosphere", Doc 7488, troposphere.

    Examples
    --------
    >>> air_pressure(500.0).round(2)
    np.float64(95.46)
    """
    metres = to_float(altitude, "m", "altitude")
    if np.any((metres < -500.0) | (metres > 11000.0)):
        raise ValueError(f"altitude is {_worst(metres, -500.0, 11000.0):g} m; expected -500 to 11000 m.")
    return np.asarray(101.325 * (1.0 - 0.0065 * metres / 288.15) ** (9.80665 * 0.0289644 / (8.31432 * 0.0065)))[()]


def boiling_point(altitude: ArrayLike = 0.0, pressure: ArrayLike | None = None) -> np.ndarray:
    """Boiling point of water at an altitude, or at a measured air pressure.

    Wort of 12 % extract boils about 0.1 K higher; that is not counted. NaN in gives NaN out.

    Parameters
    ----------
    altitude : array_like or pint.Quantity
        Above sea level, -500 to 11000; not used where `pressure` is given. [m]
    pressure : array_like or pint.Quantity, optional
        Air pressure as measured at the place, 50 to 110. [kPa]

    Returns
    -------
    numpy.ndarray
        Boiling point. [degC]

    Raises
    ------
    ValueError
        If an altitude or a pressure lies outside its range.

    Notes
    -----
    Saturation temperature of IAPWS-IF97 [1]_ at the pressure of the standard atmosphere. Weather moves it by 0.6 K.

    References
    ----------
    .. [1] IAPWS, "Industrial formulation 1997 for water and steam", equation 31.

    Examples
    --------
    >>> boiling_point([0.0, 1500.0]).round(2)
    array([99.97, 94.98])
    """
    if pressure is None:
        kilopascal = air_pressure(altitude)
    else:
        kilopascal = to_float(pressure, "kPa", "pressure")
        if np.any((kilopascal < 50.0) | (kilopascal > 110.0)):
            raise ValueError(f"pressure is {_worst(kilopascal, 50.0, 110.0):g} kPa; expected 50 to 110 kPa.")
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _SATURATION
    beta = (kilopascal / 1000.0) ** 0.25
    e = beta**2 + n3 * beta + n6
    f = n1 * beta**2 + n4 * beta + n7
    g = n2 * beta**2 + n5 * beta + n8
    d = 2.0 * g / (-f - np.sqrt(f**2 - 4.0 * e * g))
    return np.asarray((n10 + d - np.sqrt((n10 + d) ** 2 - 4.0 * (n9 + n10 * d))) / 2.0 - 273.15)[()]


def checked_temp(temp: ArrayLike, what: str = "temp") -> np.ndarray:
    """Float array in degC; ValueError where a temperature is outside 0 to 105 degC."""
    celsius = to_float(temp, "degC", what)
    if np.any((celsius < 0.0) | (celsius > 105.0)):
        raise ValueError(
            f"{what} is {_worst(celsius, 0.0, 105.0):g} degC; expected 0 to 105 degC "
            "(a temperature in degF needs its unit)."
        )
    return celsius


def _worst(values: np.ndarray, low: float, high: float) -> float:
    """Return the first value outside the range."""
    flat = np.atleast_1d(values)
    return float(flat[(flat < low) | (flat > high)][0])
