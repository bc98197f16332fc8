"""What is in the kettle: heat capacities of water, grain and vessel, and the heat that wetting the grain gives."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

DRY_GRAIN_HEAT = 1590.0
"""Specific heat of dry malt. [J/(kg K)] 0.38 times that of water (Brewing Room Book 1984/85)."""

SPECIFIC_HEAT = {"stainless steel": 490.0, "aluminium": 900.0, "copper": 385.0}
"""Specific heats of vessel materials. [J/(kg K)]"""

_BONE_DRY_WETTING = 40.0e3
_MOISTURE_SCALE = 0.073


def wetting_heat(moisture: ArrayLike) -> np.ndarray:
    """Heat set free when a kilogram of malt is wetted.

    Parameters
    ----------
    moisture : array_like
        Moisture of the malt as mass fraction, 0 to 0.12. [1]

    Returns
    -------
    numpy.ndarray
        Heat per mass of malt as weighed. [J/kg]

    Notes
    -----
    An exponential through the slaking table of the Brewing Room Book 1984/85: about 40 kJ/kg bone dry,
    22 at 4 % and 14 at 8 % moisture. It meets the printed rises of mash temperature within 0.3 K.

    Examples
    --------
    >>> wetting_heat([0.0, 0.04]).round(-2)
    array([40000., 23100.])
    """
    return _BONE_DRY_WETTING * np.exp(-np.asarray(moisture, dtype=float) / _MOISTURE_SCALE)


def grain_heat_capacity(mass: float, moisture: float, water_heat: float = 4187.0) -> float:
    """Heat capacity of moist grain. [J/K]

    Parameters
    ----------
    mass : float
        Grain as weighed. [kg]
    moisture : float
        Mass fraction. [1]
    water_heat : float
        Specific heat of water. [J/(kg K)]

    Examples
    --------
    >>> round(grain_heat_capacity(5.0, 0.04) + 20 * 4187.0)  # published: 92.1 kJ/K
    92209
    """
    return mass * ((1 - moisture) * DRY_GRAIN_HEAT + moisture * water_heat)


def saturation_pressure(temp: float) -> float:
    """Vapour pressure of water. [Pa]

    Magnus form with coefficients for 0 to 100 degC; within 3 % of IAPWS-97 there. NaN in gives NaN out.

    Examples
    --------
    >>> round(saturation_pressure(65.0), -2)
    25200.0
    """
    return float(610.94 * np.exp(17.625 * temp / (temp + 243.04)))
