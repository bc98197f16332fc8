"""Tables of results as tables of a page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from brewlog.figures.units import UnitChoice, unit_sign
from brewlog.report.blocks import Cell, Column, Table
from brewlog.report.words import interval, number


def title_with_unit(title: str, unit: str) -> str:
    """Column title with its unit in brackets, none for words and plain numbers.

    Examples
    --------
    >>> title_with_unit("bias", "K"), title_with_unit("verdict", "")
    ('bias [K]', 'verdict')
    """
    sign = unit_sign(unit)
    return f"{title} [{sign}]" if sign else title


def shown_number(value: Any, unit: str, choice: UnitChoice, sd: Any = None, digits: int | None = None) -> str:
    """A number in the reader's unit with its sd where there is one, a dash where it is missing."""
    if value is None or pd.isna(value):
        return "–"
    spread = None if sd is None or pd.isna(sd) else choice.scale(float(sd), unit)
    return number(choice.convert(float(value), unit), spread, "1", digits)


def shown_constant(constants: pd.DataFrame, name: str, choice: UnitChoice) -> str:
    """A constant of a rig with its interval in the reader's unit, a dash where it is missing."""
    if name not in constants.index:
        return "–"
    row: Any = constants.loc[name]
    if pd.isna(row["estimate"]):
        return "–"
    unit = str(row["unit"])
    estimate, low, high = (
        choice.convert(None if pd.isna(row[key]) else float(row[key]), unit) for key in ("estimate", "low", "high")
    )
    return interval(estimate, low, high, choice.shown(unit))


def shown_spread(values: pd.Series, unit: str, choice: UnitChoice, digits: int) -> str:
    """Median, smallest and largest in the reader's unit, a dash where there is none.

    Examples
    --------
    >>> kelvin, choice = pd.Series([1.0, 2.0, 4.0]), UnitChoice()
    >>> shown_spread(kelvin, "K", choice, 1), shown_spread(kelvin[:1], "K", choice, 1)
    ('2.0 (1.0 to 4.0)', '1.0')
    """
    known = values.dropna()
    if known.empty:
        return "–"
    middle, low, high = (
        number(choice.convert(float(one), unit), digits=digits) for one in (known.median(), known.min(), known.max())
    )
    return middle if low == high else f"{middle} ({low} to {high})"


def constants_table(constants: pd.DataFrame, choice: UnitChoice, caption: str) -> Table:
    """A rig's constants with intervals and verdicts."""
    rows: list[list[str | Cell]] = [
        [
            str(name).replace("_", " "),
            shown_constant(constants, str(name), choice),
            f"{row['brews']:.0f}" if pd.notna(row["brews"]) else "–",
            choice.in_words(str(row["verdict"])),
            choice.in_words(str(row["rests_on"])) if pd.notna(row["rests_on"]) else "",
        ]
        for name, row in constants.iterrows()
    ]
    columns = (
        Column("constant"),
        Column("estimate (95 % interval)", tight=True),
        Column("brews", numeric=True),
        Column("verdict", wide=True),
        Column("rests on", wide=True),
    )
    return Table(caption, columns, rows)


def rests_table(rests: pd.DataFrame, units: Mapping[str, str], choice: UnitChoice) -> Table:
    """How each rest of a brew was held."""
    wanted = (
        ("purpose", "purpose", None),
        ("temp", "rest temperature", 1),
        ("hold_rms", "tightness (rms)", 2),
        ("hold_bias", "mean deviation", 2),
        ("hold_sd", "sd", 2),
        ("within_half", "within 0.5 K", None),
        ("within_one", "within 1 K", None),
        ("overshoot", "overshoot", 2),
        ("lateness", "lateness", 1),
        ("ramp_rate", "ramp rate", 2),
        ("lead", "base lead", 1),
        ("seen", "seen", None),
    )
    present = [(name, title, digits) for name, title, digits in wanted if name in rests.columns]
    columns = [Column("rest", numeric=True)]
    for name, title, _ in present:
        unit = choice.shown(units.get(name, ""))
        shares = name in ("within_half", "within_one", "seen")
        title = choice.in_words(title)
        columns.append(Column(f"{title} [%]" if shares else title_with_unit(title, unit), numeric=name != "purpose"))
    rows: list[list[str | Cell]] = []
    for rest, row in rests.iterrows():
        cells: list[str | Cell] = [str(rest)]
        for name, _, digits in present:
            if name == "purpose":
                cells.append("" if pd.isna(row[name]) else str(row[name]))
            elif name in ("within_half", "within_one", "seen"):
                cells.append("–" if pd.isna(row[name]) else f"{100 * row[name]:.0f}")
            else:
                sd = row.get("hold_rms_sd") if name in ("hold_rms", "hold_bias") else None
                exact = digits if sd is None or pd.isna(sd) else None  # else as many as its error allows
                cells.append(shown_number(row[name], units.get(name, "1"), choice, sd, exact))
        rows.append(cells)
    return Table("How each rest was held, by the bed temperature", tuple(columns), rows)


def plain_table(frame: pd.DataFrame, caption: str, titles: Sequence[tuple[str, str]], first: str = "") -> Table:
    """A small frame as it is; numbers with three figures."""
    columns = [Column(first)] if first else []
    columns += [Column(title, numeric=pd.api.types.is_numeric_dtype(frame[name])) for name, title in titles]
    rows: list[list[str | Cell]] = []
    for label, row in frame.iterrows():
        cells: list[str | Cell] = [str(label)] if first else []
        for name, _ in titles:
            value = row[name]
            if isinstance(value, float):
                cells.append("–" if pd.isna(value) else f"{value:.3g}".replace("-", "−"))
            else:
                cells.append("" if value is None else str(value))
        rows.append(cells)
    return Table(caption, tuple(columns), rows)
