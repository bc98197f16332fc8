"""What goes into the account besides readings of wort: water, additions, and what earlier brews of the rig tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import isfinite, sqrt
from typing import TYPE_CHECKING

import numpy as np

from brewlog.logbook.records import Addition, Brew, Malt, Rig
from brewlog.sucrose import density_float
from brewlog.wort import instruments as tools
from brewlog.wort.account import WATER_20
from brewlog.wort.datum import Datum
from brewlog.wort.malt import SCALE_SD, malt_default
from brewlog.wort.stated import usable_addition

if TYPE_CHECKING:
    import pandas as pd

WATER_SD = 0.3
"""Sd of a water volume where the rig states none (common practice, no source). [L]"""
BOIL_TIME_SD = 3.0
"""Sd of the length of a boil that is only planned. [min]"""
_STRENGTH_SD = 0.005  # of a recorded strength
_MIXED_EXTRACT = (0.87, 0.06)  # `extract` may be a powder (0.96) or a syrup (0.80)


@dataclass
class Added:
    """What joins later, by stage."""

    extract: dict[str, float] = field(default_factory=lambda: {"mash": 0.0, "boil": 0.0, "fermenter": 0.0})
    extract_sd: dict[str, float] = field(default_factory=lambda: {"mash": 0.0, "boil": 0.0, "fermenter": 0.0})
    water: dict[str, float] = field(default_factory=lambda: {"mash": 0.0, "boil": 0.0, "fermenter": 0.0})
    water_sd: dict[str, float] = field(default_factory=lambda: {"mash": 0.0, "boil": 0.0, "fermenter": 0.0})
    malts: list[Malt] = field(default_factory=list)
    unknown: set[tuple[str, str]] = field(default_factory=set)
    """Stage and `extract` or `water` of what was added in an amount that nobody recorded."""
    notes: list[str] = field(default_factory=list)

    def put(self, stage: str, extract: float, extract_sd: float, water: float, water_sd: float) -> None:
        """Add to a stage; standard deviations of different additions are independent."""
        self.extract[stage] += extract
        self.water[stage] += water
        self.extract_sd[stage] = sqrt(self.extract_sd[stage] ** 2 + extract_sd**2)
        self.water_sd[stage] = sqrt(self.water_sd[stage] ** 2 + water_sd**2)


def sum_additions(additions: tuple[Addition, ...]) -> Added:
    """Kilograms of extract and of water that join in the mash, the boil and the fermenter."""
    added = Added()
    for one in map(usable_addition, additions):
        if one.what == "salt":
            continue
        stage = one.stage
        if stage not in ("mash", "boil", "fermenter"):
            stage = "boil"
            added.notes.append(f"addition of {one.what}: stage not recorded, taken as boil.")
        mass = _mass(one)
        if one.what == "malt" and stage == "mash":
            # extract of an addition is as is: with no moisture left to take off it is the dry-basis value
            dry = 0.0 if one.extract is not None else None
            added.malts.append(Malt(one.brew, "malt", mass, malt_extract=one.extract, moisture=dry))
        elif mass is None:
            _not_weighed(added, one.what, stage)
        elif one.what == "water":
            added.put(stage, 0.0, 0.0, mass, max(0.02 * mass, 0.02))
        else:
            share, share_sd, note = _strength(one)
            added.notes += note
            sd = mass * sqrt(share_sd**2 + (SCALE_SD * share) ** 2)
            added.put(stage, mass * share, sd, mass * (1.0 - share), mass * share_sd)
    return added


def _mass(addition: Addition) -> float | None:
    """Kilograms of an addition, None where they are not recorded; only of water is a volume enough."""
    if addition.mass is not None or addition.what != "water" or addition.volume is None:
        return addition.mass
    temp = float(np.clip(20.0 if addition.temp is None else addition.temp, 0.0, 105.0))
    return addition.volume * float(density_float(np.array(0.0), temp)) / 1000.0


def _not_weighed(added: Added, what: str, stage: str) -> None:
    """Keep in mind that an amount is not known: the other readings may tell it."""
    lacking = "neither mass nor volume" if what == "water" else "mass not"
    added.notes.append(
        f"addition of {what} ({stage}): {lacking} recorded; what it brought is worked out where the other readings "
        "tell it, else what rests on it is missing."
    )
    if what != "water":
        added.unknown.add((stage, "extract"))
    if what in ("water", "extract"):
        added.unknown.add((stage, "water"))


def _strength(addition: Addition) -> tuple[float, float, list[str]]:
    """Extract of an addition as it is, its sd, and what was assumed."""
    if addition.extract is not None:
        return addition.extract, _STRENGTH_SD, []
    if addition.what == "extract":
        share, sd = _MIXED_EXTRACT
        return share, sd, [f"addition of extract: strength not recorded, taken as {100 * share:g} ± {100 * sd:g} %."]
    default = malt_default(addition.what)
    share = default.malt_extract * (1.0 - default.moisture)
    sd = sqrt(default.malt_extract_sd**2 + default.moisture_sd**2)
    if addition.what != "malt":
        return share, sd, []
    return share, sd, [f"malt added after the mash: taken to give {100 * share:.0f} ± {100 * sd:.0f} % extract."]


def water_data(brew: Brew, rig: Rig, added: Added) -> list[Datum]:
    """Mash and rinse water in kilograms, where recorded."""
    sd = rig.volume_sd if rig.volume_sd is not None else WATER_SD
    data = []
    if brew.mash_water is not None and brew.mash_water > 0 and ("mash", "water") not in added.unknown:
        mass = brew.mash_water * WATER_20 + added.water["mash"]
        sd_mass = sqrt((max(sd, 0.01 * brew.mash_water) * WATER_20) ** 2 + added.water_sd["mash"] ** 2)
        data.append(Datum("mash water", "mash", "mash_water", mass, {"mash water": sd_mass}, "L", 1.0 / WATER_20))
    if brew.sparge_water is not None and brew.sparge_water >= 0:
        litres = brew.sparge_water
        sd_mass = max(sd, 0.01 * litres) * WATER_20 if litres else 1e-6
        data.append(
            Datum(
                "sparge water", "mash", "sparge_water", litres * WATER_20, {"sparge water": sd_mass}, "L", 1 / WATER_20
            )
        )
    return data


def boil_minutes(brew: Brew) -> tuple[float, float] | None:
    """Length of the boil and its sd in min: between the recorded events, else as planned; None if neither is known."""
    moments: dict[str, float] = {}
    for event in brew.events:
        moments.setdefault(event.event, event.elapsed)
    if "boil" in moments and "boil end" in moments and moments["boil end"] > moments["boil"]:
        return (moments["boil end"] - moments["boil"]) / 60.0, 1.0
    if brew.boil_time is not None and brew.boil_time > 0:
        return brew.boil_time, BOIL_TIME_SD
    return None


def constant(constants: pd.DataFrame | None, name: str) -> tuple[float, float] | None:
    """A rig's constant and the sd with which it predicts one further brew; None where it is not known.

    `sd` of the frame is that of the mean over its brews: one brew spreads more, by the square root of their number.
    """
    if constants is None or name not in constants.index:
        return None
    row = {str(key): value for key, value in constants.loc[name].items()}

    def number(column: str) -> float:
        try:
            return float(row.get(column, float("nan")))  # type: ignore[arg-type]
        except (TypeError, ValueError):
            return float("nan")

    estimate, sd = number("estimate"), number("sd")
    if not (isfinite(estimate) and isfinite(sd)) or sd < 0:
        return None
    spread, brews = number("spread"), number("brews")
    if isfinite(spread):
        return estimate, sqrt(sd**2 + spread**2)
    return estimate, sd * sqrt(1.0 + brews) if isfinite(brews) and brews > 0 else sd


def rig_data(brew: Brew, constants: pd.DataFrame | None, grist: float | None, data: Sequence[Datum]) -> list[Datum]:
    """What earlier brews of the rig say about this one: evaporation, water held by the grain, transfer loss.

    The constants were read with the same marks as this brew's volumes, `data`: they carry the same offsets. In
    evaporation, the difference of two readings on the same marks, the offset cancels.
    """
    out = []
    rate = constant(constants, "boil_off")
    if rate is not None and (length := boil_minutes(brew)) is not None:
        hours, hours_sd = length[0] / 60.0, length[1] / 60.0
        parts = {"boil-off of the rig": rate[1] * hours * WATER_20, "length of the boil": rate[0] * hours_sd * WATER_20}
        value = rate[0] * hours * WATER_20
        out.append(Datum("evaporation", "boil", "evaporated", value, parts, "L", 1.0 / WATER_20, False))
    offsets = {datum.stage: datum.offsets for datum in reversed(data) if datum.quantity == "volume"}
    held = constant(constants, "absorption")
    if held is not None and grist is not None:
        # what the marks show too much in the kettle is missing in the grain; wort before the boil is 0.95 water
        parts = {"absorption of the rig": held[1] * grist}
        parts |= {source: -0.95 * part for source, part in offsets.get("pre-boil", {}).items()}
        out.append(Datum("water held by the grain", "mash", "held", held[0] * grist, parts, "L", 1.0, False))
    loss = constant(constants, "transfer_loss")
    if loss is not None:
        parts = {"transfer loss of the rig": loss[1], **offsets.get("post-boil", {})}
        parts |= {source: -part for source, part in offsets.get("fermenter", {}).items()}
        out.append(Datum("transfer loss", "transfer", "loss", loss[0], parts, "L", 1.0, False))
    return out


def default_volume_sd(rig: Rig) -> float:
    """Standard deviation of one more volume reading on this rig. [L]"""
    if rig.volume_sd is not None:
        return rig.volume_sd
    marks = tools.VOLUME_INSTRUMENTS[-1]
    return float(np.hypot(marks.offset_sd, marks.scatter))
