"""One row of readings.csv to a record: what the value can be depends on quantity and unit."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from typing import Any

from brewlog.logbook.gravities import THREE_DECIMALS
from brewlog.logbook.headers import shown
from brewlog.logbook.layout import GRAVITY_UNITS, GRAVITY_WORDS, OTHER_READINGS
from brewlog.logbook.problems import Problem, Say
from brewlog.logbook.records import Reading
from brewlog.logbook.rows import Row
from brewlog.logbook.values import plain
from brewlog.quantities import Scale, parse_unit, two_sizes

_GRAVITIES = "SG, degP, Brix or kg/m^3"


def tell_sizes(rows: Sequence[Row], say: Say) -> None:
    """Note the first row of each unit that has two sizes, such as the gallon."""
    seen = set()
    for row in rows:
        unit = row.inside or row.values.get("unit") or ""
        sizes = two_sizes(unit)
        if sizes and sizes not in seen:
            seen.add(sizes)
            cost = f"read as {sizes[0]}, and so on in this column"
            say(Problem("readings.csv", row.line, "unit", shown(unit), sizes[1], cost, "note"))


def tell_unitless(rows: Sequence[Row], say: Say) -> None:
    """Note once the readings whose unit is nowhere written, with the units that they were taken to be in.

    Parameters
    ----------
    rows : sequence of Row
        Rows of readings.csv that were kept as readings.
    say : callable
        Takes each `Problem`.
    """
    lacking = [row for row in rows if row.values["quantity"] != "pH" and row.inside is None and not _unit(row)]
    if not lacking:
        return
    usual = {"gravity": "SG"} | {quantity: unit for quantity, (unit, _, _) in OTHER_READINGS.items()}
    taken = Counter(usual[row.values["quantity"]] for row in lacking)
    first = lacking[0]
    found, cost = (
        f"no unit in {len(lacking)} rows",
        "read as " + ", ".join(f"{unit} in {count} {'rows' if count > 1 else 'row'}" for unit, count in taken.items()),
    )
    if len(lacking) == 1:
        found, cost = shown(first.cells.get("unit", "")) or "an empty cell", f"read as {next(iter(taken))}"
    wish = f"the unit of each reading (a gravity in {_GRAVITIES})"
    say(Problem("readings.csv", first.line, "unit", found, wish, cost, "note"))


def _unit(row: Row) -> str:
    """Unit of a reading as written: in its row, else behind the name of the values where it is one of the quantity."""
    written = (row.values.get("unit") or "").strip()
    above = row.units.get("value", "")
    if written or not above:
        return written
    quantity = row.values["quantity"]
    if quantity == "gravity":
        return above if plain(above) in GRAVITY_WORDS or _is_density(above) else ""
    try:
        parse_unit(above, OTHER_READINGS[quantity][0])
    except ValueError:
        return ""
    return above


def make_reading(cells: dict[str, Any], row: Row, say: Callable[[Problem], None]) -> Reading | None:
    """Record of a row of readings.csv; None where it cannot be read.

    Parameters
    ----------
    cells : dict
        Values of the row; `value` and `sd` hold every way to read them.
    row : Row
    say : callable
        Takes each `Problem`.

    Returns
    -------
    Reading or None
    """
    quantity = cells["quantity"]
    cell = row.cells.get("value", "")
    written = _unit(row)
    if row.inside is not None and not _same_unit(row.inside, written, quantity):
        cells = cells | {"value": ()}  # no number with its unit, but something else

    def problem(column: str, found: str, expected: str, cost: str, severity: Any = "problem") -> None:
        say(Problem("readings.csv", row.line, column, shown(found), expected, cost, severity))

    if quantity == "gravity":
        unit = GRAVITY_WORDS.get(plain(written))
        if unit is None and not _is_density(written):
            problem("unit", written, _GRAVITIES, "this reading is left out")
            return None
        scale = Scale("1", 1.0, 0.0) if unit else parse_unit(written, "kg/m^3")
        unit = unit or "kg/m^3"
        low, high = GRAVITY_UNITS[unit]
        wish = f"a gravity in {unit} from {low:g} to {high:g}" if unit != "SG" else "a gravity in SG from 0.98 to 1.20"
    else:
        unit, low, high = OTHER_READINGS[quantity]
        try:
            scale = Scale("1", 1.0, 0.0) if quantity == "pH" else parse_unit(written or unit, unit)
        except ValueError:
            problem("unit", written, f"a unit that converts to {unit}", "this reading is left out")
            return None
        wish = f"a {quantity} from {low:g} to {high:g}" + ("" if unit == "1" else f" {unit}")
    numbers = cells["value"]
    if row.inside is not None and numbers:
        problem("value", cell, "the number alone, its unit in column unit", f"read as {numbers[0]:.6g} {unit}", "note")
    fits = [value for number in numbers if low <= (value := float(scale(number))) <= high]
    if unit in ("degP", "Brix") and len(fits) == 1 and 0.98 <= fits[0] <= 1.2 and THREE_DECIMALS.match(cell):
        problem("value", cell, f"{wish}; a gravity in SG has the unit SG", "this reading is left out")
        return None
    if unit == "SG" and not fits and (fits := [n / 1000 for n in numbers if low <= n / 1000 <= high]):
        problem("value", cell, wish, f"read as {fits[0]:.4f}", "note")
    elif unit == "SG" and not fits and numbers and 1.2 < numbers[0] <= 45 and not THREE_DECIMALS.match(cell):
        problem("value", cell, f"{wish}, or the unit of the reading (degP or Brix)", "this reading is left out")
        return None
    elif len(fits) == 1 and row.inside is None and (len(numbers) > 1 or ("," in cell and not row.comma)):
        problem("value", cell, wish, f"read as {scale.back(fits[0]):.6g}", "note")
    if len(fits) != 1:
        problem("value", cell, wish, "this reading is left out")
        return None
    sd = _sd(cells, row.cells.get("sd", ""), unit, quantity, scale, problem)
    return Reading(
        brew=cells["brew"], stage=cells["stage"], quantity=quantity, value=fits[0], unit=unit, temp=cells.get("temp"),
        instrument=cells.get("instrument"), sd=sd, time=cells.get("time"), line=row.line,
        own=row.own,
    )  # fmt: skip


def _same_unit(inside: str, written: str, quantity: str) -> bool:
    """True where the unit inside a value's cell is that of the row, or the usual one where the row has none."""
    if quantity == "gravity":
        unit = GRAVITY_WORDS.get(plain(inside))
        return unit is not None and unit == GRAVITY_WORDS.get(plain(written))
    if plain(inside) == plain(written):
        return True
    usual = OTHER_READINGS[quantity][0]
    try:
        return parse_unit(inside, usual) == parse_unit(written or usual, usual)
    except ValueError:
        return False


