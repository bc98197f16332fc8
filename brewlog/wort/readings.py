"""From the readings of a brew day to volumes and extracts at 20 degC, each with where its errors come from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np

from brewlog.logbook.records import Brew, Reading, Rig
from brewlog.wort import instruments as tools
from brewlog.wort.gravity import floats_at
from brewlog.wort.properties import (
    AIR_DENSITY,
    density_float,
    density_slope_float,
    extract_from_density_float,
    sg_from_extract_float,
)
from brewlog.wort.volume import EXPANSION, contraction_float
from brewlog.wort.water import water_density_float

STAGES = ("first wort", "pre-boil", "post-boil", "fermenter")
OFFSET = " offset"
"""End of the name of a source of error that all readings of one instrument share."""
_KETTLE = STAGES[:3]
_STRENGTH = (-0.05, 0.6)  # extract of what may be a wort [1]
_LITTLE = 0.05  # less than this is no wort [L or kg]
_WATER_20 = float(water_density_float(np.array(20.0)))


@dataclass(frozen=True, slots=True)
class Datum:
    """One number that enters the account, brought to 20 degC, with the sources of its error."""

    name: str
    """In words: `pre-boil volume`."""
    stage: str
    quantity: str
    """`extract` (mass fraction), `volume` [L at 20 degC], or a quantity of the account."""
    value: float
    parts: Mapping[str, float]
    """Change of `value` for one standard deviation of each source; sources of the same name are the same error."""
    unit: str = "L"
    """Unit in which a brewer reads it: `SG` for extracts."""
    per_value: float = 1.0
    """Change of the reading, in `unit`, per change of `value`."""
    is_reading: bool = True
    """False: known from elsewhere, such as a rig's constant."""

    @property
    def sd(self) -> float:
        """One standard deviation of `value`."""
        return sqrt(sum(part * part for part in self.parts.values()))

    @property
    def shown(self) -> float:
        """The value in `unit`."""
        return float(sg_from_extract_float(np.array(self.value))) if self.unit == "SG" else self.value


def read_gravities(readings: Iterable[Reading], rig: Rig) -> tuple[list[Datum], list[str]]:
    """Extract of the wort from every gravity reading, and notes on what had to be assumed."""
    data: list[Datum] = []
    notes: list[str] = []
    pending: list[tuple[Reading, tools.Instrument, float, float, float]] = []
    for reading in readings:
        tool, _ = tools.instrument_of("gravity", reading.instrument, reading.unit)
        if tool.kind == "refractometer":
            datum, note = _refracted(reading, tool, rig)
            data.append(datum)
            notes += note
            continue
        density, temp, temp_sd, note = _floating(reading, tool, rig)
        notes += note
        pending.append((reading, tool, density, temp, temp_sd))
    if pending:
        densities = np.array([one[2] for one in pending])
        temps = np.array([one[3] for one in pending])
        made_for = np.array([rig.hydrometer_temp if one[1].kind == "hydrometer" else one[3] for one in pending])
        # rows: as read, sample 0.5 K warmer, sample 0.5 K colder
        around = np.clip(temps + np.array([[0.0], [0.5], [-0.5]]), 0.0, 105.0)
        extracts = extract_from_density_float(floats_at(densities, around, made_for), around)
        per_density = 1.0 / density_slope_float(extracts[0], temps)
        for k, (reading, tool, _, _, temp_sd) in enumerate(pending):
            warmth = (extracts[1, k] - extracts[2, k]) * temp_sd
            data.append(_gravity(reading, tool, rig, float(extracts[0, k]), float(per_density[k]), float(warmth)))
    usable = [datum for datum in data if _STRENGTH[0] < datum.value < _STRENGTH[1]]
    notes += [f"{datum.name}: not that of a wort, left out." for datum in data if datum not in usable]
    return usable, notes


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
    if temp > 45.0 and tool.kind == "hydrometer":
        notes.append(f"{reading.stage} gravity: read at {temp:g} degC; a cooled sample would be more certain.")
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
        brix = float(
            extract_from_density_float(np.array(reading.value * (_WATER_20 - AIR_DENSITY) + AIR_DENSITY), 20.0)
        )
    elif reading.unit == "kg/m^3":
        brix = float(extract_from_density_float(np.array(reading.value), 20.0))
    else:
        brix = reading.value / 100.0
    factor = rig.refractometer_factor
    factor_sd = tools.DEFAULT_FACTOR_SD if factor == tools.DEFAULT_FACTOR else tools.OWN_FACTOR_SD
    extract = brix / factor
    datum = _gravity(reading, tool, rig, extract, 1.0 / float(density_slope_float(np.array(extract), 20.0)), 0.0)
    parts = {**datum.parts, "refractometer factor": -extract / factor * factor_sd}
    note = (
        f"refractometer readings divided by a wort correction factor of {factor:g} (standard deviation {factor_sd:g})."
    )
    return replace(datum, parts=parts), [note]


