"""How hot the strike water must be: the heat balance at mash-in."""

from __future__ import annotations

from typing import Any

import numpy as np

from brewlog.quantities import to_float
from brewlog.rig.capacity import MALT_SD, WATER_SD, malt_heat_capacity, water_heat_capacity, wetting_heat
from brewlog.rig.mashin import GRAIN_SD, STIRRED_SD, WETTING_SD

BOILING = 100.0
"""No strike water gets hotter. [degC]"""


def strike_temp(
    water: Any,
    grain: Any,
    mash_temp: float,
    *,
    grain_temp: float = 20.0,
    moisture: float = 0.045,
    vessel: float = 0.0,
    vessel_sd: float = 0.0,
) -> tuple[float, float]:
    """Temperature of the strike water that gives a mash temperature, heater off, and one standard deviation. [degC]

    Parameters
    ----------
    water : float or pint.Quantity
        In the kettle, at 20 degC; above 0. [L]
    grain : float or pint.Quantity
        As weighed, above 0. [kg]
    mash_temp : float
        Of the whole mash when its heat has spread. [degC]
    grain_temp : float
        [degC]
    moisture : float
        Of the grain, mass fraction, 0 to 0.2. [1]
    vessel, vessel_sd : float
        Heat capacity of the kettle, which is as warm as its water. [J/K]

    Raises
    ------
    ValueError
        If there is no water or no grain, if the water would have to boil, or a moisture lies beyond 0 to 0.2.

    Notes
    -----
    (C_water + C_vessel) (T_strike - T_mash) = C_malt (T_mash - T_grain) - m h_wetting [1]_. The sd counts grain and
    wetting heat, the charge, and what stirring leaves open (steam, heat that has not spread yet).

    References
    ----------
    .. [1] Brewing Room Book 1984/85, initial mash temperature and slaking table.

    Examples
    --------
    >>> found, sd = strike_temp(20.0, 5.0, 65.0, moisture=0.04)
    >>> round(found, 1), round(sd, 1)
    (68.2, 0.4)
    """
    litres, mass = float(to_float(water, "L", "water")), float(to_float(grain, "kg", "grain"))
    if not litres > 0 or not mass > 0:
        raise ValueError(f"water is {litres:g} L and grain {mass:g} kg; expected both above 0.")
    malt = float(malt_heat_capacity(mass, moisture, (mash_temp + grain_temp) / 2))
    wet = float(water_heat_capacity(litres, mash_temp)) + vessel
    drop = (malt * (mash_temp - grain_temp) - mass * float(wetting_heat(moisture))) / wet
    if mash_temp + drop >= BOILING:
        raise ValueError(
            f"water for a mash of {mash_temp:g} degC would have to be {mash_temp + drop:.0f} degC hot; "
            "expected more water or warmer grain."
        )
    grist = np.hypot(malt * GRAIN_SD, mass * WETTING_SD) / wet
    charge = drop * np.hypot(np.hypot(WATER_SD * (wet - vessel), vessel_sd) / wet, MALT_SD)
    return mash_temp + drop, float(np.hypot(np.hypot(grist, charge), STIRRED_SD * drop))
