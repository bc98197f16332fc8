"""The pages of a report: what each shows, in which order."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd
from matplotlib.figure import Figure

from brewlog import figures
from brewlog.logbook.problems import Problem
from brewlog.report import cautions
from brewlog.report.blocks import (
    Answer,
    Block,
    Caution,
    Cell,
    Column,
    Heading,
    Link,
    Links,
    Listing,
    Picture,
    Subheading,
    Summary,
    Table,
    Text,
    picture,
)
from brewlog.report.render import Page
from brewlog.report.results import Results
from brewlog.report.review import BrewReview
from brewlog.report.tables import constants_table, plain_table, rests_table, shown_constant, shown_number
from brewlog.report.units import UnitChoice
from brewlog.report.words import counted, interval, number, value_of
from brewlog.rig import watch_rig

if TYPE_CHECKING:
    from brewlog.rig import RigFit

WIDE = (9.0, 4.2)
TALL = (9.0, 5.6)
Draw = Callable[[Figure], Any]


def drawn(draw: Draw, alt: str, caption: str, size: tuple[float, float] = WIDE) -> Picture:
    """A picture of what `draw` puts on a new figure; pyplot's list of open figures is not touched."""
    figure = Figure(figsize=size, layout="constrained")
    draw(figure)
    return picture(figure, alt, caption)


def index_page(results: Results, names: dict[str, dict[str, str]], choice: UnitChoice) -> Page:
    """The first page: the answer in three sentences, then rigs, brews, next steps, problems.

    Parameters
    ----------
    results : Results
    names : dict
        Page files of `brew` and `rig` by label.
    choice : UnitChoice

    Returns
    -------
    Page
    """
    book, table = results.book, results.table
    blocks: list[Block] = [Answer(tuple(opening_sentences(results)))]
    blocks += [Heading("Rigs", "rigs"), rigs_table(results, names["rig"], choice)]
    blocks += [Heading("Efficiency over time", "efficiency")]
    if table["brewhouse"].notna().any() or table["mash"].notna().any():
        blocks.append(
            drawn(
                lambda f: figures.plot_efficiency_history(table, ax=f.add_subplot()),
                "Efficiency of every brew by date, with error bars, marked by the sensor that controlled the mash.",
                "Each brew's efficiency with one standard deviation. What moved it, and what cannot be told, is on the "
                "page of findings.",
            )
        )
    blocks += [Heading("Brews", "brews"), brews_table(table, names["brew"], choice)]
    blocks += [Heading("What to do next", "next"), Listing(tuple(next_steps(results)))]
    count = problem_counts(book.problems)
    blocks += [
        Heading("Problems in the records", "problems"),
        Text(f"The reader found {count}. Each is listed with its file, line and column."),
        Links((Link("problems.html", "All problems and notes"),)),
    ]
    blocks.append(Caution((*cautions.BREW_DAY, *cautions.RIG[:1])))
    span = table["date"].dropna()
    lead = f"{counted(len(book.brews), 'brew')} on {counted(len(book.rigs), 'rig')}"
    if len(span):
        lead += f", {span.min():%d %B %Y} to {span.max():%d %B %Y}"
    return Page("index.html", "What this logbook says", blocks, lead + ".")


def opening_sentences(results: Results) -> list[str]:
    """The answer first: whether tighter holding went with more efficiency, why it changed, what would tell more."""
    sentences = []
    relation, change, experiment = results.relation, results.change, results.experiment
    if relation is not None:
        sentences += [relation.sentence, relation.control_sentence]
    else:
        sentences.append(
            f"Efficiency cannot be related to tightness: {results.reasons['efficiency against tightness']}"
        )
    if change is not None:
        sentences.append(change.sentence)
    if experiment is not None:
        sentences.append(experiment.sentence)
    return sentences


