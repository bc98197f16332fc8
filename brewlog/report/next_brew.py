"""What earlier brews and the fit of a rig say for setting up its next brew."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from brewlog.figures.units import UnitChoice
from brewlog.logbook.records import Brew
from brewlog.report.blocks import Block, Cell, Column, Heading, Listing, Table, Text
from brewlog.report.context import Context
from brewlog.report.results import Results
from brewlog.report.tables import shown_spread, title_with_unit
from brewlog.report.words import counted, number, value_of
from brewlog.rig import RigFit

MEASURES = (("lead", "K", "base above bed", 1), ("ramp_time", "min", "ramp took", 0), ("ramp_rate", "K/min", "ramp", 2))
HEADROOM = ("headroom", "K", "headroom planned", 1)
NOT_HERE = "A headroom is not worked out: that of earlier brews stands in the table beside what came of it."
USUAL_GRAIN_TEMP = 20.0
"""Of grain whose temperature no brew recorded. [degC]"""
CALLS = (
    "For another charge, the library has it: “strike_temp” and “heating_rate” of a rig's calibration take water and "
    "malt of your choice, “simulate” gives the temperatures of base and bed for a course of heater power."
)


def next_brew(context: Context, label: str, fit: RigFit) -> list[Block]:
    """What is known for the next brew of a rig: strike temperature, base lead, ramps, and the rate at full power.

    Parameters
    ----------
    context : Context
    label : str
        Of the rig.
    fit : RigFit
    """
    rests = earlier_rests(context.results, label)
    brews = context.results.book.brews_of(label)
    full = full_power_sentence(rests, brews, fit, context.choice)
    strike = strike_sentence(brews, fit, context.choice)
    table = rests_summary(rests, context.choice)
    if table is None and not full and not strike:
        return []
    words = [strike] if strike else []
    if ((rests["control"] == "base") & (rests["kind"] == "rest") & rests["lead"].notna()).any():
        words.append(
            "Base target for a bed temperature, the heater following the base: the bed temperature and what the first "
            "row says of “base above bed”. It is the mean over whole rests, with the time in which the bed came up."
        )
    if ((rests["kind"] == "mash-out") & rests["ramp_time"].notna()).any():
        words.append(
            "When to start the ramp to the mash-out: as long before it as “ramp took” says, with the headroom that was "
            "planned on those brews."
        )
    words += [full] if full else []
    blocks: list[Block] = [Heading("The next brew", "next"), *([] if table is None else [table])]
    return [*blocks, Listing((*words, NOT_HERE)), Text(CALLS, soft=True)]


def earlier_rests(results: Results, label: str) -> pd.DataFrame:
    """One row per rest of a rig's brews, mash-in aside: control, kind, temp, step, lead, ramp, planned headroom."""
    rows: list[dict[str, Any]] = []
    for brew in results.book.brews_of(label):
        held, headroom = results.review(brew.label).held, {rest.rest: rest.headroom for rest in brew.rests}
        before = float("nan")
        for rest, row in held.rests.iterrows():
            temp = float(row["temp"])
            if row["purpose"] != "mash-in":
                kind = "mash-out" if row["purpose"] == "mash-out" else "rest"
                found: dict[str, Any] = {"brew": brew.label, "control": held.control or "", "kind": kind}
                found |= {"temp": temp, "step": temp - before}
                found |= {name: float(row[name]) for name, *_ in MEASURES}
                rows.append(found | {"headroom": headroom.get(int(str(rest)))})
            before = temp
    names = ["brew", "control", "kind", "temp", "step", *(name for name, *_ in MEASURES), "headroom"]
    return pd.DataFrame(rows, columns=names).astype({"headroom": float})


