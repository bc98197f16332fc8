"""Constants of volume: boil-off, absorption, dead volume, from readings of volume and gravity."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from brewlog.logbook.records import Addition, Brew, Rig
from brewlog.rig.capacity import grist_of
from brewlog.rig.interval import Interval, over_brews
from brewlog.wort.account import WATER_20
from brewlog.wort.properties import extract_from_sg, wort_density
from brewlog.wort.stated import usable_addition
from brewlog.wort.water import water_density

SUGAR_ROOM = 0.62
"""Room that a kilogram of dissolved sugar takes, from the density of its solutions. [L/kg]"""


@dataclass(frozen=True)
class StageVolumes:
    """Volume and extract of the wort by stage, as the extract balance has them."""

    volume: dict[str, float]
    """At 20 degC. [L]"""
    sd: dict[str, float]
    """Of the volumes. [L]"""
    extract: dict[str, float]
    """Mass fraction. [1]"""


def stage_volumes(brew: Brew, rig: Rig | None) -> StageVolumes:
    """Volumes and extracts of one brew."""
    from brewlog.wort import extract_balance

    balance = extract_balance(brew, rig)
    known = {stage: v for stage, v in balance.volume.items() if v is not None}
    return StageVolumes(
        {stage: float(v.nominal_value) for stage, v in known.items()},
        {stage: float(v.std_dev) for stage, v in known.items()},
        {stage: float(extract_from_sg(g.nominal_value)) for stage, g in balance.gravity.items() if g is not None},
    )


def volume_constants(
    brews: Sequence[Brew], rig: Rig | None, stages: Mapping[str, StageVolumes]
) -> dict[str, tuple[Interval, str]]:
    """Boil-off, absorption and transfer loss over brews.

    Parameters
    ----------
    brews : sequence of Brew
    rig : Rig or None
    stages : mapping of str to StageVolumes
        By label of the brew; brews without any are left out.

    Returns
    -------
    dict
        Name to (interval, what it rests on).

    Notes
    -----
    boil_off = (pre-boil - post-boil + top-up) / boil time; absorption = (water in - water in the pre-boil wort) /
    grist, steam of the mash counted with it; transfer_loss = post-boil - fermenter, trub and hops counted with it.
    """
    values: dict[str, list[float]] = {"boil_off": [], "absorption": [], "transfer_loss": []}
    for brew in brews:
        if brew.label not in stages:
            continue
        volume, extract = stages[brew.label].volume, stages[brew.label].extract
        pre, post, last = (volume.get(stage) for stage in ("pre-boil", "post-boil", "fermenter"))
        added = poured(brew)
        if pre is not None and post is not None and brew.boil_time and added is not None:
            values["boil_off"].append((pre - post + added) / (brew.boil_time / 60))
        if post is not None and last is not None:
            values["transfer_loss"].append(post - last)
        grist = grist_of(brew)
        if pre is not None and "pre-boil" in extract and brew.mash_water is not None and grist is not None:
            water = (brew.mash_water + (brew.sparge_water or 0.0)) * WATER_20 + grist[0] * grist[1]
            wort = pre * float(wort_density(extract["pre-boil"], 20.0)) / 1000 * (1 - extract["pre-boil"])
            values["absorption"].append((water - wort) / WATER_20 / grist[0])
    out = {}
    for name, found in values.items():
        good = np.array(found, dtype=float)
        rests = f"volume readings of {good.size} brews"
        if name == "transfer_loss":
            rests += ", trub and hops counted with it"
            if good.size == 0 and rig is not None and rig.dead_volume is not None:
                nan = float("nan")
                words = "dead_volume in rigs.csv, trub and hops not counted"
                out[name] = (Interval(rig.dead_volume, nan, nan, nan, 0), words)
                continue
        if name == "absorption":
            rests += ", steam of the mash counted with it"
        out[name] = (over_brews(good), rests)
    return out


def poured(brew: Brew) -> float | None:
    """Volume at 20 degC that joined in the boil: water, and the room of dissolved extract.

    Water by its mass, else by its volume at its temperature; an addition whose stage is not recorded counts as one to
    the boil, as in the extract balance.

    Parameters
    ----------
    brew : Brew

    Returns
    -------
    float or None
        None where an amount is not recorded, or makes no sense. [L]
    """
    total = 0.0
    for addition in map(usable_addition, brew.additions):
        if addition.stage in ("mash", "fermenter"):
            continue
        if addition.what == "water":
            mass = water_mass(addition)
            if mass is None:
                return None
            total += mass / WATER_20
        elif addition.what in ("sugar", "extract"):
            if addition.mass is None:
                return None
            dry = 1.0 if addition.extract is None else addition.extract
            total += addition.mass * (SUGAR_ROOM * dry + (1.0 - dry) / WATER_20)
    return total


def water_mass(addition: Addition) -> float | None:
    """Mass of water that joined: as weighed, else its volume times the density at its temperature. [kg]"""
    if addition.mass is not None or addition.volume is None:
        return addition.mass
    temp = 20.0 if addition.temp is None else min(max(addition.temp, 0.0), 100.0)
    return addition.volume * float(water_density(temp)) / 1000
