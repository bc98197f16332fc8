"""Two brews side by side: planned and reached first, then account, rests, mash days and differences."""

from __future__ import annotations

from typing import Any

import numpy as np

from brewlog import figures
from brewlog.figures.units import UnitChoice
from brewlog.report import cautions
from brewlog.report.blocks import Answer, Block, Caution, Columns, Heading, Subheading, Text
from brewlog.report.brew_page import day_facts
from brewlog.report.compare_tables import account_table, difference_table, holds_table
from brewlog.report.comparison import INDEPENDENT, Comparison
from brewlog.report.context import Context
from brewlog.report.drawing import PHONE_TALL, PHONE_WIDE, Draw, drawn
from brewlog.report.planned import planned_table
from brewlog.report.render import Page
from brewlog.report.review import BrewReview


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