def rests_summary(rests: pd.DataFrame, choice: UnitChoice) -> Table | None:
    """Base lead, ramp and planned headroom by control and kind of rest; None where nothing was seen."""
    rows: list[list[str | Cell]] = []
    for control in ("base", "mash"):
        for kind in ("rest", "mash-out"):
            part = rests[(rests["control"] == control) & (rests["kind"] == kind)]
            part = part[part[["lead", "ramp_time"]].notna().any(axis=1)]
            if len(part):
                cells = [
                    shown_spread(part[name], unit, choice, digits) for name, unit, _, digits in (*MEASURES, HEADROOM)
                ]
                rows.append([control, kind, *cells, counted(part["brew"].nunique(), "brew")])
    if not rows:
        return None
    columns = [Column("heater followed"), Column("for")]
    columns += [
        Column(title_with_unit(title, choice.shown(unit)), numeric=True) for _, unit, title, _ in (*MEASURES, HEADROOM)
    ]
    caption = "What earlier brews of this rig did: median, and in brackets the smallest and the largest of the rests"
    return Table(caption, (*columns, Column("seen on", tight=True)), rows)


def full_power_sentence(rests: pd.DataFrame, brews: Sequence[Brew], fit: RigFit, choice: UnitChoice) -> str:
    """The shortest time of a usual ramp to the mash-out at full power; empty where it cannot be told."""
    ramps = rests[rests["kind"] == "mash-out"].dropna(subset=["step"])
    waters = [brew.mash_water for brew in brews if brew.mash_water is not None]
    grains = [mass for brew in brews if (mass := grain_mass(brew)) is not None]
    if ramps.empty or not waters or not grains:
        return ""
    step, temp, water, grain = (float(np.median(one)) for one in (ramps["step"], ramps["temp"], waters, grains))
    try:
        rate = fit.heating_rate(water, grain, temp - step / 2)
    except ValueError:
        return ""
    if step <= 0 or rate.nominal_value <= 0:
        return ""
    minutes = value_of(step / rate)
    shown = [
        f"{choice.convert(one, unit):.1f} {choice.sign(unit)}"
        for one, unit in ((step, "K"), (water, "L"), (grain, "kg"))
    ]
    return (
        f"A ramp takes no less than the heater needs: at full power {number(*minutes, 'min')} for {shown[0]} with "
        f"{shown[1]} of water and {shown[2]} of malt, the medians of this rig's brews."
    )


def strike_sentence(brews: Sequence[Brew], fit: RigFit, choice: UnitChoice) -> str:
    """The strike temperature for a usual charge of a rig and its first rest; empty where it cannot be told."""
    waters = [brew.mash_water for brew in brews if brew.mash_water is not None]
    grains = [mass for brew in brews if (mass := grain_mass(brew)) is not None]
    firsts = [brew.rests[0].temp for brew in brews if brew.rests and brew.rests[0].temp is not None]
    if not waters or not grains or not firsts:
        return ""
    recorded = [brew.grain_temp for brew in brews if brew.grain_temp is not None]
    first, water, grain = (float(np.median(one)) for one in (firsts, waters, grains))
    grain_temp = float(np.median(recorded)) if recorded else USUAL_GRAIN_TEMP
    try:
        strike, sd = value_of(fit.strike_temp(water, grain, first, grain_temp))
    except ValueError:  # a grist without mass, or one that no water could warm
        return ""

    def shown(one: float | None, unit: str) -> str:
        return f"{choice.convert(one, unit):.1f} {choice.sign(unit)}"

    assumed = "" if recorded else " (assumed)"
    return (
        f"Strike water for a first rest at {shown(first, 'degC')}: {shown(strike, 'degC')} ± {shown(sd, 'K')} (one "
        f"standard deviation), for {shown(water, 'L')} of water and {shown(grain, 'kg')} of malt at "
        f"{shown(grain_temp, 'degC')}{assumed}, the medians of this rig's brews, with the heater off while you stir. "
        "Steam while stirring takes some tenths of a degree more. Water this hot scalds: lower the malt in slowly, "
        "with gloves and closed shoes."
    )


def grain_mass(brew: Brew) -> float | None:
    """Mass of a brew's malts; None where a mass is missing. [kg]"""
    masses = [malt.mass for malt in brew.malts if malt.mass is not None]
    return sum(masses) if masses and len(masses) == len(brew.malts) else None
