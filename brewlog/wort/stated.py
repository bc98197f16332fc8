"""What a record states of its own errors and instruments, where that cannot be: replaced, and said."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from math import inf, isfinite
from typing import Any

from brewlog.logbook.records import Addition, Reading, Rig

_FACTORS = (0.8, 1.3)
_CALIBRATIONS = (0.0, 60.0)


def usable_rig(rig: Rig | None) -> tuple[Rig, list[str]]:
    """A rig whose stated figures can be worked with, and notes on those that were not used.

    A standard deviation of 0 would make a reading exact and every other one wrong: no instrument is that good.
    """
    if rig is None:
        return Rig(""), []
    usual = Rig(rig.label)
    changes: dict[str, Any] = {}
    for name in ("volume_sd", "gravity_sd"):
        value = getattr(rig, name)
        if value is not None and not (isfinite(value) and value > 0.0):
            changes[name] = None
    for name, (low, high) in (("refractometer_factor", _FACTORS), ("hydrometer_temp", _CALIBRATIONS)):
        if not low <= getattr(rig, name) <= high:
            changes[name] = getattr(usual, name)
    notes = [
        f"rig {rig.label!r}: {name} of {getattr(rig, name):g} cannot be, "
        + ("each instrument's default is used." if value is None else f"{value:g} is used.")
        for name, value in changes.items()
    ]
    if rig.dead_volume is not None and not (isfinite(rig.dead_volume) and rig.dead_volume >= 0.0):
        changes["dead_volume"] = None
        notes.append(f"rig {rig.label!r}: dead_volume of {rig.dead_volume:g} cannot be, left out.")
    return replace(rig, **changes), notes


def usable_readings(readings: Iterable[Reading]) -> tuple[list[Reading], list[str]]:
    """Readings whose stated standard deviation and temperature can be worked with, and notes on the others."""
    out, notes = [], []
    for reading in readings:
        if reading.sd is not None and not (isfinite(reading.sd) and reading.sd > 0.0):
            notes.append(
                f"{place(reading)}: a standard deviation of {reading.sd:g} cannot be, "
                "that of the rig or the instrument is used."
            )
            reading = replace(reading, sd=None)
        if reading.temp is not None and not isfinite(reading.temp):
            reading = replace(reading, temp=None)
        out.append(reading)
    return out, notes


def place(reading: Reading) -> str:
    """Which reading is meant, with its line in the file where it is known.

    Examples
    --------
    >>> place(Reading("1", "pre-boil", "gravity", 1.044, "SG", line=12))
    'pre-boil gravity (readings.csv, line 12)'
    """
    line = "" if reading.line is None else f" (readings.csv, line {reading.line})"
    return f"{reading.stage} {reading.quantity}{line}"


def usable_addition(addition: Addition) -> Addition:
    """An addition whose numbers can be worked with: what cannot be counts as not recorded."""
    changes: dict[str, Any] = {
        name: None
        for name, low, high in (("mass", 0.0, inf), ("volume", 0.0, inf), ("temp", -40.0, 120.0), ("extract", 0.0, 1.0))
        if (value := getattr(addition, name)) is not None and not (isfinite(value) and low <= value <= high)
    }
    return replace(addition, **changes) if changes else addition
