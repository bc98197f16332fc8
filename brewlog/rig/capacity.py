"""Heat capacities from the inventory: water, malt and vessel, each with its own uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from brewlog.logbook.records import Brew, Rig, WaterTest
from brewlog.quantities import to_float
from brewlog.wort.volume import volume_at_20
from brewlog.wort.water import water_density, water_specific_heat

DRY_MALT = 0.38
"""Specific heat of dry malt relative to water: Brewing Room Book 1984/85, slaking table; printed from 0 to 8 %."""

VESSEL_SPECIFIC_HEAT = {"stainless steel": 490.0, "aluminium": 900.0, "copper": 385.0}
"""Stainless steel 480 to 500 J/(kg K): common practice, no source; the others: handbook values at 25 degC. [J/kgK]"""

VESSEL_MASS_PER_LITRE = 0.19
"""5 to 10 kg for a kettle of 40 L: common practice, no source. [kg/L]"""

WATER_SD = 0.02
"""Relative sd of recorded litres: 1 to 3 % in a marked kettle (common practice, no source). [1]"""

MALT_SD = 0.08
"""Relative sd of the heat capacity of malt: 1.30 to 1.65 kJ/(kg K) are printed for dry grain. [1]"""

DEFAULT_MOISTURE = 0.045
"""Malt of which no analysis is recorded. [1]"""

DEFAULT_KETTLE = 35.0
"""Assumed size of a kettle of which nothing is recorded; its vessel is then known to half of its value only. [L]"""


def water_heat_capacity(volume: ArrayLike, temp: ArrayLike = 65.0) -> np.ndarray:
    """Heat capacity of so many litres of water.

    Parameters
    ----------
    volume : array_like
        At 20 degC, at least 0. [L]
    temp : array_like
        Mean temperature while it is heated, 0 to 105. [degC]

    Returns
    -------
    numpy.ndarray
        [J/K]

    Examples
    --------
    >>> water_heat_capacity(10.0, 40.0).round(-1)
    np.float64(41720.0)
    """
    litres = to_float(volume, "L", "volume")
    return np.asarray(litres * water_density(20.0) / 1000 * water_specific_heat(temp))[()]


def malt_heat_capacity(mass: ArrayLike, moisture: ArrayLike = DEFAULT_MOISTURE, temp: ArrayLike = 65.0) -> np.ndarray:
    """Heat capacity of malt as weighed.

    Parameters
    ----------
    mass : array_like
        At least 0. [kg]
    moisture : array_like
        Mass fraction, 0 to 0.2. [1]
    temp : array_like
        [degC]

    Returns
    -------
    numpy.ndarray
        [J/K]

    Raises
    ------
    ValueError
        If a moisture lies outside 0 to 0.2: most often per cent given as a fraction.

    Notes
    -----
    Relative to water 0.38 (1 - m) + m, which meets the printed table within 0.01 [1]_.

    References
    ----------
    .. [1] Brewing Room Book 1984/85, initial mash temperature and slaking table.

    Examples
    --------
    >>> malt_heat_capacity(5.0, 0.04).round(-2)
    np.float64(8500.0)
    """
    m = to_float(moisture, "1", "moisture")
    if np.any((m < 0) | (m > 0.2)):
        raise ValueError(f"moisture is {m}; expected a mass fraction from 0 to 0.2 (4 % is 0.04).")
    relative = DRY_MALT * (1 - m) + m
    return np.asarray(to_float(mass, "kg", "mass") * relative * water_specific_heat(temp))[()]


def wetting_heat(moisture: ArrayLike) -> np.ndarray:
    """Heat that a kilogram of malt gives off when it is wetted (slaking heat).

    Parameters
    ----------
    moisture : array_like
        Mass fraction, 0 to 0.2. [1]

    Returns
    -------
    numpy.ndarray
        Per mass of malt as weighed. [J/kg]

    Notes
    -----
    40 kJ/kg bone dry, falling with exp(-14.2 m): within 2 kJ/kg (0.2 K of the mash) of what the printed rises
    imply, 40.0, 29.7, 27.3, 22.1 and 14.4 kJ/kg at 0, 2, 3, 4 and 8 % [1]_.

    References
    ----------
    .. [1] Brewing Room Book 1984/85, slaking table.

    Examples
    --------
    >>> wetting_heat([0.0, 0.04]).round(-2)
    array([40000., 22700.])
    """
    return np.asarray(40.0e3 * np.exp(-14.2 * to_float(moisture, "1", "moisture")))


@dataclass(frozen=True, slots=True)
class Inventory:
    """What stands in the kettle, as heat capacities. [J/K]"""

    water: float
    malt: float
    vessel: float
    water_sd: float
    malt_sd: float
    vessel_sd: float
    rests_on: str
    """What was recorded and what had to be assumed."""

    @property
    def total(self) -> float:
        """Heat capacity of all together. [J/K]"""
        return self.water + self.malt + self.vessel

    @property
    def sd(self) -> float:
        """One standard deviation of `total`. [J/K]"""
        return float(np.sqrt(self.water_sd**2 + self.malt_sd**2 + self.vessel_sd**2))


def vessel_from_records(rig: Rig | None) -> tuple[float, float, str]:
    """Heat capacity of the empty vessel, its sd [J/K], and what they rest on.

    Parameters
    ----------
    rig : Rig or None
        Its `vessel_mass` and material, else its `kettle_volume`, else a kettle of 35 L.

    Returns
    -------
    heat_capacity, sd : float
    rests_on : str

    Examples
    --------
    >>> vessel_from_records(Rig("shed", vessel_mass=8.0, vessel_material="stainless steel"))
    (3920.0, 588.0, 'the recorded vessel mass')
    """
    specific = VESSEL_SPECIFIC_HEAT.get((rig.vessel_material if rig else None) or "stainless steel", 490.0)
    if rig is not None and rig.vessel_mass:
        value = rig.vessel_mass * specific
        return value, 0.15 * value, "the recorded vessel mass"
    if rig is not None and rig.kettle_volume:
        value = rig.kettle_volume * VESSEL_MASS_PER_LITRE * specific
        return value, 0.3 * value, "the kettle's volume (no vessel mass recorded)"
    value = DEFAULT_KETTLE * VESSEL_MASS_PER_LITRE * specific
    return value, 0.5 * value, "a guess (neither vessel mass nor kettle volume recorded)"


def grist_of(brew: Brew) -> tuple[float, float] | None:
    """Mass of all malts [kg] and their mean moisture [1]; None where a malt has no mass, or all together have none."""
    if not brew.malts or any(m.mass is None for m in brew.malts):
        return None
    mass = np.array([m.mass for m in brew.malts], dtype=float)
    if not mass.sum() > 0:
        return None
    wet = np.array([DEFAULT_MOISTURE if m.moisture is None else m.moisture for m in brew.malts])
    return float(mass.sum()), float((mass * wet).sum() / mass.sum())


def water_inventory(volume: float, rig: Rig | None, temp: float = 45.0, volume_sd: float | None = None) -> Inventory:
    """Inventory of a kettle with water alone.

    Parameters
    ----------
    volume : float
        At 20 degC. [L]
    rig : Rig or None
    temp : float
        Mean temperature while it is heated. [degC]
    volume_sd : float, optional
        2 % where not given. [L]
    """
    vessel, vessel_sd, words = vessel_from_records(rig)
    water = float(water_heat_capacity(volume, temp))
    share = WATER_SD if volume_sd is None else volume_sd / volume
    return Inventory(water, 0.0, vessel, water * share, 0.0, vessel_sd, f"{volume:g} L of water, {words}")


def inventory_of_test(test: WaterTest, rig: Rig | None, temp: float = 45.0) -> Inventory | None:
    """Inventory of a water test; None where its litres are not recorded."""
    if test.water is None:
        return None
    read_at = 20.0 if test.water_temp is None else test.water_temp
    material = rig.vessel_material if rig else None
    return water_inventory(float(volume_at_20(test.water, read_at, 0.0, vessel=material)), rig, temp)


def mash_inventory(brew: Brew, rig: Rig | None, temp: float = 67.0) -> Inventory | None:
    """Inventory of the mash; None where mash water or grist is not recorded.

    Parameters
    ----------
    brew : Brew
    rig : Rig or None
    temp : float
        Mean temperature of the mash. [degC]
    """
    grist = grist_of(brew)
    if brew.mash_water is None or grist is None:
        return None
    kettle = water_inventory(brew.mash_water, rig, temp)
    malt = float(malt_heat_capacity(grist[0], grist[1], temp))
    words = f"{brew.mash_water:g} L of water and {grist[0]:g} kg of malt, " + kettle.rests_on.split(", ", 1)[1]
    return Inventory(kettle.water, malt, kettle.vessel, kettle.water_sd, MALT_SD * malt, kettle.vessel_sd, words)
