"""From volume and mass readings to volumes at 20 degC."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from brewlog.logbook.records import Reading, Rig
from brewlog.sucrose import density_float
from brewlog.wort import instruments as tools
from brewlog.wort.datum import KETTLE, OFFSET, Datum, owner, split_sd
from brewlog.wort.volume import EXPANSION, contraction_float

_ASSUMED_STRENGTH = 0.11  # of a wort whose gravity was not read; the contraction hardly depends on it [1]


def read_volumes(
    readings: Sequence[Reading], rig: Rig, extracts: Mapping[str, float], hot_filled: bool = False
) -> tuple[list[Datum], list[str]]:
    """Volume at 20 degC from every volume or mass reading; `extracts` by stage set the contraction."""
    notes: list[str] = []
    if not readings:
        return [], notes
    instruments = [tools.instrument_of(one.quantity, one.instrument, one.unit)[0] for one in readings]
    material = rig.vessel_material if rig.vessel_material in EXPANSION else "stainless steel"
    growth = [
        EXPANSION[material] if one.stage in KETTLE and tool.kind != "flow meter" else 0.0
        for one, tool in zip(readings, instruments, strict=True)
    ]
    temps = []
    for reading in readings:
        temp, temp_sd, note = _temperature(reading, hot_filled)
        temps.append((temp, temp_sd))
        notes += note
    extract = np.array([extracts.get(reading.stage, _ASSUMED_STRENGTH) for reading in readings])
    # rows: as read, 1 K warmer, 1 K colder
    around = np.clip(np.array(temps)[:, 0] + np.array([[0.0], [1.0], [-1.0]]), 0.0, 105.0)
    ratio = contraction_float(extract, around, np.array(growth))
    density = density_float(extract, 20.0) / 1000.0
    data = []
    for k, (reading, tool) in enumerate(zip(readings, instruments, strict=True)):
        if reading.quantity == "mass":
            scale, warmth = 1.0 / float(density[k]), 0.0
        else:
            scale = float(ratio[0, k])
            slope = float(ratio[1, k] - ratio[2, k]) / float(around[1, k] - around[2, k])
            warmth = reading.value * slope * temps[k][1]
        strength_read = reading.stage in extracts
        data.append(_datum(reading, tool, rig, scale, warmth, strength_read))
        if reading.quantity == "mass" and not strength_read:
            notes.append(
                f"{reading.stage} mass: gravity not read, a strength of {100 * _ASSUMED_STRENGTH:g} % is assumed."
            )
    return [datum for datum in data if np.isfinite(datum.value)], notes


def _temperature(reading: Reading, hot_filled: bool) -> tuple[float, float, list[str]]:
    """Temperature at which a volume was read, its sd, and a note where it had to be assumed."""
    kettle = reading.stage in KETTLE
    if reading.temp is not None:
        return float(np.clip(reading.temp, 0.0, 105.0)), tools.HOT_TEMP_SD if kettle else tools.TEMP_SD, []
    temp, temp_sd = tools.UNKNOWN_KETTLE_TEMP if kettle or hot_filled else tools.COOLED_TEMP
    if reading.quantity != "volume":
        return temp, temp_sd, []
    note = (
        f"{reading.stage} volume: temperature not recorded, taken as {temp:g} degC with a standard deviation of "
        f"{temp_sd:g} K."
    )
    return temp, temp_sd, [note]


def _datum(
    reading: Reading, tool: tools.Instrument, rig: Rig, scale: float, warmth: float, strength_read: bool
) -> Datum:
    """Datum of a volume: errors of the marks, of reading them, of the temperature; `scale` = L at 20 degC per unit."""
    name = f"{reading.stage} volume"
    value = reading.value * scale
    if reading.sd is not None:
        offset, scatter = split_sd(reading.sd * scale)
    elif rig.volume_sd is not None and reading.quantity == "volume":
        offset, scatter = split_sd(rig.volume_sd)
    else:
        wider = max(1.0, tools.MARKS_SHARE * value / tool.limit) if tool.kind == "marks" else 1.0
        offset, scatter = tool.offset_sd * wider, tool.scatter * wider
    parts = {f"{owner(reading, tool)}{OFFSET}": offset, f"reading of {name}": scatter}
    if warmth:
        parts[f"temperature of {name}"] = warmth
    if reading.quantity == "mass" and not strength_read:
        parts[f"strength assumed for {name}"] = 0.02 * value
    return Datum(name, reading.stage, "volume", value, parts)
