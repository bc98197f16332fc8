"""From the readings of a brew day to volumes and extracts at 20 degC, each with where its errors come from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from brewlog.logbook.records import Brew, Reading, Rig
from brewlog.wort.datum import STAGES, Datum
from brewlog.wort.gravity_readings import read_gravities
from brewlog.wort.stated import place, usable_readings
from brewlog.wort.volume_readings import read_volumes

_LITTLE = 0.05  # less than this is no wort [L or kg]


def read_brew(brew: Brew, rig: Rig) -> tuple[list[Datum], list[str]]:
    """All readings of wort of a brew as data of the account, and notes on what had to be assumed.

    A repeat gets a number behind its name.
    """
    hot_filled = brew.cooling == "hot-filled"
    known, notes = _of_the_account(brew, hot_filled)
    gravities, more = read_gravities((one for one in known if one.quantity == "gravity" and one.value > 0), rig)
    notes += more
    extracts: dict[str, float] = {}
    for datum in gravities:
        extracts.setdefault(datum.stage, min(max(datum.value, 0.0), 0.4))
    amounts = [one for one in known if one.quantity in ("volume", "mass")]
    notes += [f"{place(one)}: next to nothing, left out." for one in amounts if one.value < _LITTLE]
    amounts = [one for one in amounts if one.value >= _LITTLE]
    if any(one.stage == "first wort" for one in amounts):
        amounts = [one for one in amounts if one.stage != "first wort"]
        notes.append("volume of the first wort: not used, it says nothing about what stays in the grain.")
    volumes, more = read_volumes(amounts, rig, extracts, hot_filled)
    return _numbered([*gravities, *volumes]), list(dict.fromkeys([*notes, *more]))


def _of_the_account(brew: Brew, hot_filled: bool) -> tuple[list[Reading], list[str]]:
    """Readings of the stages that the account knows; wort that is filled hot is fermented where it stands."""
    in_place, notes = brew.readings, []
    if hot_filled and not any(reading.stage == "fermenter" for reading in in_place):
        if any(one.stage == "packaged" for one in in_place):
            notes.append("hot-filled: the filled container counts as the fermenter.")
        in_place = tuple(replace(one, stage="fermenter") if one.stage == "packaged" else one for one in in_place)
    known, more = usable_readings(one for one in in_place if one.stage in STAGES and np.isfinite(one.value))
    return known, [*notes, *more]


def _numbered(data: list[Datum]) -> list[Datum]:
    """Give repeats names of their own, and their scatter sources too; offsets stay shared."""
    seen: dict[str, int] = {}
    out = []
    for datum in data:
        count = seen[datum.name] = seen.get(datum.name, 0) + 1
        if count > 1:
            name = f"{datum.name} ({count})"
            parts = {key.replace(datum.name, name): part for key, part in datum.parts.items()}
            datum = replace(datum, name=name, parts=parts)
        out.append(datum)
    return out
