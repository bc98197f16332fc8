"""The page of one brew: planned against reached first."""

from __future__ import annotations

import pandas as pd

from brewlog import figures
from brewlog.figures.units import UnitChoice
from brewlog.logbook.records import Brew
from brewlog.report import cautions
from brewlog.report.blocks import (
    Answer,
    Block,
    Caution,
    Cell,
    Column,
    Heading,
    Listing,
    Subheading,
    Summary,
    Table,
    Text,
)
from brewlog.report.context import Context, neighbours
from brewlog.report.drawing import TALL, drawn
from brewlog.report.planned import planned_table
from brewlog.report.render import Page
from brewlog.report.review import BrewReview
from brewlog.report.tables import rests_table
from brewlog.report.words import number, value_of, written_day


def brew_page(context: Context, label: str) -> Page:
    """The page of one brew: planned against reached first."""
    results, choice = context.results, context.choice
    review = results.review(label)
    brew = review.brew
    blocks: list[Block] = [Answer(context.said(review.sentences)), planned_table(brew, review.balance, choice)]
    trace = brew.trace
    if trace is not None:
        held = "reconstructed" if review.reconstructed is not None else "measured"
        blocks += [
            Heading("The mash day"),
            drawn(
                lambda f: figures.plot_mash_day(
                    brew, mash=review.reconstructed, ax=f.add_subplot(), units=choice.system
                ),
                f"Temperatures of brew {label} against time: base, bed ({held}) and rest temperatures with a band of "
                "half a kelvin.",
                context.say(
                    "Bed and base temperature against the planned rests; the band is 0.5 K either side of a rest."
                ),
                TALL,
            ),
        ]
        if "base_temp" in trace:
            blocks.append(
                drawn(
                    lambda f: figures.plot_lead(
                        brew, mash=review.reconstructed, ax=f.add_subplot(), units=choice.system
                    ),
                    f"How far the base ran ahead of the bed during the mash of brew {label}.",
                    "Base minus bed: large while heating, small while holding; the planned headroom where written.",
                )
            )
    if len(review.held.rests):
        blocks += [Heading("How the rests were held"), rests_table(review.held.rests, review.held.units, choice)]
    if brew.trace_faults:
        blocks += [Subheading("What the trace lacks"), Listing(tuple(str(fault) for fault in brew.trace_faults))]
    blocks += [Heading("Where the extract went"), efficiencies_table(review, choice)]
    if len(review.balance.waterfall):
        blocks.append(
            drawn(
                lambda f: figures.plot_waterfall(review.balance.waterfall, ax=f.add_subplot(), units=choice.system),
                f"Extract of brew {label} from the potential of the grist to the fermenter, step by step.",
                "From what the malt could give to what reached the fermenter; whiskers are 95 % ranges.",
            )
        )
    blocks.append(Summary(f"The whole account in numbers{context.metric_only}", review.balance.summary()))
    if review.reasons:
        blocks += [Heading("What is missing, and why"), Listing(context.said(review.reasons))]
    if brew.changes or brew.notes:
        blocks.append(Heading("The brewer's own notes"))
        blocks += [Text(text) for text in (brew.changes, brew.notes) if text]
    hot = cautions.HOT_FILL if brew.cooling == "hot-filled" else ()
    blocks.append(Caution(context.said((*cautions.BREW_DAY, *hot))))
    facts = day_facts(brew)
    if review.control:
        facts.append(f"heater followed the {review.control} ({review.control_from})")
    return Page(
        context.brews[label],
        f"Brew {label}",
        blocks,
        ", ".join(facts) + ".",
        neighbours(list(results.book.brews), label, context.brews, "brew"),
    )


def day_facts(brew: Brew) -> list[str]:
    """Date, recipe and rig of a brew, as far as they are recorded."""
    day = written_day(brew.date) if brew.date else None
    return [fact for fact in (day, brew.recipe, f"rig {brew.rig}" if brew.rig else None) if fact]


def efficiencies_table(review: BrewReview, choice: UnitChoice) -> Table:
    """The four efficiencies with their definitions."""
    rows: list[list[str | Cell]] = []
    for name, row in review.balance.efficiencies.iterrows():
        value = getattr(review.balance, str(name))
        shown = "–" if value is None else number(*value_of(value), "%")
        against = "–" if pd.isna(row["against_coarse"]) else f"{row['against_coarse']:.1f} %"
        rows.append([str(name), shown, against, str(row["definition"]), choice.in_words(str(row["reason"]))])
    columns = [
        Column("efficiency"),
        Column("against fine grind", numeric=True),
        Column("against coarse grind", numeric=True),
        Column("definition", wide=True),
        Column("why missing", wide=True),
    ]
    if not any(row[-1] for row in rows):
        columns, rows = columns[:-1], [row[:-1] for row in rows]
    return Table("Efficiencies and what they mean", tuple(columns), rows)