def next_steps(results: Results) -> list[str]:
    """What the brewer can do next to learn most."""
    steps = []
    if results.experiment is not None:
        steps.append(results.experiment.sentence)
    for label, fit in results.fits.items():
        for name, verdict in fit.constants["verdict"].items():
            if str(verdict).startswith("not told"):
                steps.append(f"Rig {label}, {str(name).replace('_', ' ')}: {verdict}.")
    steps += [f"{what}: {why}" for what, why in results.reasons.items()]
    return steps or ["Go on logging: volume and gravity before the boil and in the fermenter, and a probe in the bed."]


def problem_counts(problems: Sequence[Problem]) -> str:
    """How many problems and notes there are, in words."""
    hard = sum(problem.severity == "problem" for problem in problems)
    return f"{counted(hard, 'problem')} and {counted(len(problems) - hard, 'note')}"


def rigs_table(results: Results, names: dict[str, str], choice: UnitChoice) -> Table:
    """One row per rig: heating rate, share of heat, loss."""
    wanted = ("heat_share", "heat_loss", "bed_flow", "bed_conductance", "boil_off", "absorption")
    present = [w for w in wanted if any(w in fit.constants.index for fit in results.fits.values())]
    rows: list[list[str | Cell]] = []
    for label in results.book.rigs:
        row: list[str | Cell] = [Cell(names[label], label), str(len(results.book.brews_of(label)))]
        fit = results.fits.get(label)
        for name in present:
            row.append("–" if fit is None else shown_constant(fit.constants, name, choice))
        rows.append(row)
    columns = [Column("rig"), Column("brews", numeric=True), *(Column(name.replace("_", " ")) for name in present)]
    return Table("Constants of each rig with their 95 % intervals", tuple(columns), rows)


