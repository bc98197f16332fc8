"""Efficiency against tightness, why it changed, and the experiment that would tell more."""

from __future__ import annotations

import math

import pandas as pd

from brewlog import figures
from brewlog.findings.sensitivity import STEPS
from brewlog.report.blocks import Answer, Block, Column, Folded, Heading, Listing, Subheading, Summary, Table, Text
from brewlog.report.context import Context
from brewlog.report.drawing import TALL, drawn
from brewlog.report.headline import ASKED, first_words, headline
from brewlog.report.render import Page
from brewlog.report.summaries import summary_in
from brewlog.report.tables import plain_table
from brewlog.report.words import interval

MEANS = (
    "“As fitted” is the finding above. Before it looks at the brews, the fit takes every effect to be of some usual "
    "size (its prior), be it of a setting that changes from brew to brew (a covariate: mill gap, grain bill, mash "
    "time), of learning over time (the trend), or of whatever came unwritten with a move of the control sensor (the "
    "step). The rows show how much the gain rests on that. The last row takes no prior and leaves most settings out.",
    "The column p is the two-sided probability of a gain at least that far from zero if tighter holding did nothing at "
    "all; a small one says that chance alone would seldom do it, not that the cause is known.",
)


def paragraphs(context: Context, text: str) -> list[Block]:
    """A finding as a paragraph of its first words, and one of the rest."""
    first = first_words(text)
    rest = text[len(first) :].strip()
    return [Text(context.say(part)) for part in (first, rest) if part]


def sensitivity_table(sensitivity: pd.DataFrame, steps: bool = True) -> Table:
    """The gain under other assumptions, each with its range; without a step in the model, no rows of other steps."""
    rows = [
        [str(name), interval(row["estimate"], row["low"], row["high"]), shown_chance(float(row["p"]))]
        for name, row in sensitivity.iterrows()
        if steps or name not in STEPS
    ]
    columns = (Column("assumption", wide=True), Column("gain (95 % range)", numeric=True), Column("p", numeric=True))
    title = "The gain in points under other assumptions, and without each of the most telling brews"
    return Table(title, columns, rows)


def shown_chance(p: float) -> str:
    """A probability as it is printed.

    Examples
    --------
    >>> shown_chance(0.356), shown_chance(0.00531), shown_chance(1e-5)
    ('0.36', '0.005', 'below 0.001')
    """
    if not math.isfinite(p):
        return "–"
    return "below 0.001" if p < 0.001 else f"{p:.3f}" if p < 0.01 else f"{p:.2f}"


def findings_page(context: Context) -> Page:
    """Efficiency against tightness, why it changed, and the experiment that would tell more."""
    results = context.results
    relation, change, experiment = results.relation, results.change, results.experiment
    blocks: list[Block] = [Answer(context.said(headline(results)), ASKED)]
    if relation is not None:
        blocks += [Heading("Efficiency against tightness"), *paragraphs(context, relation.sentence)]
        blocks.append(Text(context.say(relation.control_sentence)))
        if relation.n:
            blocks.append(
                drawn(
                    lambda f: figures.plot_relation(
                        relation, results.table, ax=f.add_subplot(), units=context.choice.system
                    ),
                    "Efficiency of each brew against the tightness of its mash, with the fitted line and its band; "
                    "brews that were left out are grey.",
                    "Left is tighter. The band is for the average of many such brews; single brews scatter more.",
                )
            )
        if len(relation.sensitivity):
            steps = relation.fit is not None and bool(relation.fit.design.moves)
            blocks += [sensitivity_table(relation.sensitivity, steps), *(Text(text, soft=True) for text in MEANS)]
        blocks += [
            Subheading("What the finding rests on"),
            Listing(context.said([note for note in relation.notes if note != relation.control_sentence])),
        ]
        if len(relation.left_out):
            rows = [
                [context.brew_cell(str(brew)), context.say(str(reason))] for brew, reason in relation.left_out.items()
            ]
            blocks.append(Table("Brews that were not used", (Column("brew"), Column("reason", wide=True)), rows))
        blocks.append(Summary("The fit in full", summary_in(relation, context.choice.system)))
        if relation.mill_sentence:
            blocks += [Heading("What a finer mill gap went with"), Text(context.say(relation.mill_sentence))]
    if change is not None:
        blocks += [Heading("Why it changed"), *paragraphs(context, change.sentence)]
        if len(change.pieces):
            blocks.append(
                drawn(
                    lambda f: figures.plot_change(change, ax=f.add_subplot()),
                    "Pieces of the change of efficiency with their 95 % ranges, and what is left unexplained.",
                    "Each piece is a coefficient times the change of its column between the two periods.",
                    TALL,
                    phone=(4.2, 1.6 + 0.42 * (len(change.pieces) + 2)),
                )
            )
        blocks.append(Summary("The pieces in numbers", summary_in(change, context.choice.system)))
    if experiment is not None:
        blocks += [Heading("The next experiment"), *paragraphs(context, experiment.sentence)]
        order = plain_table(
            experiment.order,
            "Brews to make, in this order; the last column goes into brews.csv",
            [(name, str(name).replace("_", " ")) for name in experiment.order.columns],
        )
        blocks.append(Folded(f"The order of the {len(experiment.order)} brews", (order,)))
    blocks += [Listing(tuple(f"{what}: {why}" for what, why in results.reasons.items()))] if results.reasons else []
    return Page("findings.html", "Did tighter holding pay, and why did efficiency change?", blocks)
