"""From gravity readings to extract, each by the nature of its instrument."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from brewlog.logbook.records import Reading, Rig
from brewlog.sucrose import (
    AIR_DENSITY,
    DENSITY_PER_SG,
    density_float,
    density_slope_float,
    extract_from_density_float,
    extract_from_sg_float,
    water_density_float,
)
from brewlog.wort import instruments as tools
from brewlog.wort.datum import OFFSET, Datum, owner, split_sd
from brewlog.wort.gravity import floats_at
from brewlog.wort.stated import place

_STRENGTH = (-0.05, 0.6)  # extract of what may be a wort [1]
_TOO_HOT = 45.0  # a hydrometer is out of its range [degC]


def read_gravities(readings: Iterable[Reading], rig: Rig) -> tuple[list[Datum], list[str]]:
    """Extract of the wort from every gravity reading, and notes on what had to be assumed."""
    found: list[tuple[Reading, Datum]] = []
    notes: list[str] = []
    floating: list[tuple[Reading, tools.Instrument, float, float, float]] = []
    for reading in readings:
        tool, _ = tools.instrument_of("gravity", reading.instrument, reading.unit)
        if tool.kind == "refractometer":
            datum, more = _refracted(reading, tool, rig)
            found.append((reading, datum))
        else:
            density, temp, temp_sd, more = _floating(reading, tool, rig)
            floating.append((reading, tool, density, temp, temp_sd))
        notes += more
    if floating:
        found += zip((one[0] for one in floating), _floated(floating, rig), strict=True)
    wort = [_STRENGTH[0] < datum.value < _STRENGTH[1] for _, datum in found]
    notes += [
        f"{place(reading)}: {reading.value:g} {reading.unit} is not that of a wort, left out."
        for (reading, _), fits in zip(found, wort, strict=True)
        if not fits
    ]
    return [datum for (_, datum), fits in zip(found, wort, strict=True) if fits], notes


def _floated(rows: list[tuple[Reading, tools.Instrument, float, float, float]], rig: Rig) -> list[Datum]:
    """Extracts from what hydrometers and density meters show, all in one go."""
    densities = np.array([one[2] for one in rows])
    temps = np.array([one[3] for one in rows])
    made_for = np.array([rig.hydrometer_temp if one[1].kind == "hydrometer" else one[3] for one in rows])
    # rows: as read, sample 0.5 K warmer, sample 0.5 K colder
    around = np.clip(temps + np.array([[0.0], [0.5], [-0.5]]), 0.0, 105.0)
    extracts = extract_from_density_float(floats_at(densities, around, made_for), around)
    per_density = 1.0 / density_slope_float(extracts[0], temps)
    data = []
    for k, (reading, tool, _, _, temp_sd) in enumerate(rows):
        warmth = (extracts[1, k] - extracts[2, k]) * temp_sd
        data.append(_datum(reading, tool, rig, float(extracts[0, k]), float(per_density[k]), float(warmth)))
    return data


def _floating(reading: Reading, tool: tools.Instrument, rig: Rig) -> tuple[float, float, float, list[str]]:
    """Density at the calibration temperature, sample temperature, its sd, notes."""
    compensated = tool.kind == "density meter" and reading.unit != "kg/m^3"
    reference = rig.hydrometer_temp if tool.kind == "hydrometer" else 20.0
    notes = []
    if compensated:
        temp, temp_sd = 20.0, 0.0
    elif reading.temp is None:
        temp, temp_sd = reference, tools.SAMPLE_TEMP_SD
        notes.append(
            f"{reading.stage} gravity: temperature of the sample not recorded, taken as {temp:g} degC "
            f"with a standard deviation of {temp_sd:g} K."
        )
    else:
        temp, temp_sd = float(np.clip(reading.temp, 0.0, 105.0)), tools.TEMP_SD
    if temp > _TOO_HOT and tool.kind == "hydrometer":
        notes.append(
            f"{reading.stage} gravity: hydrometer read at {temp:g} degC, with a standard deviation of "
            f"{tools.HOT_TEMP_SD:g} K; a cooled sample would be more certain."
        )
        temp_sd = tools.HOT_TEMP_SD
    if reading.unit == "kg/m^3":
        density = reading.value
    elif reading.unit == "SG":
        # A density meter shows the true ratio of densities; a hydrometer is made for weighing in air.
        air = 0.0 if tool.kind == "density meter" else AIR_DENSITY
        water = float(water_density_float(np.array(reference)))
        density = reading.value * (water - air) + air
    else:
        density = float(density_float(np.array(reading.value / 100.0), reference))
    return density, temp, temp_sd, notes


def _refracted(reading: Reading, tool: tools.Instrument, rig: Rig) -> tuple[Datum, list[str]]:
    """Extract from a refractometer reading: never as a hydrometer reads."""
    if reading.unit == "SG":
        brix = float(extract_from_sg_float(np.array(reading.value)))
    elif reading.unit == "kg/m^3":
        brix = float(extract_from_density_float(np.array(reading.value), 20.0))
    else:
        brix = reading.value / 100.0
    factor = rig.refractometer_factor
    factor_sd = tools.DEFAULT_FACTOR_SD if factor == tools.DEFAULT_FACTOR else tools.OWN_FACTOR_SD
    notes = [
        f"refractometer readings divided by a wort correction factor of {factor:g} (standard deviation {factor_sd:g}) "
        "and not corrected for temperature: the instrument is taken to compensate for it from "
        f"{tools.COMPENSATED[0]:g} to {tools.COMPENSATED[1]:g} degC."
    ]
    warmth = 0.0
    if reading.temp is not None:
        outside = max(reading.temp - tools.COMPENSATED[1], tools.COMPENSATED[0] - reading.temp, 0.0)
        warmth = tools.PRISM_SHARE * tools.BRIX_PER_K * outside / 100.0 / factor
    if warmth:
        notes.append(
            f"{reading.stage} gravity: refractometer read at {reading.temp:g} degC, outside of what it compensates "
            f"for; {100.0 * warmth:.2f} % joins its standard deviation. A cooled sample would be more certain."
        )
    extract = brix / factor
    datum = _datum(reading, tool, rig, extract, 1.0 / float(density_slope_float(np.array(extract), 20.0)), warmth)
    return replace(datum, parts={**datum.parts, "refractometer factor": -extract / factor * factor_sd}), notes


def _datum(
    reading: Reading, tool: tools.Instrument, rig: Rig, extract: float, per_density: float, warmth: float
) -> Datum:
    """Datum of an extract: errors of the scale, of reading it, and of the sample's temperature."""
    sg_per_extract = 1.0 / (per_density * DENSITY_PER_SG)
    if reading.sd is not None:
        to_extract = {"SG": 1.0 / sg_per_extract, "kg/m^3": per_density}.get(reading.unit, 0.01)
        offset, scatter = split_sd(reading.sd * to_extract)
    elif rig.gravity_sd is not None:
        offset, scatter = split_sd(rig.gravity_sd / sg_per_extract)
    else:
        to_extract = 0.01 if tool.unit == "%" else 1.0 / sg_per_extract
        offset, scatter = tool.offset_sd * to_extract, tool.scatter * to_extract
    name = f"{reading.stage} gravity"
    parts = {f"{owner(reading, tool)}{OFFSET}": offset, f"reading of {name}": scatter}
    if warmth:
        parts[f"temperature of {name}"] = warmth
    return Datum(name, reading.stage, "extract", extract, parts, "SG", sg_per_extract)