def _gravity(
    reading: Reading, tool: tools.Instrument, rig: Rig, extract: float, per_density: float, warmth: float
) -> Datum:
    """Datum of an extract: errors of the scale, of reading it, and of the sample's temperature."""
    sg_per_extract = 1.0 / (per_density * (_WATER_20 - AIR_DENSITY))
    to_extract = {"SG": 1.0 / sg_per_extract, "kg/m^3": per_density}.get(reading.unit, 0.01)
    if reading.sd is not None:
        offset, scatter = _split(reading.sd * to_extract)
    elif rig.gravity_sd is not None:
        offset, scatter = _split(rig.gravity_sd / sg_per_extract)
    else:
        to_extract = 0.01 if tool.unit == "%" else 1.0 / sg_per_extract
        offset, scatter = tool.offset_sd * to_extract, tool.scatter * to_extract
    name = f"{reading.stage} gravity"
    parts = {f"{_owner(reading, tool)}{OFFSET}": offset, f"reading of {name}": scatter}
    if warmth:
        parts[f"temperature of {name}"] = warmth
    return Datum(name, reading.stage, "extract", extract, parts, "SG", sg_per_extract)


def read_volumes(
    readings: Iterable[Reading], rig: Rig, extracts: Mapping[str, float], hot_filled: bool = False
) -> tuple[list[Datum], list[str]]:
    """Volume at 20 degC from every volume or mass reading; `extracts` by stage set the contraction."""
    taken = list(readings)
    notes: list[str] = []
    if not taken:
        return [], notes
    material = rig.vessel_material if rig.vessel_material in EXPANSION else "stainless steel"
    temps, temp_sds, growth, tools_used = [], [], [], []
    for reading in taken:
        tool, _ = tools.instrument_of(reading.quantity, reading.instrument, reading.unit)
        kettle = reading.stage in _KETTLE
        if reading.temp is not None:
            temp, temp_sd = float(np.clip(reading.temp, 0.0, 105.0)), tools.HOT_TEMP_SD if kettle else tools.TEMP_SD
        else:
            temp, temp_sd = tools.UNKNOWN_KETTLE_TEMP if kettle or hot_filled else tools.COOLED_TEMP
            if reading.quantity == "volume":
                notes.append(
                    f"{reading.stage} volume: temperature not recorded, taken as {temp:g} degC with a standard "
                    f"deviation of {temp_sd:g} K."
                )
        temps.append(temp)
        temp_sds.append(temp_sd)
        growth.append(EXPANSION[material] if kettle and tool.kind != "flow meter" else 0.0)
        tools_used.append(tool)
    extract = np.array([extracts.get(reading.stage, 0.11) for reading in taken])
    around = np.clip(np.array(temps) + np.array([[0.0], [1.0], [-1.0]]), 0.0, 105.0)
    ratio = contraction_float(extract, around, np.array(growth))
    density = density_float(extract, 20.0) / 1000.0
    data = []
    for k, (reading, tool) in enumerate(zip(taken, tools_used, strict=True)):
        name = f"{reading.stage} volume"
        if reading.quantity == "mass":
            scale, warmth = 1.0 / float(density[k]), 0.0
        else:
            scale = float(ratio[0, k])
            slope = float(ratio[1, k] - ratio[2, k]) / float(around[1, k] - around[2, k])
            warmth = reading.value * slope * temp_sds[k]
        value = reading.value * scale
        if reading.sd is not None:
            offset, scatter = _split(reading.sd * scale)
        elif rig.volume_sd is not None and reading.quantity == "volume":
            offset, scatter = _split(rig.volume_sd)
        else:
            growth_of_limit = max(1.0, tools.MARKS_SHARE * value / tool.limit) if tool.kind == "marks" else 1.0
            offset, scatter = tool.offset_sd * growth_of_limit, tool.scatter * growth_of_limit
        parts = {f"{_owner(reading, tool)}{OFFSET}": offset, f"reading of {name}": scatter}
        if warmth:
            parts[f"temperature of {name}"] = warmth
        if reading.quantity == "mass" and reading.stage not in extracts:
            parts[f"strength assumed for {name}"] = 0.02 * value
            notes.append(f"{reading.stage} mass: gravity not read, a strength of 11 % is assumed.")
        data.append(Datum(name, reading.stage, "volume", value, parts))
    return [datum for datum in data if np.isfinite(datum.value)], notes


