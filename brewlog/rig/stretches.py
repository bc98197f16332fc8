"""From a brew's trace to the stretches that teach something: which rows, which power, which room."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from brewlog.logbook.records import Brew, Rig, WaterTest
from brewlog.rig.power import limited, power_of
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
ROOM = (20.0, 3.0)
"""Assumed room and its sd where nothing is recorded. [degC, K]"""
RECORDED_ROOM_SD = 1.0
"""One reading for the whole day. [K]"""
LOGGED_ROOM_SD = 0.3
"""A sensor in the room. [K]"""


@dataclass(frozen=True)
class Day:
    """The arrays of one brew day or water test."""

    label: str
    elapsed: np.ndarray
    base: np.ndarray
    mash: np.ndarray
    power: np.ndarray | None
    """[W]; None where nothing tells it."""
    relative: np.ndarray | None
    """Power as part of nameplate; None where the nameplate or the power is unknown. [1]"""
    room: np.ndarray
    room_sd: float
    """[K]"""
    coupling: np.ndarray
    pump_known: bool
    events: dict[str, float]
    """First moment of each event, recorded or found. [s]"""
    found: frozenset[str]
    """Events that were found in the trace, not recorded."""
    notes: tuple[str, ...]
    outside: tuple[tuple[float, float], ...] = ()
    """Stretches in which the bed probe had slipped out of the bed. [s]"""
    power_sd: float = 0.0
    """Relative sd of the power at rest that comes with the way of logging. [1]"""


def day_of(brew: Brew | WaterTest, rig: Rig | None) -> Day:
    """Arrays of one day.

    Raises
    ------
    ValueError
        With a plain reason if there is no trace, or no temperature in it.
    """
    trace = brew.trace  # type: ignore[misc]
    if trace is None or len(trace) < 10:
        raise ValueError("no trace")
    t = trace["elapsed"].to_numpy(float)
    keep = np.append(True, np.diff(t) > 0)
    trace, t = trace.loc[keep], t[keep]

    def channel(name: str) -> np.ndarray:
        return trace[name].to_numpy(float) if name in trace else np.full(t.size, np.nan)

    base, mash = channel("base_temp"), channel("mash_temp")
    if not np.isfinite(base).any() and not np.isfinite(mash).any():
        raise ValueError("the trace holds neither base_temp nor mash_temp")
    notes: list[str] = []
    outside = _outside(brew, t, mash)
    mash = mash.copy()
    for first, last in outside:
        mash[(t >= first) & (t <= last)] = np.nan
        notes.append(f"bed probe out of the bed from {first / 60:.0f} to {last / 60:.0f} min, left out")
    events, found = _events(brew)
    had = power_of(trace, rig)
    if "mash-in" in events:
        had = limited(had, trace, getattr(brew, "rests", ()), (events["mash-in"], events.get("lift", float(t[-1]))))
    power = had.watts
    notes.append(f"power: {had.how}")
    relative = None
    if power is not None and rig is not None and rig.heater_power:
        relative = power / rig.heater_power
    elif "power" in trace or "heater" in trace:
        relative = channel("power") / 100 if "power" in trace else channel("heater")
    ambient = channel("ambient_temp")
    recorded = getattr(brew, "ambient_temp", None)
    if np.isfinite(ambient).mean() > 0.2:
        room, room_sd = ambient, LOGGED_ROOM_SD
        notes.append("room: logged")
    elif recorded is not None:
        room, room_sd = np.full(t.size, recorded), RECORDED_ROOM_SD
        notes.append("room: one value recorded")
    else:
        room, room_sd = np.full(t.size, ROOM[0]), ROOM[1]
        notes.append(f"room: not recorded, {ROOM[0]:g} +- {ROOM[1]:g} degC assumed")
    coupling, pump_known = _coupling(trace, brew, t)
    return Day(
        brew.label,
        t,
        base,
        mash,
        power,
        relative,
        room,
        room_sd,
        coupling,
        pump_known,
        events,
        found,
        tuple(notes),
        outside,
        had.sd,
    )


def _coupling(trace: Any, brew: Brew | WaterTest, t: np.ndarray) -> tuple[np.ndarray, bool]:
    """Recirculation as part of the usual one: from the pump channel, else from pump events, else 1."""
    if "pump" in trace and trace["pump"].notna().any():
        pump = trace["pump"].ffill().bfill().to_numpy(float)
        on = pump > 0
        usual = float(np.median(pump[on])) if on.any() else 1.0
        return np.where(on, np.round(pump / usual, 1), 0.0).clip(0.0, 3.0), True
    events = [e for e in getattr(brew, "events", ()) if e.event in ("pump off", "pump on")]
    out = np.ones(t.size)
    for event in events:
        out[t >= event.elapsed] = float(event.event == "pump on")
    return out, bool(events)


def _events(brew: Brew | WaterTest) -> tuple[dict[str, float], frozenset[str]]:
    """Moments of the day, recorded or else found in the trace; none for a water test."""
    if isinstance(brew, WaterTest):
        return {}, frozenset()
    from brewlog.mash import find_marks

    marks = find_marks(brew)
    named = {"mash-in": "mash_in", "lift": "lift", "boil": "boil", "boil end": "boil_end", "fill": "fill"}
    moments = {event: float(getattr(marks, name)) for event, name in named.items()}
    found = frozenset(event for event, name in named.items() if name in marks.found)
    return {event: at for event, at in moments.items() if np.isfinite(at)}, found


def _outside(brew: Brew | WaterTest, t: np.ndarray, mash: np.ndarray) -> tuple[tuple[float, float], ...]:
    """Stretches in which the bed probe had slipped out of the bed."""
    if isinstance(brew, WaterTest) or not np.isfinite(mash).any():
        return ()
    from brewlog.mash import find_marks
    from brewlog.mash.probe import out_of_bed

    good = np.isfinite(mash)
    return out_of_bed(t[good], mash[good], find_marks(brew))


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
