"""Tables of two brews side by side: what differs, both extract accounts, how each rest was held."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from brewlog.figures.decimals import decimals
from brewlog.figures.units import UnitChoice
from brewlog.report.blocks import Cell, Column, Table
from brewlog.report.comparison import Comparison
from brewlog.report.tables import shown_number, title_with_unit
from brewlog.report.words import value_of

TITLES = {
    "pre_boil_gravity": "gravity before the boil",
    "pre_boil_volume": "volume before the boil, at 20 °C",
    "conversion": "conversion efficiency",
    "lauter": "lauter efficiency",
    "mash": "mash efficiency",
    "brewhouse": "brewhouse efficiency",
    "hold_rms": "tightness (rms)",
}


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
    places = decimals(sd, middle)
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
            cells.append(shown_number(row["hold_bias"], "K", choice, row["hold_rms_sd"]))
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
