"""Rows of tables to the records of rigs, brews and water tests."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from brewlog.logbook import layout, values
from brewlog.logbook.cell_units import number_and_unit
from brewlog.logbook.complaints import Complaints
from brewlog.logbook.readings import make_reading
from brewlog.logbook.records import Addition, Brew, Malt, Reading, Rest, Rig, WaterTest
from brewlog.logbook.rows import Row

BRIM = 1.1
"""A kettle holds no more than this of its nominal volume. [1]"""
IN_KETTLE = ("pre-boil", "post-boil")
"""Stages at which all wort stands in the kettle."""
FAR_TOO_THICK = 5.0
"""Where the kettle is not known, so many kilograms of a malt in a litre of water are in another unit. [kg/L]"""
_PAIR = re.compile(r"(\d{1,6})\s*(tight|loose)", re.IGNORECASE)


def make_rig(row: Row) -> Rig:
    """Record of a row of rigs.csv; an empty cell leaves the documented default."""
    kept = {name: value for name, value in row.values.items() if value is not None}
    return Rig(**kept, own=row.own)


def make_test(row: Row, rig: str | None, loads: Mapping[str, Any]) -> WaterTest:
    """Record of a row of water_tests.csv, with the fields that load its trace."""
    return WaterTest(**(row.values | {"rig": rig}), own=row.own, **loads)


def make_brew(
    row: Row,
    rig: str | None,
    kettle: float | None,
    per_brew: Mapping[str, dict[str, list[Row]]],
    loads: Mapping[str, Any],
    told: Complaints,
) -> Brew:
    """Record of a row of brews.csv with the rows of other tables that belong to it.

    Parameters
    ----------
    row : Row
    rig : str or None
        Label of its rig.
    kettle : float or None
        Volume of its kettle. [L]
    per_brew : mapping
        Rows of the other tables by file and brew.
    loads : mapping
        Fields of the record that load its trace.
    told : Complaints
    """
    label = row.values["brew"]
    water = row.values.get("mash_water")

    def rows(file: layout.FileLayout) -> list[Row]:
        return per_brew[file.name].get(label, [])

    _tell_beyond(row, kettle, told)
    made = [make_reading(r.values | {"brew": label}, r, told.say) for r in rows(layout.READINGS)]
    readings = tuple(reading for reading in made if reading is not None)
    _tell_overfull(readings, kettle, told)
    return Brew(
        label=label,
        **{name: value for name, value in row.values.items() if name not in ("brew", "rig", "pair")},
        rig=rig,
        pair=_pair(row, told),
        malts=tuple(_malt(_possible(r, label, water, kettle, told), label, told) for r in rows(layout.GRIST)),
        additions=tuple(_addition(r, label, told) for r in rows(layout.ADDITIONS)),
        rests=_rests(rows(layout.RESTS), label, told),
        readings=readings,
        own=row.own,
        **loads,
    )


def _tell_beyond(row: Row, kettle: float | None, told: Complaints) -> None:
    """Note more mash water than the kettle holds."""
    water = row.values.get("mash_water")
    if water is not None and kettle is not None and water > BRIM * kettle:
        found, wish = _as_written(row, "mash_water", "L"), f"at most the {kettle:g} L of the kettle"
        told.complain("brews.csv", row.line, "mash_water", found, wish, "kept as it is", "note")


def _tell_overfull(readings: Sequence[Reading], kettle: float | None, told: Complaints) -> None:
    """Note more wort in the kettle than it holds; a fermenter may be larger."""
    if kettle is None:
        return
    for reading in readings:
        if reading.quantity == "volume" and reading.stage in IN_KETTLE and reading.value > BRIM * kettle:
            found, wish = f"{reading.value:g} L {reading.stage}", f"at most the {kettle:g} L of the kettle"
            told.complain("readings.csv", reading.line, "value", found, wish, "kept as it is", "note")


def _as_written(row: Row, column: str, canonical: str) -> str:
    """A number as its cell has it with its unit, its value in the canonical unit beside it where that is another."""
    value, cell = row.values[column], row.cells.get(column, "").strip()
    pair = number_and_unit(cell, row.comma)
    written = cell if pair else f"{cell} {row.units.get(column, canonical)}"
    numbers = pair[0] if pair else values.parse_number(cell, row.comma)
    return written if value in numbers else f"{written} ({value:.4g} {canonical})"


def _possible(row: Row, label: str, water: float | None, kettle: float | None, told: Complaints) -> Row:
    """The row of a malt, without a mass that no kettle holds; one that the water could not wet is noted."""
    mass = row.values.get("mass")
    most = kettle if kettle is not None else None if water is None else FAR_TOO_THICK * water
    if mass is not None and most is not None and mass > most:
        wish = f"less than a kettle of {most:g} L holds"
        if row.units.get("mass", "kg") == "kg":
            wish += ", or the unit in the header: mass [g]"
        cost = f"left out, the grist of {label} is short of it"
        told.complain("grist.csv", row.line, "mass", _as_written(row, "mass", "kg"), wish, cost)
        return replace(row, values=row.values | {"mass": None})
    if mass is not None and water is not None and mass > water:
        found = f"{_as_written(row, 'mass', 'kg')} in {water:g} L of mash water"
        wish = "more litres than kilograms"
        told.complain("grist.csv", row.line, "mass", found, wish, "both are kept as they are", "note")
    return row


def _malt(row: Row, label: str, told: Complaints) -> Malt:
    """A malt; one without a name still counts."""
    name = row.values.get("malt")
    if name is None:
        told.complain("grist.csv", row.line, "malt", "an empty cell", "type of the malt", "read as 'malt'", "note")
    cell = row.cells.get("mass", "none of it")
    if row.values.get("mass") == 0 or (row.values.get("mass") is None and values.is_missing(cell)):
        wish, cost = "how much of it was mashed", f"the grist of {label} is short of it"
        told.complain("grist.csv", row.line, "mass", cell.strip() or "an empty cell", wish, cost, "note")
    return Malt(**(row.values | {"brew": label, "malt": name or "malt"}), own=row.own)


def _pair(row: Row, told: Complaints) -> str | None:
    """Number and word of a random pair."""
    text = row.values.get("pair")
    found = _PAIR.fullmatch(text) if text else None
    if text and found is None:
        wish = "the number of a pair and `tight` or `loose`, such as `3 tight`"
        told.complain("brews.csv", row.line, "pair", text, wish, "this cell is left out")
    return f"{found[1]} {found[2].casefold()}" if found else None


def _addition(row: Row, label: str, told: Complaints) -> Addition:
    """An addition; one of which nothing is known that could be counted is reported."""
    if row.values.get("mass") is None and row.values.get("volume") is None:
        wish, cost = "one of them", "it cannot be counted"
        told.complain("additions.csv", row.line, None, "neither mass nor volume", wish, cost)
    return Addition(**(row.values | {"brew": label}), own=row.own)


def _rests(rows: list[Row], label: str, told: Complaints) -> tuple[Rest, ...]:
    """Rests in the order of their numbers, each once."""
    found: dict[int, Rest] = {}
    for row in rows:
        number = row.values["rest"]
        if number in found:
            wish = "every rest of a brew once"
            told.complain("rests.csv", row.line, "rest", str(number), wish, "this row is left out")
            continue
        found[number] = Rest(**(row.values | {"brew": label}), own=row.own)
    return tuple(found[number] for number in sorted(found))
