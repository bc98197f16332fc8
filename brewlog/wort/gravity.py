"""What a hydrometer, a saccharometer and a refractometer show, brought to extract and gravity at 20 degC."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from brewlog.quantities import to_float
from brewlog.sucrose import (
    AIR_DENSITY,
    density_float,
    extract_from_density_float,
    sg_from_extract_float,
    water_density_float,
)
from brewlog.wort.properties import checked_sg
from brewlog.wort.water import checked_temp

GLASS_EXPANSION = 25e-6
"""Cubic expansion of the soda-lime glass of hydrometers. [1/K]"""


def floats_at(density: np.ndarray, temp: np.ndarray, calibration_temp: np.ndarray | float) -> np.ndarray:
    """True density at `temp` in which a hydrometer floats at the mark for `density` at its calibration temperature."""
    return density / (1.0 + GLASS_EXPANSION * (temp - calibration_temp))


def hydrometer_extract_float(sg: np.ndarray, temp: np.ndarray, calibration_temp: np.ndarray | float) -> np.ndarray:
    """Extract of the wort in which a gravity hydrometer shows `sg`, float arrays."""
    marked = sg * (water_density_float(np.asarray(calibration_temp, dtype=float)) - AIR_DENSITY) + AIR_DENSITY
    return extract_from_density_float(floats_at(marked, temp, calibration_temp), temp)


def saccharometer_extract_float(
    extract: np.ndarray, temp: np.ndarray, calibration_temp: np.ndarray | float
) -> np.ndarray:
    """Extract of the wort in which a saccharometer (scale in mass per cent) shows `extract`, float arrays."""
    marked = density_float(extract, calibration_temp)
    return extract_from_density_float(floats_at(marked, temp, calibration_temp), temp)


def correct_hydrometer(sg: ArrayLike, temp: ArrayLike, calibration_temp: ArrayLike = 20.0) -> np.ndarray:
    """Specific gravity 20/20 from what a hydrometer shows in a sample of any temperature.

    A reading taken at 20 degC with a hydrometer for 20 degC is returned as it is; NaN in gives NaN out. Above 40 degC
    the hydrometer itself is out of its range: cool the sample instead.

    Parameters
    ----------
    sg : array_like or pint.Quantity
        As read, 0.98 to 1.35. [1]
    temp : array_like or pint.Quantity
        Temperature of the sample, 0 to 105. [degC]
    calibration_temp : array_like or pint.Quantity
        Temperature for which the hydrometer was made: 20, or 15 or 15.56 (60 degF). Its 1.000 is water of that
        temperature. [degC]

    Returns
    -------
    numpy.ndarray
        Specific gravity, apparent, 20/20. [1]

    Raises
    ------
    ValueError
        If a gravity or a temperature lies outside its range.

    Notes
    -----
    The reading gives the density in which the hydrometer floats at its calibration temperature; the glass has grown by
    25e-6 per kelvin since; the extract whose density at `temp` is that one is found, and its gravity at 20 degC given
    back. Tables for 15 degC in home use are the bare ratio of the densities of water: no glass and no sugar, 0.0005
    too low at 40 degC and SG 1.040.

    References
    ----------
    .. [1] ISO 649-1, density hydrometers for general purposes (expansion of the glass).

    Examples
    --------
    >>> correct_hydrometer([1.040, 1.060], 30.0).round(4)
    array([1.0427, 1.0629])
    """
    shown, t = checked_sg(sg), checked_temp(temp)
    made_for = checked_temp(calibration_temp, "calibration_temp")
    return np.asarray(sg_from_extract_float(hydrometer_extract_float(shown, t, made_for)))[()]


def extract_from_brix(brix: ArrayLike, factor: ArrayLike = 1.04) -> np.ndarray:
    """Extract of unfermented wort from a refractometer reading.

    Wort bends light a little more than sucrose of the same density does. Not for fermented wort: alcohol bends light
    too. NaN in gives NaN out.

    Parameters
    ----------
    brix : array_like or pint.Quantity
        As read, per cent sucrose, -1 to 70; a number without unit is in degBrix. [%]
    factor : array_like
        Wort correction factor of the brewer's own instrument, reading over extract, 0.9 to 1.2. [1]

    Returns
    -------
    numpy.ndarray
        Extract by mass. [1]

    Raises
    ------
    ValueError
        If a reading or the factor lies outside its range.

    Notes
    -----
    ``extract = brix / 100 / factor``. Factors from 1.00 to 1.06 are met (common practice, no source): without one's
    own comparison against a hydrometer this is the largest error of the instrument.

    Examples
    --------
    >>> extract_from_brix(12.5, 1.04).round(4)
    np.float64(0.1202)
    """
    shown, ratio = to_float(brix, "%", "brix"), to_float(factor, "1", "factor")
    if np.any((shown < -1.0) | (shown > 70.0)):
        raise ValueError(f"brix is {np.atleast_1d(shown).ravel()[0]:g}; expected -1 to 70 per cent.")
    if np.any((ratio < 0.9) | (ratio > 1.2)):
        raise ValueError(f"factor is {np.atleast_1d(ratio).ravel()[0]:g}; expected a correction factor of 0.9 to 1.2.")
    return np.asarray(shown / 100.0 / ratio)[()]
