"""Two brews side by side: planned and reached first, then account, rests, mash days and differences."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from brewlog import figures
from brewlog.figures.units import UnitChoice
from brewlog.report import cautions
from brewlog.report.blocks import Answer, Block, Caution, Cell, Column, Columns, Heading, Subheading, Table, Text
from brewlog.report.brew_page import day_facts
from brewlog.report.comparison import INDEPENDENT, Comparison
from brewlog.report.context import Context
from brewlog.report.drawing import PHONE_TALL, PHONE_WIDE, Draw, drawn
from brewlog.report.planned import planned_table
from brewlog.report.render import Page
from brewlog.report.review import BrewReview
from brewlog.report.tables import shown_number, title_with_unit
from brewlog.report.words import decimals, value_of

TITLES = {
    "pre_boil_gravity": "gravity before the boil",
    "pre_boil_volume": "volume before the boil, at 20 °C",
    "conversion": "conversion efficiency",
    "lauter": "lauter efficiency",
    "mash": "mash efficiency",
    "brewhouse": "brewhouse efficiency",
    "hold_rms": "tightness (rms)",
}


def compare_page(context: Context, first: str, second: str) -> Page:
    """The page of two brews side by side.

    Parameters
    ----------
    context : Context
    first, second : str
        Labels of brews; the first stands at the left.

    Returns
    -------
    Page
    """
    results, choice = context.results, context.choice
    pair = Comparison(results.review(first), results.review(second))
    both = (pair.first, pair.second)
    blocks: list[Block] = [
        Answer(context.said(pair.sentences)),
        Heading("Planned and reached"),
        beside(both, lambda one: [planned_table(one.brew, one.balance, choice)]),
        Heading("What differs"),
        difference_table(pair, choice),
        Text(INDEPENDENT, soft=True),
        Heading("Where the extract went"),
        account_table(pair, choice),
    ]
    blocks += pictures_of_accounts(pair, choice)
    blocks += [Heading("How each rest was held"), holds_table(pair, choice)]
    blocks += pictures_of_days(pair, choice)
    hot = cautions.HOT_FILL if any(one.brew.cooling == "hot-filled" for one in both) else ()
    blocks.append(Caution(context.said((*cautions.BREW_DAY, *hot))))
    facts = [f"{one.brew.label}: {', '.join(day_facts(one.brew))}" for one in both]
    return Page(context.pairs[first, second], f"{first} beside {second}", blocks, "; ".join(facts) + ".")


def beside(both: tuple[BrewReview, BrewReview], make: Any) -> Columns:
    """What `make` gives for each brew, below the brew's label, side by side."""
    left, right = ((Subheading(f"Brew {one.brew.label}"), *make(one)) for one in both)
    return Columns((left, right))


def difference_table(pair: Comparison, choice: UnitChoice) -> Table:
    """Each number of both brews, and the difference with its 95 % range."""
    rows: list[list[str | Cell]] = []
    for (name, unit, one, other), (_, row) in zip(pair._numbers(), pair.differences.iterrows(), strict=True):
        cells = [choice.in_words(title_with_unit(TITLES[name], choice.shown(unit)))]
        for value in (one, other):
            middle, sd = value_of(value)
            cells.append(shown_number(middle, unit, choice, sd))
        cells.append(shown_difference(row, unit, choice))
        rows.append(list(cells))
    one, other = pair.first.brew.label, pair.second.brew.label
    numbers = (one, other, f"{other} minus {one} (95 % range)")
    columns = (Column("", wide=True), *(Column(title, numeric=True) for title in numbers))
    return Table(f"{other} against {one}; “±” is one standard deviation", columns, rows)


def shown_difference(row: Any, unit: str, choice: UnitChoice) -> str:
    """A difference with its range in the reader's unit; a dash where it is missing."""
    if not math.isfinite(row["difference"]):
        return "–"
    middle, sd, low, high = (choice.scale(float(row[key]), unit) for key in ("difference", "sd", "low", "high"))
    assert middle is not None
    assert low is not None
    assert high is not None
    places = decimals(sd)
    text = f"{middle:+.{places}f} ({low:.{places}f} to {high:.{places}f})".replace("-", "−")
    return text if text[1:].partition(" ")[0].strip("0.") else text[1:]


