"""The page of one rig: its constants, how well the model meets the traces, what is left out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brewlog import figures
from brewlog.figures.units import UnitChoice
from brewlog.report import cautions
from brewlog.report.blocks import Answer, Block, Caution, Column, Heading, Listing, Summary, Table
from brewlog.report.context import Context, neighbours
from brewlog.report.drawing import TALL, drawn
from brewlog.report.meanings import meanings
from brewlog.report.misfit import misfit_words
from brewlog.report.next_brew import next_brew
from brewlog.report.render import Page
from brewlog.report.summaries import summary_in
from brewlog.report.tables import constants_table
from brewlog.report.words import counted, interval, number, value_of
from brewlog.rig import watch_rig

if TYPE_CHECKING:
    from brewlog.rig import RigFit

NOTHING = (
    "Nothing unusual was found in the traces of this rig. Small things are not seen: clocks that differ by less than "
    "45 s, a bed probe's clock by less than about two minutes."
)


def rig_page(context: Context, label: str) -> Page:
    """The page of one rig: its constants, how well the model meets the traces, what is left out."""
    results, choice = context.results, context.choice
    fit = results.fits.get(label)
    rig = results.book.rigs[label]
    if fit is None:
        blocks: list[Block] = [
            Answer((context.say(f"This rig could not be calibrated: {results.reasons[f'rig {label}']}"),))
        ]
    else:
        blocks = [
            Answer(tuple(rig_sentences(fit, choice))),
            Heading("Constants"),
            constants_table(fit.constants, choice, f"What is known of rig {label}"),
            meanings(map(str, fit.constants.index), choice),
            drawn(
                lambda f: figures.plot_constants(fit, ax=f.add_subplot(), units=choice.system),
                f"Each constant of rig {label} brew by brew, with the interval over all brews.",
                "Every brew's own estimate beside the interval over all brews, as a share of the estimate.",
                TALL,
            ),
        ]
        found = [context.say(str(one)) for one in watch_rig(fit, results.book.brews_of(label))]
        blocks += [
            Heading("What to look at"),
            Listing(tuple(found) or (NOTHING,)),
        ]
        blocks += next_brew(context, label, fit)
        blocks += model_picture(context, fit)
        blocks += drift_picture(fit, choice)
        blocks += stretches_picture(fit, choice)
        blocks += holds_picture(context, label)
        if len(fit.left_out):
            rows = [[context.brew_cell(str(brew)), context.say(str(why))] for brew, why in fit.left_out.items()]
            blocks += [
                Heading("Brews that were not used"),
                Table("Left out of the fit", (Column("brew"), Column("reason", wide=True)), rows),
            ]
        blocks += [
            Heading("What the fit rests on"),
            Listing(context.said(fit.notes)),
            Summary("The fit in full", summary_in(fit, choice.system)),
        ]
    blocks.append(Caution(context.said(cautions.RIG)))
    power = f"{rig.heater_power:.0f} W nameplate" if rig.heater_power else "nameplate power not recorded"
    return Page(
        context.rigs[label],
        f"Rig {label}",
        blocks,
        f"{power}; {counted(len(results.book.brews_of(label)), 'brew')}.",
        neighbours(list(results.book.rigs), label, context.rigs, "rig"),
    )


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
            f"At full power it warms a mash of {water:.1f} {choice.sign('L')} water and {grain:.1f} "
            f"{choice.sign('kg')} grain by {shown}."
        )
    except ValueError as error:
        sentences.append(choice.in_words(f"Its heating rate cannot be told: {error}"))
    told = [str(name).replace("_", " ") for name, verdict in constants["verdict"].items() if verdict == "identified"]
    open_ = [str(name).replace("_", " ") for name, verdict in constants["verdict"].items() if verdict != "identified"]
    if told:
        sentences.append(f"Known from these data: {', '.join(told)}.")
    if open_:
        sentences.append(f"Not known singly, or not at all: {', '.join(open_)}. The table says what would tell.")
    return sentences


def drift_picture(fit: RigFit, choice: UnitChoice) -> list[Block]:
    """The heater's share brew by brew: the first thing that drifts."""
    if "heat_share" not in fit.constants.index or "heat_share" not in fit.per_brew:
        return []
    return [
        Heading("Does the heater hold its power?"),
        drawn(
            lambda f: figures.plot_drift(fit, "heat_share", ax=f.add_subplot(), units=choice.system),
            f"Share of the nameplate power that reached the liquid on each brew day of rig {fit.rig}.",
            "Bars are one standard deviation. Mains voltage moves single days by a few per cent; a steady fall "
            "asks for descaling the base, or for a licensed electrician to look at element and supply.",
        ),
    ]


def stretches_picture(fit: RigFit, choice: UnitChoice) -> list[Block]:
    """Which stretch of the brew days told how much of the heater's share, where more than one did."""
    told = fit.per_stretch
    if told.empty or told.loc[told["constant"] == "heat_share", "stretch"].nunique() < 2:
        return []
    return [
        Heading("Which part of the brew day tells it?"),
        drawn(
            lambda f: figures.plot_stretches(fit, ax=f.add_subplot(), units=choice.system),
            f"Share of the nameplate power of rig {fit.rig} as heating the water, the mash and the boil tell it.",
            "Each mark is a brew with one standard deviation, in order of time; the bar is their weighted mean. Where "
            "the columns stand apart, the recorded volumes are the first thing to check.",
        ),
    ]


def holds_picture(context: Context, label: str) -> list[Block]:
    """How tightly each rest was held, brew by brew."""
    results = context.results
    holds = [results.review(brew.label).held for brew in results.book.brews_of(label)]
    if not any(held.overall["hold_from"] for held in holds):
        return []
    return [
        Heading("How tightly the rests were held"),
        drawn(
            lambda f: figures.plot_holds(holds, ax=f.add_subplot(), units=context.choice.system),
            f"Tightness of each rest on rig {label}, one mark per brew.",
            "Root mean square of bed temperature minus rest temperature; smaller is tighter.",
        ),
    ]


def model_picture(context: Context, fit: RigFit) -> list[Block]:
    """Measured against modelled for the latest brew that was used."""
    results = context.results
    used = [str(brew) for brew in fit.per_brew.index if str(brew) in results.book.brews]
    if not used:
        return []
    brew = results.book.brews[used[-1]]
    return [
        Heading("Measured against modelled"),
        drawn(
            lambda f: figures.plot_fit(
                fit, brew, axes=f.subplots(2, 1, sharex=True, height_ratios=(3, 1)), units=context.choice.system
            ),
            f"Measured and modelled temperatures of brew {brew.label}, and their difference below.",
            f"The fitted model against the trace of brew {brew.label}: the lower panel is measured minus modelled. "
            + misfit_words(fit, context.choice),
            TALL,
        ),
    ]