def _is_density(written: str) -> bool:
    try:
        parse_unit(written, "kg/m^3")
    except ValueError:
        return False
    return True


def _sd(cells: dict[str, Any], cell: str, unit: str, quantity: str, scale: Scale, problem: Callable[..., None]) -> Any:
    """Standard deviation in the reading's unit; None where none is stated or none can be."""
    numbers = cells.get("sd")
    if not numbers:
        return None
    highest = _LARGEST_SD[unit if quantity == "gravity" else quantity]
    sd = float(numbers[0]) * scale.factor
    wish = f"a standard deviation above 0, up to {highest:g}" + ("" if unit == "1" else f" {unit}")
    if sd > highest and unit == "SG" and sd / 1000 <= highest:  # `1` beside a gravity of 1044 means 0.001
        problem("sd", cell, wish, f"read as {sd / 1000:.4g}", "note")
        return sd / 1000
    if sd > highest or sd == 0:
        problem("sd", cell, wish, "this cell is left out")
        return None
    if len(numbers) > 1:
        problem("sd", cell, wish, f"read as {numbers[0]:.6g}", "note")
    return sd


_LARGEST_SD = {
    "SG": 0.05, "degP": 10.0, "Brix": 10.0, "kg/m^3": 50.0,
    "volume": 100.0, "mass": 100.0, "temperature": 20.0, "pH": 2.0,
}  # fmt: skip
"""Larger standard deviations say nothing, or were meant in another unit (common practice, no source)."""