def brews_table(table: pd.DataFrame, names: dict[str, str], choice: UnitChoice) -> Table:
    """One row per brew: what was reached and how tightly it was held."""
    units = table.attrs["units"]
    rows: list[list[str | Cell]] = []
    for _, row in table.iterrows():
        rows.append(
            [
                Cell(names[str(row["brew"])], str(row["brew"])),
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
        Column("date"),
        Column("rig"),
        Column("control"),
        Column("mash efficiency [%]", numeric=True),
        Column("brewhouse efficiency [%]", numeric=True),
        Column(f"tightness [{'°F' if choice.system == 'us' else 'K'}]", numeric=True),
        Column("known from"),
        Column("mill gap [mm]", numeric=True),
        Column("not known (why: see its page)", wide=True),
    )
    return Table("Every brew, oldest first; “±” is one standard deviation", columns, rows)


def missing_names(missing: object) -> str:
    """Names of what is missing, without the reasons, at most four of them.

    Examples
    --------
    >>> missing_names("conversion, lauter: no first wort; mill_gap: not recorded")
    'conversion, lauter, mill gap'
    """
    if not isinstance(missing, str) or not missing:
        return ""
    found = [name.strip().replace("_", " ") for part in missing.split(";") for name in part.split(":")[0].split(",")]
    names = list(dict.fromkeys(name for name in found if name and not name.endswith(" sd")))
    return ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")


def brew_page(results: Results, label: str, names: dict[str, dict[str, str]], choice: UnitChoice) -> Page:
    """The page of one brew: planned against reached first."""
    review = results.review(label)
    brew = review.brew
    blocks: list[Block] = [Answer(review.sentences)]
    trace = brew.trace
    if trace is not None:
        held = "reconstructed" if review.reconstructed is not None else "measured"
        blocks += [
            Heading("The mash day"),
            drawn(
                lambda f: figures.plot_mash_day(brew, mash=review.reconstructed, ax=f.add_subplot()),
                f"Temperatures of brew {label} against time: base, bed ({held}) and rest temperatures with a band of "
                "half a kelvin.",
                "Bed and base temperature against the planned rests; the band is half a kelvin either side of a rest.",
                TALL,
            ),
        ]
        if "base_temp" in trace:
            blocks.append(
                drawn(
                    lambda f: figures.plot_lead(brew, mash=review.reconstructed, ax=f.add_subplot()),
                    f"How far the base ran ahead of the bed during the mash of brew {label}.",
                    "Base minus bed: large while heating, small while holding; the planned headroom where written.",
                )
            )
    if len(review.held.rests):
        blocks += [Heading("How the rests were held"), rests_table(review.held.rests, review.held.units, choice)]
    if brew.trace_faults:
        blocks += [Subheading("What the trace lacks"), Listing(tuple(str(fault) for fault in brew.trace_faults))]
    blocks += [Heading("Where the extract went"), efficiencies_table(review)]
    if len(review.balance.waterfall):
        blocks.append(
            drawn(
                lambda f: figures.plot_waterfall(review.balance.waterfall, ax=f.add_subplot()),
                f"Extract of brew {label} from the potential of the grist to the fermenter, step by step.",
                "From what the malt could give to what reached the fermenter; whiskers are 95 % ranges.",
            )
        )
    blocks.append(Summary("The whole account in numbers", review.balance.summary()))
    if review.reasons:
        blocks += [Heading("What is missing, and why"), Listing(review.reasons)]
    if brew.changes or brew.notes:
        blocks.append(Heading("The brewer's own notes"))
        blocks += [Text(text) for text in (brew.changes, brew.notes) if text]
    hot = cautions.HOT_FILL if brew.cooling == "hot-filled" else ()
    blocks.append(Caution((*cautions.BREW_DAY, *hot)))
    facts = [f"{brew.date:%d %B %Y}" if brew.date else None, brew.recipe, f"rig {brew.rig}" if brew.rig else None]
    if review.control:
        facts.append(f"heater followed the {review.control} ({review.control_from})")
    return Page(
        names["brew"][label],
        f"Brew {label}",
        blocks,
        ", ".join(fact for fact in facts if fact) + ".",
        neighbours(list(results.book.brews), label, names["brew"], "brew"),
    )


def neighbours(labels: Sequence[str], label: str, files: dict[str, str], noun: str) -> list[Link]:
    """Links to the page before and after."""
    at = labels.index(label)
    links = [Link(files[labels[at - 1]], f"← {noun} {labels[at - 1]}")] if at else []
    if at + 1 < len(labels):
        links.append(Link(files[labels[at + 1]], f"{noun} {labels[at + 1]} →"))
    return links


def efficiencies_table(review: BrewReview) -> Table:
    """The four efficiencies with their definitions."""
    rows: list[list[str | Cell]] = []
    for name, row in review.balance.efficiencies.iterrows():
        value = getattr(review.balance, str(name))
        shown = "–" if value is None else number(*value_of(value), "%")
        against = "–" if pd.isna(row["against_coarse"]) else f"{row['against_coarse']:.1f} %"
        rows.append([str(name), shown, against, str(row["definition"]), str(row["reason"])])
    columns = (
        Column("efficiency"),
        Column("against fine grind", numeric=True),
        Column("against coarse grind", numeric=True),
        Column("definition", wide=True),
        Column("why missing", wide=True),
    )
    return Table("Efficiencies and what they mean", columns, rows)


def rig_page(results: Results, label: str, names: dict[str, dict[str, str]], choice: UnitChoice) -> Page:
    """The page of one rig: its constants, how well the model meets the traces, what is left out."""
    fit = results.fits.get(label)
    rig = results.book.rigs[label]
    if fit is None:
        blocks: list[Block] = [Answer((f"This rig could not be calibrated: {results.reasons[f'rig {label}']}",))]
    else:
        blocks = [
            Answer(tuple(rig_sentences(fit, choice))),
            Heading("Constants"),
            constants_table(fit.constants, choice, f"What is known of rig {label}"),
            drawn(
                lambda f: figures.plot_constants(fit, ax=f.add_subplot()),
                f"Each constant of rig {label} brew by brew, with the interval over all brews.",
                "Every brew's own estimate beside the interval over all brews, as a share of the estimate.",
                TALL,
            ),
        ]
        found = watch_rig(fit, results.book.brews_of(label))
        blocks += [
            Heading("What to look at"),
            Listing(tuple(str(one) for one in found) or ("Nothing unusual was found in the traces of this rig.",)),
        ]
        blocks += model_picture(results, fit)
        blocks += drift_picture(fit)
        blocks += holds_picture(results, label)
        if len(fit.left_out):
            rows = [[str(brew), str(reason)] for brew, reason in fit.left_out.items()]
            blocks += [
                Heading("Brews that were not used"),
                Table("Left out of the fit", (Column("brew"), Column("reason", wide=True)), rows),
            ]
        blocks += [
            Heading("What the fit rests on"),
            Listing(tuple(fit.notes)),
            Summary("The fit in full", fit.summary()),
        ]
    blocks.append(Caution(cautions.RIG))
    power = f"{rig.heater_power:.0f} W nameplate" if rig.heater_power else "nameplate power not recorded"
    return Page(
        names["rig"][label],
        f"Rig {label}",
        blocks,
        f"{power}; {counted(len(results.book.brews_of(label)), 'brew')}.",
        neighbours(list(results.book.rigs), label, names["rig"], "rig"),
    )


def problems_page(problems: Sequence[Problem]) -> Page:
    """What the reader found in the files, in reading order."""
    blocks: list[Block] = [Answer((f"The reader found {problem_counts(problems)}. No file was changed.",))]
    for severity, title, what in (
        ("problem", "Problems", "could not be read; each costs what its last column says"),
        ("note", "Notes", "were read, perhaps not as you meant"),
    ):
        rows: list[list[str | Cell]] = [
            [p.file, "" if p.line is None else str(p.line), p.column or "", p.found, p.expected, p.cost]
            for p in problems
            if p.severity == severity
        ]
        if rows:
            columns = (
                Column("file"),
                Column("line", numeric=True),
                Column("column"),
                Column("found"),
                Column("expected", wide=True),
                Column("what follows", wide=True),
            )
            blocks += [Heading(title), Table(f"{counted(len(rows), 'place')} that {what}", columns, rows)]
    return Page("problems.html", "Problems in the records", blocks)


def findings_page(results: Results) -> Page:
    """Efficiency against tightness, why it changed, and the experiment that would tell more."""
    relation, change, experiment = results.relation, results.change, results.experiment
    blocks: list[Block] = [Answer(tuple(opening_sentences(results)))]
    if relation is not None:
        blocks += [Heading("Efficiency against tightness")]
        if relation.n:
            blocks.append(
                drawn(
                    lambda f: figures.plot_relation(relation, results.table, ax=f.add_subplot()),
                    "Efficiency of each brew against the tightness of its mash, with the fitted line and its band; "
                    "brews that were left out are grey.",
                    "Left is tighter. The band is for the average of many such brews; single brews scatter more.",
                )
            )
        if len(relation.sensitivity):
            blocks.append(
                plain_table(
                    relation.sensitivity,
                    "The gain under other assumptions, and without each of the most telling brews [points]",
                    [(name, str(name).replace("_", " ")) for name in relation.sensitivity.columns],
                    first="assumption",
                )
            )
        blocks += [Subheading("What the finding rests on"), Listing(tuple(relation.notes))]
        if len(relation.left_out):
            rows = [[str(brew), str(reason)] for brew, reason in relation.left_out.items()]
            blocks.append(Table("Brews that were not used", (Column("brew"), Column("reason", wide=True)), rows))
        blocks.append(Summary("The fit in full", relation.summary()))
    if change is not None:
        blocks += [Heading("Why it changed"), Text(change.sentence)]
        if len(change.pieces):
            blocks.append(
                drawn(
                    lambda f: figures.plot_change(change, ax=f.add_subplot()),
                    "Pieces of the change of efficiency with their 95 % ranges, and what is left unexplained.",
                    "Each piece is a coefficient times the change of its column between the two periods.",
                    TALL,
                )
            )
        blocks.append(Summary("The pieces in numbers", change.summary()))
    if experiment is not None:
        blocks += [Heading("The next experiment"), Text(experiment.sentence)]
        blocks.append(
            plain_table(
                experiment.order,
                "Brews to make, in this order; the last column goes into brews.csv",
                [(name, str(name).replace("_", " ")) for name in experiment.order.columns],
            )
        )
    blocks += [Listing(tuple(f"{what}: {why}" for what, why in results.reasons.items()))] if results.reasons else []
    return Page("findings.html", "Did tighter holding pay, and why did efficiency change?", blocks)


def rig_sentences(fit: RigFit, choice: UnitChoice) -> list[str]:
    """A rig in plain words: how much of its power arrives, how fast it heats, what cannot be told."""
    constants = fit.constants
    sentences = []
    if "heat_share" in constants.index:
        share: Any = constants.loc["heat_share"]
        estimate, low, high = (100 * float(share[key]) for key in ("estimate", "low", "high"))
        shown = interval(estimate, low, high, "%")
        sentences.append(f"Of the nameplate power {shown} reaches the liquid.")
    try:
        water = choice.convert(20.0, "L")
        rate = value_of(fit.heating_rate(20.0, 4.0))
        shown = number(choice.convert(rate[0], "K/min"), choice.scale(rate[1], "K/min"), choice.shown("K/min"))
        grain = choice.convert(4.0, "kg")
        sentences.append(
            f"At full power it warms a mash of {water:.1f} {choice.shown('L')} water and {grain:.1f} "
            f"{choice.shown('kg')} grain by {shown}."
        )
    except ValueError as error:
        sentences.append(f"Its heating rate cannot be told: {error}")
    told = [str(name).replace("_", " ") for name, verdict in constants["verdict"].items() if verdict == "identified"]
    open_ = [str(name).replace("_", " ") for name, verdict in constants["verdict"].items() if verdict != "identified"]
    if told:
        sentences.append(f"Known from these data: {', '.join(told)}.")
    if open_:
        sentences.append(f"Not known singly, or not at all: {', '.join(open_)}. The table says what would tell.")
    return sentences


def drift_picture(fit: RigFit) -> list[Block]:
    """The heater's share brew by brew: the first thing that drifts."""
    if "heat_share" not in fit.constants.index or "heat_share" not in fit.per_brew:
        return []
    return [
        Heading("Does the heater hold its power?"),
        drawn(
            lambda f: figures.plot_drift(fit, "heat_share", ax=f.add_subplot()),
            f"Share of the nameplate power that reached the liquid on each brew day of rig {fit.rig}.",
            "Mains voltage moves single days by a few per cent; a steady fall asks for descaling the base, or for a "
            "licensed electrician to look at element and supply.",
        ),
    ]


def holds_picture(results: Results, label: str) -> list[Block]:
    """How tightly each rest was held, brew by brew."""
    holds = [results.review(brew.label).held for brew in results.book.brews_of(label)]
    if not any(held.overall["hold_from"] for held in holds):
        return []
    return [
        Heading("How tightly the rests were held"),
        drawn(
            lambda f: figures.plot_holds(holds, ax=f.add_subplot()),
            f"Tightness of each rest on rig {label}, one mark per brew.",
            "Root mean square of bed temperature minus rest temperature; smaller is tighter.",
        ),
    ]


def model_picture(results: Results, fit: RigFit) -> list[Block]:
    """Measured against modelled for the latest brew that was used."""
    used = [str(brew) for brew in fit.per_brew.index if str(brew) in results.book.brews]
    if not used:
        return []
    brew = results.book.brews[used[-1]]
    return [
        drawn(
            lambda f: figures.plot_fit(fit, brew, axes=f.subplots(2, 1, sharex=True, height_ratios=(3, 1))),
            f"Measured and modelled temperatures of brew {brew.label}, and their difference below.",
            f"The fitted model against the trace of brew {brew.label}: the lower panel is measured minus modelled.",
            TALL,
        )
    ]
