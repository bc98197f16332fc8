"""The drop at mash-in: how much heat the cold grain took from the strike water."""

from __future__ import annotations

import numpy as np

from brewlog.logbook.records import Brew
from brewlog.rig.boiling import Told
from brewlog.rig.capacity import Inventory, grist_of, malt_heat_capacity, wetting_heat
from brewlog.rig.day import Day
from brewlog.rig.series import Series

STIRRED_SD = 0.08
"""What stirring leaves open, as part of the heat capacity: steam from the open kettle, heat that the bed has not yet
shared. On simulated days with more physics than this balance it came out 8 % low with 4 % scatter. [1]"""
GRAIN_SD = 2.0
"""Of the temperature of grain that was recorded. [K]"""
WETTING_SD = 2.0e3
"""[J/kg]"""


def mash_in_capacity(
    brew: Brew, day: Day, series: Series, inventory: Inventory, bed: float, heat_loss: float, share: float
) -> Told:
    """Heat capacity of the whole mash from the drop at mash-in.

    A check on the recorded litres, not a source: the litres tell the same to 2 %, the drop to about 8 %.

    Parameters
    ----------
    brew : Brew
    day : Day
    series : Series
        Of the mash, from the settled bed on.
    inventory : Inventory
    bed : float
        Part of the heat capacity in the bed. [1]
    heat_loss : float
        [W/K]
    share : float
        Of the heater. [1]

    Returns
    -------
    Told
        [J/K]

    Raises
    ------
    ValueError
        With a plain reason where the drop was not seen or the grain's temperature is not recorded.

    Notes
    -----
    C_water (T_strike - T_mash) + heater - loss + m h_wetting = C_malt (T_mash - T_grain), solved for C_water, the heat
    capacity of water and vessel; T_mash is the mean of base and bed when the bed has settled.
    """
    grist = grist_of(brew)
    if grist is None or brew.grain_temp is None:
        raise ValueError("grain_temp or the malts' mass is not recorded")
    if "mash-in" not in day.events or day.power is None:
        raise ValueError("mash-in or the power around it is not known")
    begin, rows = day.events["mash-in"], slice(0, 12)
    before = (day.elapsed > begin - 120) & (day.elapsed <= begin) & np.isfinite(day.base)
    first = series.readings[rows]
    if before.sum() < 2 or not np.isfinite(first).any(axis=0).all():
        raise ValueError("base sensor and bed probe did not both see mash-in")
    strike, (base, mash) = float(np.median(day.base[before])), np.nanmean(first, axis=0)
    mean, end = (1 - bed) * base + bed * mash, float(series.elapsed[rows].mean())
    drop = strike - mean
    if drop < 1.0:
        raise ValueError(f"the mash was only {drop:.1f} K colder than the strike water")
    inside = (day.elapsed >= begin) & (day.elapsed < end)
    seconds = np.diff(day.elapsed[inside])
    heater = share * float(np.nansum(day.power[inside][:-1] * seconds))
    lost = heat_loss * (strike - float(np.nanmean(day.room))) * (end - begin)
    mass, moisture = grist
    malt = float(malt_heat_capacity(mass, moisture, mean))
    needed = malt * (mean - brew.grain_temp) - mass * float(wetting_heat(moisture)) - heater + lost
    water = needed / drop
    open_ = np.hypot(malt * GRAIN_SD, mass * WETTING_SD)
    sd = float(np.hypot(np.hypot(open_, inventory.malt_sd * (mean - brew.grain_temp)), water * 0.2) / drop)
    total = water + malt
    return Told(float(total), float(np.hypot(sd, STIRRED_SD * total)))