def account_table(pair: Comparison, choice: UnitChoice) -> Table:
    """Steps of both accounts, from the potential of the grist to the fermenter."""
    one, other = (review.balance.waterfall for review in (pair.first, pair.second))
    steps = list(dict.fromkeys([*one.index, *other.index]))
    # steps keep the order of the day, also where only one brew has them
    order = {name: max(list(part.index).index(name) for part in (one, other) if name in part.index) for name in steps}
    rows: list[list[str | Cell]] = []
    for name in sorted(steps, key=lambda step: order[step]):
        cells = [str(name)]
        for part in (one, other):
            row: Any = part.loc[name] if name in part.index else None
            text = "–" if row is None else shown_number(row["estimate"], "kg", choice, row["sd"])
            share = "" if row is None or pd.isna(row.get("share")) else f" ({row['share']:.0f} %)".replace("-", "−")
            cells.append(text + share)
        rows.append(list(cells))
    labels = (pair.first.brew.label, pair.second.brew.label)
    columns = (
        Column("extract", wide=True),
        *(Column(f"{label} [{choice.sign('kg')}]", numeric=True) for label in labels),
    )
    return Table("Extract from potential to fermenter, in brackets of the potential", columns, rows)


def holds_table(pair: Comparison, choice: UnitChoice) -> Table:
    """Tightness of each rest in both brews, by the number of the rest."""
    held = [review.held.rests for review in (pair.first, pair.second)]
    rows: list[list[str | Cell]] = []
    for rest in sorted({int(str(number)) for frame in held for number in frame.index}):
        cells: list[str | Cell] = [str(rest)]
        for frame in held:
            row: Any = frame.loc[rest] if rest in frame.index else None
            if row is None:
                cells += ["–", "–", "–"]
                continue
            cells.append(shown_number(row["temp"], "degC", choice, None, 1))
            cells.append(shown_number(row["hold_rms"], "K", choice, row["hold_rms_sd"]))
            cells.append(shown_number(row["hold_bias"], "K", choice, None, 2))
        rows.append(cells)
    columns = [Column("rest")]
    for review in (pair.first, pair.second):
        label = review.brew.label
        columns += [
            Column(f"{label}: rest [{choice.sign('degC')}]", numeric=True),
            Column(f"{label}: tightness (rms) [{choice.sign('K')}]", numeric=True),
            Column(f"{label}: mean deviation [{choice.sign('K')}]", numeric=True),
        ]
    return Table("Rests by number; the bed against its rest, “±” is one standard deviation", tuple(columns), rows)


def pictures_of_accounts(pair: Comparison, choice: UnitChoice) -> list[Block]:
    """Both accounts as pictures with one scale."""
    both = (pair.first, pair.second)
    falls = [review.balance.waterfall for review in both]
    if not any(len(fall) for fall in falls):
        return []
    widest = max(
        float(choice.values((fall["estimate"] + 1.96 * fall["sd"]).max(), "kg")) for fall in falls if len(fall)
    )

    def draw(review: BrewReview) -> Draw:
        def onto(figure: Any) -> None:
            ax = figures.plot_waterfall(review.balance.waterfall, ax=figure.add_subplot(), units=choice.system)
            ax.set_xlim(0.0, 1.7 * widest)

        return onto

    return [
        beside(
            both,
            lambda one: [
                drawn(
                    draw(one),
                    f"Extract of brew {one.brew.label} from the potential of the grist to the fermenter, step by step.",
                    "Whiskers are 95 % ranges.",
                    PHONE_WIDE,
                    PHONE_WIDE,
                )
            ],
        )
    ]


def pictures_of_days(pair: Comparison, choice: UnitChoice) -> list[Block]:
    """Both mash days as pictures with the same axes."""
    both = (pair.first, pair.second)
    if all(review.brew.trace is None for review in both):
        return [Text("No trace was logged of either brew.")]
    ticks: set[float] = set()
    limits: list[tuple[tuple[float, float], tuple[float, float]]] = []

    def draw(review: BrewReview, final: bool) -> Draw:
        def onto(figure: Any) -> None:
            ax = figures.plot_mash_day(
                review.brew, mash=review.reconstructed, ax=figure.add_subplot(), units=choice.system
            )
            if not final:
                limits.append((ax.get_xlim(), ax.get_ylim()))
                ticks.update(float(tick) for tick in ax.get_yticks())
            elif review.brew.trace is not None:
                x, y = np.array([one[0] for one in limits]), np.array([one[1] for one in limits])
                ax.set_xlim(x[:, 0].min(), x[:, 1].max())
                ax.set_yticks(sorted(ticks))
                ax.set_ylim(y[:, 0].min(), y[:, 1].max())

        return onto

    from matplotlib.figure import Figure

    for review in both:  # the axes that both need are known only after both were drawn
        if review.brew.trace is not None:
            draw(review, final=False)(Figure(figsize=PHONE_TALL))
    return [
        beside(
            both,
            lambda one: [
                drawn(
                    draw(one, final=True),
                    f"Temperatures of brew {one.brew.label} against time: base, bed and rest temperatures with a band "
                    "of half a kelvin.",
                    choice.in_words("Base and bed against the planned rests; the band is 0.5 K either side."),
                    PHONE_TALL,
                    PHONE_TALL,
                )
            ],
        )
    ]
