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
NOT_HERE = (
    "A strike temperature and a headroom are not worked out: nothing in brewlog computes them. The headroom of earlier "
    "brews stands in the table beside what came of it; how far the strike water cooled when the malt went in is seen "
    "at the beginning of each brew's mash day."
)
CALLS = (
    "For another charge, the library has it: “heating_rate” of a rig's calibration gives the rate for water and "
    "malt of your choice, “simulate” the temperatures of base and bed for a course of heater power."
)


def next_brew(context: Context, label: str, fit: RigFit) -> list[Block]:
    """What is known for the next brew of a rig: base lead, ramps, and the rate at full power; nothing is planned.

    Parameters
    ----------
    context : Context
    label : str
        Of the rig.
    fit : RigFit
    """
    rests = earlier_rests(context.results, label)
    full = full_power_sentence(rests, context.results.book.brews_of(label), fit, context.choice)
    table = rests_summary(rests, context.choice)
    if table is None and not full:
        return []
    words = []
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


def grain_mass(brew: Brew) -> float | None:
    """Mass of a brew's malts; None where a mass is missing. [kg]"""
    masses = [malt.mass for malt in brew.malts if malt.mass is not None]
    return sum(masses) if masses and len(masses) == len(brew.malts) else None