def _split(sd: float) -> tuple[float, float]:
    """Shared offset and own scatter of a stated standard deviation."""
    return sd * sqrt(tools.OFFSET_SHARE), sd * sqrt(1.0 - tools.OFFSET_SHARE)


def _owner(reading: Reading, tool: tools.Instrument) -> str:
    """The instrument whose offset a reading shares: a kettle's marks are not those of a fermenter."""
    if reading.quantity != "gravity" and tool.kind in ("marks", "dipstick"):
        return f"{'kettle' if reading.stage in _KETTLE else 'fermenter'} {tool.kind}"
    words = (reading.instrument or "").strip().casefold()
    return words or tool.kind


def read_brew(brew: Brew, rig: Rig) -> tuple[list[Datum], list[str]]:
    """All readings of wort of a brew as data of the account; a repeat gets a number behind its name."""
    hot_filled = brew.cooling == "hot-filled"
    in_place, notes = brew.readings, []
    if hot_filled and not any(reading.stage == "fermenter" for reading in in_place):
        # Wort that is filled hot is fermented where it stands: the container is the fermenter.
        in_place = tuple(replace(one, stage="fermenter") if one.stage == "packaged" else one for one in in_place)
        if any(one.stage == "packaged" for one in brew.readings):
            notes.append("hot-filled: the filled container counts as the fermenter.")
    known = [one for one in in_place if one.stage in STAGES and np.isfinite(one.value)]
    gravities, more = read_gravities((one for one in known if one.quantity == "gravity" and one.value > 0), rig)
    notes += more
    extracts: dict[str, float] = {}
    for datum in gravities:
        extracts.setdefault(datum.stage, min(max(datum.value, 0.0), 0.4))
    amounts = [one for one in known if one.quantity in ("volume", "mass")]
    notes += [f"{one.stage} {one.quantity}: next to nothing, left out." for one in amounts if one.value < _LITTLE]
    amounts = [one for one in amounts if one.value >= _LITTLE]
    if any(one.stage == "first wort" for one in amounts):
        amounts = [one for one in amounts if one.stage != "first wort"]
        notes.append("volume of the first wort: not used, it says nothing about what stays in the grain.")
    volumes, more = read_volumes(amounts, rig, extracts, hot_filled)
    notes += more
    return _numbered([*gravities, *volumes]), list(dict.fromkeys(notes))


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
