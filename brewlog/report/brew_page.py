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
from brewlog.report.meanings import meanings
from brewlog.report.planned import planned_table
from brewlog.report.render import Page
from brewlog.report.review import BrewReview
from brewlog.report.summaries import summary_in
from brewlog.report.tables import rests_table
from brewlog.report.words import number, value_of, written_day

REST_COLUMNS = (
    "hold_rms", "hold_bias", "hold_sd", "within_half", "within_one", "overshoot", "lateness", "ramp_rate", "lead",
    "seen",
)  # fmt: skip
NO_RANGE = (
    "“±” is one standard deviation. The other columns are read off the same temperatures and have no range of their "
    "own: an error of the bed temperature shifts overshoot and base lead by as much as the mean deviation."
)
DAY_CAPTION = (
    "Bed and base temperature against the planned rests; the band is 0.5 K either side of a rest. What is marked "
    "“found” was not written down: brewlog found it in the trace."
)


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
                context.say(DAY_CAPTION),
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
                    "Base minus bed: large while heating, small while holding. A dashed line is what the planned "
                    "headroom allows: how far above the rest temperature the base may run.",
                )
            )
    if len(review.held.rests):
        blocks += [
            Heading("How the rests were held"),
            rests_table(review.held.rests, review.held.units, choice),
            Text(NO_RANGE, soft=True),
            meanings(REST_COLUMNS, choice),
        ]
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
    blocks.append(Summary("The whole account in numbers", summary_in(review.balance, choice.system)))
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
        coarse, coarse_sd = row["against_coarse"], row["against_coarse_sd"]
        against = "–" if pd.isna(coarse) else number(coarse, coarse_sd, "%")
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
    title = "Efficiencies in per cent of the potential: the extract that the malt could give by its laboratory analysis"
    return Table(f"{title}, of a fine or of a coarse grind", tuple(columns), rows)
