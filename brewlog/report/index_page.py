"""The first page: the answer, then rigs, brews, findings, next steps, problems."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from brewlog import figures
from brewlog.logbook.problems import Problem
from brewlog.report import cautions
from brewlog.report.blocks import (
    Answer,
    Block,
    Caution,
    Cell,
    Column,
    Folded,
    Heading,
    Link,
    Links,
    Listing,
    Table,
    Text,
)
from brewlog.report.context import Context
from brewlog.report.drawing import drawn
from brewlog.report.headline import ASKED, headline, next_steps, whole_answer
from brewlog.report.meanings import said
from brewlog.report.render import Page
from brewlog.report.rig_page import rig_sentences
from brewlog.report.tables import shown_constant, shown_number
from brewlog.report.words import counted, number, written_day

TAKEN = {"malt_extract": "malts' own analysis (usual values taken)"}
"""What is said where a value is missing and a usual one stands in for it."""
LATEST = 8
"""Brews whose rows stand open on the first page; the table of all is folded."""


def index_page(context: Context) -> Page:
    """The first page: the answer in three sentences, then rigs, brews, findings, next steps, problems.

    Parameters
    ----------
    context : Context

    Returns
    -------
    Page
    """
    results = context.results
    book, table = results.book, results.table
    blocks: list[Block] = [Answer(context.said(headline(results)), ASKED)]
    blocks += rigs_part(context)
    blocks += brews_part(context)
    blocks += findings_part(context)
    blocks += [Heading("What to do next", "next"), Listing(context.said(next_steps(results)))]
    blocks += [
        Heading("Problems in the records", "problems"),
        Text(f"The reader found {problem_counts(book.problems)}. Each is listed with its file, line and column."),
        Links((Link("problems.html", "All problems and notes"),)),
        Caution(context.said((*cautions.BREW_DAY, *cautions.RIG[:1]))),
    ]
    span = table["date"].dropna()
    lead = f"{counted(len(book.brews), 'brew')} on {counted(len(book.rigs), 'rig')}"
    if len(span):
        lead += f", {written_day(span.min())} to {written_day(span.max())}"
    return Page("index.html", "What this logbook says", blocks, lead + ".")


def rigs_part(context: Context) -> list[Block]:
    """What each rig does, in two sentences, and its constants."""
    results = context.results
    said = []
    for label in results.book.rigs:
        fit = results.fits.get(label)
        if fit is None:
            said.append(f"Rig {label} could not be calibrated: {context.say(results.reasons[f'rig {label}'])}")
        else:
            said.append(f"Rig {label}. {' '.join(rig_sentences(fit, context.choice)[:2])}")
    return [Heading("Rigs", "rigs"), Listing(tuple(said)), rigs_table(context)]


def brews_part(context: Context) -> list[Block]:
    """How the brews went: in a sentence, as a picture, and one row each."""
    table = context.results.table
    blocks: list[Block] = [Heading("Brews", "brews"), Text(brews_sentence(table))]
    if table["brewhouse"].notna().any() or table["mash"].notna().any():
        blocks.append(
            drawn(
                lambda f: figures.plot_efficiency_history(table, ax=f.add_subplot()),
                "Efficiency of every brew by date, with error bars, marked by the sensor that controlled the mash. "
                "The table of all brews below has the numbers.",
                "Each brew's efficiency with one standard deviation.",
            )
        )
    if len(table) > LATEST:
        blocks += [
            brews_table(context, table.iloc[::-1].iloc[:LATEST], f"The latest {LATEST}, newest first"),
            Folded(f"All {len(table)} brews", (brews_table(context, table, "Every brew, oldest first"),)),
        ]
    else:
        blocks.append(brews_table(context, table, "Every brew, oldest first"))
    pairs = tuple(Link(file, f"{one} beside {other}") for (one, other), file in context.pairs.items())
    return [*blocks, Text("Two brews side by side:"), Links(pairs)] if pairs else blocks


def brews_sentence(table: pd.DataFrame) -> str:
    """Efficiency of the brews in the middle, and of the latest."""
    response = next((name for name in ("brewhouse", "mash") if table[name].notna().any()), None)
    if response is None:
        return "No efficiency is known: it needs the grist, and volume and gravity before the boil or in the fermenter."
    known = table.dropna(subset=[response])
    low, middle, high = known[response].quantile([0.25, 0.5, 0.75])
    last = known.iloc[-1]
    text = f"{response.capitalize()} efficiency is known of {len(known)} of {counted(len(table), 'brew')}"
    if len(known) >= 4:
        text += f"; its median is {middle:.1f} %, and half of them lie between {low:.1f} and {high:.1f} %"
    latest = number(last[response], last[f"{response}_sd"], "%")
    return f"{text}. The latest of them, {last['brew']}, reached {latest}."


def findings_part(context: Context) -> list[Block]:
    """All sentences of the findings, folded, with the picture of the first."""
    results = context.results
    relation, sentences = results.relation, whole_answer(results)
    blocks: list[Block] = [Heading("Findings", "findings")]
    if relation is not None and relation.n:
        blocks.append(
            drawn(
                lambda f: figures.plot_relation(
                    relation, results.table, ax=f.add_subplot(), units=context.choice.system
                ),
                "Efficiency of each brew against the tightness of its mash, with the fitted line and its band; brews "
                "that were left out are grey.",
                "Left is tighter. The band is for the average of many such brews; single brews scatter more.",
            )
        )
    if sentences:
        blocks.append(Folded("The findings in all their sentences", (Listing(context.said(sentences)),)))
    more = Link("findings.html", "All findings", "what they rest on, why efficiency changed, and the next experiment")
    return [*blocks, Links((more,))]


def problem_counts(problems: Sequence[Problem]) -> str:
    """How many problems and notes there are, in words."""
    hard = sum(problem.severity == "problem" for problem in problems)
    return f"{counted(hard, 'problem')} and {counted(len(problems) - hard, 'note')}"


def rigs_table(context: Context) -> Table:
    """One row per rig: share of heat, loss, flow or conductance of the bed, boil-off."""
    results = context.results
    wanted = ["heat_share", "heat_loss", "bed_flow", "bed_conductance", "boil_off", "absorption"]
    if all("bed_flow" in fit.constants.index for fit in results.fits.values()):
        wanted.remove("bed_conductance")  # the same again, of beds whose flow is told
    present = [w for w in wanted if any(w in fit.constants.index for fit in results.fits.values())]
    rows: list[list[str | Cell]] = []
    for label in results.book.rigs:
        row: list[str | Cell] = [Cell(context.rigs[label], label), str(len(results.book.brews_of(label)))]
        fit = results.fits.get(label)
        row += ["–" if fit is None else shown_constant(fit.constants, name, context.choice) for name in present]
        rows.append(row)
    columns = [Column("rig"), Column("brews", numeric=True)]
    columns += [Column(name.replace("_", " "), tight=True) for name in present]
    return Table("Constants of each rig with their 95 % intervals", tuple(columns), rows)


def brews_table(context: Context, table: pd.DataFrame, caption: str) -> Table:
    """One row per brew: what was reached and how tightly it was held."""
    choice, units = context.choice, context.results.table.attrs["units"]
    rows: list[list[str | Cell]] = []
    for _, row in table.iterrows():
        rows.append(
            [
                context.brew_cell(str(row["brew"])),
                f"{row['date']:%Y-%m-%d}" if pd.notna(row["date"]) else "–",
                str(row["rig"]) if pd.notna(row["rig"]) else "–",
                str(row["control"]) if pd.notna(row["control"]) else "–",
                shown_number(row["mash"], units.get("mash", "%"), choice, row["mash_sd"]),
                shown_number(row["brewhouse"], units.get("brewhouse", "%"), choice, row["brewhouse_sd"]),
                shown_number(row["hold_rms"], "K", choice, row["hold_rms_sd"]),
                str(row["hold_from"]) if pd.notna(row["hold_from"]) else "–",
                shown_number(row["mill_gap"], "mm", choice, None, 2),
                missing_names(row["missing"]),
            ]
        )
    columns = (
        Column("brew"),
        Column("date", tight=True),
        Column("rig"),
        Column("control"),
        Column("mash efficiency [%]", numeric=True),
        Column("brewhouse efficiency [%]", numeric=True),
        Column(f"tightness [{choice.sign('K')}]", numeric=True),
        Column("known from"),
        Column("mill gap [mm]", numeric=True),
        Column("not known (why: see its page)", wide=True),
    )
    return Table(f"{caption}; “±” is one standard deviation", columns, rows)


def missing_names(missing: object) -> str:
    """Names of what is missing, without the reasons, at most four of them.

    Examples
    --------
    >>> missing_names("conversion, lauter: no first wort; mill_gap: not recorded")
    'conversion, lauter, mill gap'
    >>> missing_names("malt_extract: not every malt has a laboratory extract")
    "malts' own analysis (usual values taken)"
    """
    if not isinstance(missing, str) or not missing:
        return ""
    found = [name.strip() for part in missing.split(";") for name in part.split(":")[0].split(",")]
    names = list(dict.fromkeys(TAKEN.get(name, said(name)) for name in found if name and not name.endswith("_sd")))
    return ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")
