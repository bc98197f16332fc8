"""Wort as a sucrose solution: density, specific gravity and extract both ways, specific heat."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from brewlog.quantities import to_float
from brewlog.wort.water import checked_temp, water_density_float

AIR_DENSITY = 1.2
"""Density of air in which apparent specific gravity is defined. [kg/m^3]"""
EXTRACT_HIGH = 0.7
"""Largest mass fraction for which the density formula was made. [1]"""
_EXTRACT_LOW = -0.06  # a fermented wort floats a hydrometer below 1.000: apparent extract below 0

# SPS-4, density of sucrose solutions: row i, column j holds the factor of ((t - 20)/100)^i w^(j+1).
_SPS4 = (
    (385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890),
    (-46.2720, -7.1720, 1.1597, 5.1126, 17.5254, 0.0),
    (59.7712, 7.2491, 12.3630, -35.4791, 0.0, 0.0),
    (-47.2207, -21.6977, 27.6301, 0.0, 0.0, 0.0),
    (18.3184, 12.3081, 0.0, 0.0, 0.0, 0.0),
)
_SPS4_BY_EXTRACT = tuple(zip(*_SPS4, strict=True))
_WATER_20 = float(water_density_float(np.array(20.0)))


def _terms(temp: np.ndarray) -> tuple[np.ndarray, list[np.ndarray]]:
    """Density of water and the six coefficients in powers of the extract at `temp`."""
    x = (temp - 20.0) / 100.0
    return water_density_float(temp), [
        c0 + x * (c1 + x * (c2 + x * (c3 + x * c4))) for c0, c1, c2, c3, c4 in _SPS4_BY_EXTRACT
    ]


def density_float(extract: np.ndarray, temp: np.ndarray | float) -> np.ndarray:
    """Density of wort for float arrays: `wort_density` without its door."""
    water, (c1, c2, c3, c4, c5, c6) = _terms(np.asarray(temp, dtype=float))
    w = extract
    return water + w * (c1 + w * (c2 + w * (c3 + w * (c4 + w * (c5 + w * c6)))))


def density_slope_float(extract: np.ndarray, temp: np.ndarray | float) -> np.ndarray:
    """Derivative of the density of wort by the extract, float arrays. [kg/m^3]"""
    _, (c1, c2, c3, c4, c5, c6) = _terms(np.asarray(temp, dtype=float))
    w = extract
    return c1 + w * (2 * c2 + w * (3 * c3 + w * (4 * c4 + w * (5 * c5 + w * 6 * c6))))


def extract_from_density_float(density: np.ndarray, temp: np.ndarray | float) -> np.ndarray:
    """Extract of wort from its true density: `extract_from_density` without its door.

    Density rises with extract everywhere in the range and bends little, so that Newton's method from a straight line
    converges in a few steps; it is kept inside the range.
    """
    water, (c1, c2, c3, c4, c5, c6) = _terms(np.asarray(temp, dtype=float))
    excess = np.asarray(density, dtype=float) - water
    w = excess / (c1 + 0.33 * excess)
    for _ in range(8):
        value = w * (c1 + w * (c2 + w * (c3 + w * (c4 + w * (c5 + w * c6)))))
        slope = c1 + w * (2 * c2 + w * (3 * c3 + w * (4 * c4 + w * (5 * c5 + w * 6 * c6))))
        step = (value - excess) / slope
        w = np.clip(w - step, _EXTRACT_LOW, EXTRACT_HIGH)
        if not np.any(np.abs(step) > 1e-10):  # NaN compares false: it does not keep the loop alive
            break
    return w


def sg_from_extract_float(extract: np.ndarray) -> np.ndarray:
    """Apparent specific gravity 20/20 for a float array: `sg_from_extract` without its door."""
    return (density_float(extract, 20.0) - AIR_DENSITY) / (_WATER_20 - AIR_DENSITY)


def extract_from_sg_float(sg: np.ndarray) -> np.ndarray:
    """Extract for a float array of gravities: `extract_from_sg` without its door."""
    return extract_from_density_float(sg * (_WATER_20 - AIR_DENSITY) + AIR_DENSITY, 20.0)


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
    low, high = density_float(np.array(_EXTRACT_LOW), celsius), density_float(np.array(EXTRACT_HIGH), celsius)
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
