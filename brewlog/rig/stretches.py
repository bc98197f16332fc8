"""The stretches of a day that teach something: which rows, and what is left out."""

from __future__ import annotations

import numpy as np

from brewlog.rig.day import Day
from brewlog.rig.series import Series, make_series

SETTLE = 480.0
"""Left out after mash-in where no pump is logged: the grain is being stirred in. [s]"""
AFTER_PUMP = 120.0
"""Left out after the pump starts: the bed is still one temperature per lump. [s]"""
BEFORE_LIFT = 60.0
"""Left out before the lift: the probe is pulled out first. [s]"""
LONGEST_GAP = 300.0
"""Over longer gaps nothing is bridged: the stretch ends, the next one begins anew. [s]"""
SHORTEST = 1200.0
"""Shorter stretches tell too little. [s]"""
EVAPORATES = 82.0
"""Above this an open kettle loses so much heat by vapour that a linear loss no longer describes it. [degC]"""


def cut(day: Day, start: float, end: float, *, probe: bool, coupled: bool = True) -> list[Series]:
    """Rows of a day from `start` to `end` as series, ended and begun anew at long gaps.

    A reading that is missing is not seen; where base sensor and power are both missing for longer than five minutes
    nothing is bridged.

    Parameters
    ----------
    day : Day
    start, end : float
        [s]
    probe : bool
        Whether the bed probe is used.
    coupled : bool
        Whether the recirculation follows pump channel or events; else it is 1.

    Raises
    ------
    ValueError
        If nothing is left, with the reason.
    """
    if day.relative is None and day.power is None:
        raise ValueError("no power is logged")
    power = day.power if day.power is not None else day.relative
    assert power is not None
    inside = (day.elapsed >= start) & (day.elapsed <= end)
    known = inside & np.isfinite(power) & (np.isfinite(day.base) | (np.isfinite(day.mash) & probe))
    rows = np.flatnonzero(known)
    if rows.size < 10:
        raise ValueError("fewer than 10 rows with power and a temperature")
    breaks = np.flatnonzero(np.diff(day.elapsed[rows]) > LONGEST_GAP) + 1
    series = []
    for part in np.split(rows, breaks):
        if part.size < 10 or day.elapsed[part[-1]] - day.elapsed[part[0]] < SHORTEST / 4:
            continue
        # rows in which nothing is known still carry time; power holds over them
        take = np.arange(part[0], part[-1] + 1)
        with_probe = probe and np.isfinite(day.mash[take]).sum() > 10
        with_base = np.isfinite(day.base[take]).sum() > 10
        if not with_probe and not with_base:
            continue
        series.append(
            make_series(
                day.elapsed[take],
                np.clip(power[take], 0, None),
                base_temp=day.base[take] if with_base else None,
                mash_temp=day.mash[take] if with_probe else None,
                ambient_temp=day.room[take],
                coupling=np.maximum(day.coupling[take], 0.02) if coupled else 1.0,
                label=day.label,
            )
        )
    if not series:
        raise ValueError("too little of the stretch was seen")
    return series


def mash_span(day: Day) -> tuple[float, float]:
    """Start and end of the stretch that tells about the bed: from the settled bed to the lift. [s]

    Raises
    ------
    ValueError
        If mash-in is neither recorded nor found.
    """
    if "mash-in" not in day.events:
        raise ValueError("mash-in is neither recorded nor found in the trace")
    begin = day.events["mash-in"]
    end = day.events.get("lift", day.events.get("boil", float(day.elapsed[-1]))) - BEFORE_LIFT
    start = begin + SETTLE
    if day.pump_known:
        running = np.flatnonzero((day.elapsed > begin + 60) & (day.coupling > 0.1) & (day.elapsed < end))
        if running.size:
            start = float(day.elapsed[running[0]]) + AFTER_PUMP
    if end - start < SHORTEST:
        raise ValueError(f"only {max(end - start, 0) / 60:.0f} min between settled bed and lift; 20 min are needed")
    return start, end


def heat_up_span(day: Day) -> tuple[float, float]:
    """Start and end of the strike water's heating. [s]

    From the first row with power until mash-in, or until the water has been at its highest; without evaporation.

    Raises
    ------
    ValueError
        If there is no such stretch of five minutes with a rise of 8 K.
    """
    end = day.events.get("mash-in", float(day.elapsed[-1]))
    inside = (day.elapsed < end) & np.isfinite(day.base) & (day.base < EVAPORATES)
    power = day.relative if day.relative is not None else day.power
    if power is None:
        raise ValueError("no power is logged")
    on = inside & (np.nan_to_num(power) > 0.2 * np.nanmax(power))
    rows = np.flatnonzero(on)
    if rows.size < 10:
        raise ValueError("no heating of water before mash-in was logged")
    start, last = day.elapsed[rows[0]], day.elapsed[rows[-1]]
    rise = day.base[rows[-1]] - day.base[rows[0]]
    if last - start < 300 or rise < 8:
        raise ValueError(f"only {(last - start) / 60:.0f} min and {rise:.0f} K of heating before mash-in were logged")
    return float(start), float(last)
