"""What a brew was meant to reach before the boil, and what it reached, side by side."""

from __future__ import annotations

from typing import Any

from brewlog.figures.units import UnitChoice
from brewlog.logbook.records import Brew
from brewlog.report.blocks import Cell, Column, Table
from brewlog.report.words import number, value_of
from brewlog.wort import ExtractBalance, extract_from_sg, extract_mass


def planned_extract(brew: Brew) -> float | None:
    """Extract that planned volume and gravity hold. [kg]"""
    if brew.planned_gravity is None or brew.planned_volume is None:
        return None
    return float(extract_mass(brew.planned_volume, extract_from_sg(brew.planned_gravity)))


def planned_and_reached(brew: Brew, balance: ExtractBalance) -> list[tuple[str, str, float | None, Any]]:
    """Name, unit, planned value and reached value of gravity, volume and extract before the boil."""
    return [
        ("gravity", "SG", brew.planned_gravity, balance.gravity.get("pre-boil")),
        ("volume at 20 °C", "L", brew.planned_volume, balance.volume.get("pre-boil")),
        ("extract", "kg", planned_extract(brew), balance.extract_mass.get("pre-boil")),
    ]


def shown(value: Any, unit: str, choice: UnitChoice, digits: int | None = None) -> str:
    """A number or an `uncertainties` value in the reader's unit, a dash where it is missing."""
    middle, sd = value_of(value)
    if middle is None:
        return "–"
    return number(choice.convert(middle, unit), choice.scale(sd, unit), choice.shown(unit), digits)


def planned_table(brew: Brew, balance: ExtractBalance, choice: UnitChoice) -> Table:
    """Planned against reached before the boil; the plan is taken as exact, the range is that of the readings."""
    rows: list[list[str | Cell]] = []
    for name, unit, plan, reached in planned_and_reached(brew, balance):
        off = "–"
        if plan is not None and reached is not None:
            middle, sd = value_of(reached - plan)
            assert middle is not None
            off = number(choice.convert(middle, unit), choice.scale(sd, unit), choice.shown(unit))
            off = off if off.startswith("−") or not off.partition(" ")[0].strip("0.") else f"+{off}"
        digits = 4 if unit == "SG" else 2 if unit == "kg" else 1
        rows.append([choice.in_words(name), shown(plan, unit, choice, digits), shown(reached, unit, choice), off])
    columns = (
        Column("before the boil"),
        Column("planned", numeric=True),
        Column("reached", numeric=True),
        Column("difference", numeric=True),
    )
    return Table("Planned against reached; “±” is one standard deviation", columns, rows)
