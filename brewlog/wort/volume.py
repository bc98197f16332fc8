"""Volumes brought to 20 degC and the extract in them."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from brewlog.quantities import to_float
from brewlog.sucrose import density_float
from brewlog.wort.properties import checked_extract
from brewlog.wort.water import checked_temp

EXPANSION = {"stainless steel": 17.3e-6, "aluminium": 23.1e-6, "copper": 16.6e-6}
"""Linear expansion of vessel materials between 20 and 100 degC (handbook values). [1/K]"""


def volume_at_20(volume: ArrayLike, temp: ArrayLike, extract: ArrayLike = 0.0, vessel: str | None = None) -> np.ndarray:
    """Volume that hot wort has when it is cooled to 20 degC.

    NaN in gives NaN out. At 20 degC the volume is returned as it is.

    Parameters
    ----------
    volume : array_like or pint.Quantity
        Volume at `temp`, at least 0: of the liquid alone, or as read on the marks of `vessel`. [L]
    temp : array_like or pint.Quantity
        Temperature at which it was read, 0 to 105. [degC]
    extract : array_like or pint.Quantity
        Extract by mass, 0 to 0.7. [1]
    vessel : str, optional
        `stainless steel`, `aluminium` or `copper`: the volume was read on marks of a vessel of that material, true at
        20 degC, which is as hot as the wort. None: the volume of the liquid itself.

    Returns
    -------
    numpy.ndarray
        Volume at 20 degC. [L]

    Raises
    ------
    ValueError
        If a volume is negative, an extract or temperature is outside its range, or the material is not known.

    Notes
    -----
    Ratio of the densities at the same extract; a vessel grows by three times its linear expansion. From 100 to 20 degC
    the liquid alone shrinks to 0.960, wort read on the marks of a steel vessel to 0.964.

    Examples
    --------
    >>> volume_at_20(25.0, 100.0, 0.12).round(2)
    np.float64(24.0)
    >>> volume_at_20(25.0, 100.0, 0.12, vessel="stainless steel").round(2)
    np.float64(24.1)
    """
    litres = to_float(volume, "L", "volume")
    if np.any(litres < 0.0):
        raise ValueError(f"volume is {np.nanmin(litres):g} L; expected at least 0 L.")
    growth = vessel_expansion(vessel)
    return np.asarray(litres * contraction_float(checked_extract(extract), checked_temp(temp), growth))[()]


def vessel_expansion(vessel: str | None) -> float:
    """Linear expansion of a vessel material; 0 for None. [1/K]"""
    if vessel is None:
        return 0.0
    try:
        return EXPANSION[vessel]
    except KeyError:
        words = ", ".join(f"'{name}'" for name in EXPANSION)
        raise ValueError(f"vessel is {vessel!r}; expected one of {words}, or None for the liquid alone.") from None


def contraction_float(extract: np.ndarray, temp: np.ndarray, expansion: float | np.ndarray = 0.0) -> np.ndarray:
    """Volume at 20 degC over the volume read at `temp`, float arrays."""
    ratio = density_float(extract, temp) / density_float(extract, 20.0)
    return ratio * (1.0 + expansion * (temp - 20.0)) ** 3


def extract_mass(volume: ArrayLike, extract: ArrayLike) -> np.ndarray:
    """Mass of extract dissolved in wort.

    Water (zero extract) gives zero; NaN in gives NaN out. Hops and trub count as wort.

    Parameters
    ----------
    volume : array_like or pint.Quantity
        Volume of wort at 20 degC, at least 0. [L]
    extract : array_like or pint.Quantity, broadcast against `volume`
        Extract by mass, 0 to 0.7. [1]

    Returns
    -------
    numpy.ndarray
        Mass of extract. [kg]

    Raises
    ------
    ValueError
        If a volume is negative, or an extract outside 0 to 0.7: most often degrees Plato given as a fraction.

    Notes
    -----
    Volume x density x mass fraction, all at 20 degC.

    Examples
    --------
    >>> extract_mass([25.0, 24.0], 0.12).round(2)
    array([3.14, 3.01])
    """
    litres, fraction = to_float(volume, "L", "volume"), checked_extract(extract)
    if np.any(litres < 0.0):
        raise ValueError(f"volume is {np.nanmin(litres):g} L; expected at least 0 L.")
    return np.asarray(litres * density_float(fraction, 20.0) * fraction / 1000.0)[()]
