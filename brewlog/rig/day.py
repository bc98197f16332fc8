"""From a brew's trace to its arrays: temperatures, power, room, recirculation, and the moments of the day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from brewlog.logbook.records import Brew, Rig, WaterTest
from brewlog.rig.power import limited, power_of

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
        notes.append(f"room: not recorded, {ROOM[0]:g} ± {ROOM[1]:g} degC assumed")
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
