"""Wort as a sucrose solution: density, specific gravity and extract both ways, specific heat."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from brewlog.quantities import to_float
from brewlog.sucrose import (
    EXTRACT_HIGH,
    EXTRACT_LOW,
    density_float,
    extract_from_density_float,
    extract_from_sg_float,
    sg_from_extract_float,
)
from brewlog.wort.water import checked_temp


def wort_density(extract: ArrayLike, temp: ArrayLike) -> np.ndarray:
    """Density of wort, taken as a solution of sucrose.

    Zero extract gives water; NaN in gives NaN out. Above 80 degC the formula is extrapolated (its water part is not).

    Parameters
    ----------
    extract : array_like or pint.Quantity
        Extract by mass, 0 to 0.7. [1]
    temp : array_like or pint.Quantity, broadcast against `extract`
        Temperature, 0 to 105. [degC]

    Returns
    -------
    numpy.ndarray
        Density. [kg/m^3]

    Raises
    ------
    ValueError
        If an extract or a temperature lies outside its range.

    Notes
    -----
    Water plus ``sum c_ij ((t - 20)/100)^i w^j`` [1]_. Wort is no pure sucrose; by convention extract is the sucrose
    that gives the same density, so at 20 degC there is no error by definition.

    References
    ----------
    .. [1] ICUMSA SPS-4 (Bettin, Emmerich, Spieweck, Toth 1998), coefficients as printed in Bubnik et al.,
       "Sugar Technologists Manual", 1995, p. 164.

    Examples
    --------
    >>> wort_density(0.12, [20.0, 80.0]).round(2)
    array([1046.44, 1018.29])
    """
    return density_float(checked_extract(extract), checked_temp(temp))[()]


def extract_from_density(density: ArrayLike, temp: ArrayLike = 20.0) -> np.ndarray:
    """Extract of wort from its true density (in vacuo) at a temperature.

    NaN in gives NaN out. Apparent extract of a fermented wort may be a little below 0.

    Parameters
    ----------
    density : array_like or pint.Quantity
        Density, of the wort at `temp`. [kg/m^3]
    temp : array_like or pint.Quantity, broadcast against `density`
        Temperature, 0 to 105. [degC]

    Returns
    -------
    numpy.ndarray
        Extract by mass. [1]

    Raises
    ------
    ValueError
        If a density is not that of a wort at this temperature, or a temperature is outside its range.

    Notes
    -----
    The inverse of `wort_density` by Newton's method, to 1e-10.

    Examples
    --------
    >>> extract_from_density(1046.444, 20.0).round(5)
    np.float64(0.12)
    """
    rho, celsius = to_float(density, "kg/m^3", "density"), checked_temp(temp)
    low, high = density_float(np.array(EXTRACT_LOW), celsius), density_float(np.array(EXTRACT_HIGH), celsius)
    if np.any((rho < low) | (rho > high)):
        raise ValueError(
            f"density is {float(np.atleast_1d(rho)[0]):g} kg/m^3; expected that of a wort, about 980 to 1350 kg/m^3."
        )
    return extract_from_density_float(rho, celsius)[()]


def sg_from_extract(extract: ArrayLike) -> np.ndarray:
    """Specific gravity of wort: apparent (weighed in air), 20 degC against water at 20 degC.

    Zero extract gives 1; NaN in gives NaN out.

    Parameters
    ----------
    extract : array_like or pint.Quantity
        Extract by mass, 0 to 0.7. [1]

    Returns
    -------
    numpy.ndarray
        Specific gravity, apparent, 20/20. [1]

    Raises
    ------
    ValueError
        If an extract lies outside 0 to 0.7: most often degrees Plato given as a fraction.

    Notes
    -----
    (density - air) / (water - air) with air of 1.2 kg/m^3. Brewing tables are apparent; the true ratio of densities is
    5e-5 lower at 10 % and 1e-4 lower at 20 %.

    Examples
    --------
    >>> sg_from_extract([0.0, 0.12]).round(5)
    array([1.     , 1.04839])
    """
    return sg_from_extract_float(checked_extract(extract))[()]


def extract_from_sg(sg: ArrayLike) -> np.ndarray:
    """Extract of wort from its specific gravity (apparent, 20/20).

    1 gives zero; NaN in gives NaN out. A fermented wort may give a little below 0: its apparent extract.

    Parameters
    ----------
    sg : array_like or pint.Quantity
        Specific gravity, 0.98 to 1.35. [1]

    Returns
    -------
    numpy.ndarray
        Extract by mass. [1]

    Raises
    ------
    ValueError
        If a gravity lies outside 0.98 to 1.35: most often one written without its decimal point.

    Notes
    -----
    The inverse of `sg_from_extract`, the same formula, to 1e-10.

    Examples
    --------
    >>> extract_from_sg([1.0, 1.05]).round(4)
    array([0.    , 0.1238])
    """
    return extract_from_sg_float(checked_sg(sg))[()]


def specific_heat(extract: ArrayLike, temp: ArrayLike) -> np.ndarray:
    """Specific heat of wort.

    NaN in gives NaN out. Other published formulas run 0.5 to 2 % lower for strong wort: that is how well it is known.

    Parameters
    ----------
    extract : array_like or pint.Quantity
        Extract by mass, 0 to 0.7. [1]
    temp : array_like or pint.Quantity, broadcast against `extract`
        Temperature, 0 to 105. [degC]

    Returns
    -------
    numpy.ndarray
        Specific heat. [J/(kg*K)]

    Raises
    ------
    ValueError
        If an extract or a temperature lies outside its range.

    Notes
    -----
    ``4186.8 + w (-2510 + 7.5 t)`` for pure sucrose solutions [1]_.

    References
    ----------
    .. [1] Bubnik et al., "Sugar Technologists Manual", 1995.

    Examples
    --------
    >>> specific_heat(0.12, 65.0).round(0)
    np.float64(3944.0)
    """
    w, t = checked_extract(extract), checked_temp(temp)
    return np.asarray(4186.8 + w * (-2510.0 + 7.5 * t))[()]


def checked_extract(extract: ArrayLike) -> np.ndarray:
    """Float array of mass fractions; ValueError where one is outside 0 to 0.7."""
    fraction = to_float(extract, "1", "extract")
    wrong = (fraction < 0.0) | (fraction > EXTRACT_HIGH)
    if np.any(wrong):
        flat, where = np.atleast_1d(fraction), np.flatnonzero(wrong)
        raise ValueError(
            f"extract is {flat.ravel()[where[0]]:g}; expected a mass fraction from 0 to {EXTRACT_HIGH} "
            f"(12 degP is 0.12). {where.size} of {flat.size} values are outside."
        )
    return fraction


def checked_sg(sg: ArrayLike) -> np.ndarray:
    """Float array of gravities; ValueError where one is outside 0.98 to 1.35."""
    gravity = to_float(sg, "1", "sg")
    wrong = (gravity < 0.98) | (gravity > 1.35)
    if np.any(wrong):
        flat, where = np.atleast_1d(gravity), np.flatnonzero(wrong)
        raise ValueError(
            f"sg is {flat.ravel()[where[0]]:g}; expected a specific gravity from 0.98 to 1.35 "
            f"(1044 is 1.044). {where.size} of {flat.size} values are outside."
        )
    return gravity
