"""One column of a table to values: numbers with their unit, words, dates; what does not fit is reported."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from unicodedata import normalize

from brewlog.logbook import values
from brewlog.logbook.cell_units import not_celsius, number_and_unit
from brewlog.logbook.column_scales import unit_in_cell, unit_of_column, wanted_unit
from brewlog.logbook.date_orders import ISO, notations
from brewlog.logbook.durations import duration
from brewlog.logbook.gravities import DEGP, SG, THREE_DECIMALS, Curve
from brewlog.logbook.headers import Header, shown
from brewlog.logbook.layout import Column
from brewlog.logbook.problems import Problem, Say
from brewlog.logbook.text import MAX_CELL
from brewlog.quantities import Scale, parse_unit

_UNCLEAR = "the column is left out until its unit is clear"
SMALLEST_PER_CENT = {"extract": 1.0, "moisture": 0.2, "fine_coarse": 0.2, "power": 1.0}
"""A per cent at or below this is a fraction of one (common practice, no source)."""


@dataclass
class ColumnReader:
    """Reads the cells of one column."""

    file: str
    say: Say
    header: Header
    column: Column
    line: int
    """Of the header."""
    comma: bool | None
    """Whether the file writes a decimal comma; None where it does not tell."""
    inside: Callable[[int, str], None] = lambda line, unit: None
    """Takes the unit that stands inside a cell whose unit another column names."""

    def read(self, cells: Sequence[str], lines: Sequence[int]) -> list[Any]:
        """Values of the cells; None where missing or left out."""
        column = self.column
        if column.kind == "date":
            return self._dates(cells, lines)
        if column.kind not in ("number", "whole"):
            return [self._word(cell, line) for cell, line in zip(cells, lines, strict=True)]
        if column.unit == "":  # in the unit that the row names
            return [self._bare(cell, line) for cell, line in zip(cells, lines, strict=True)]
        scale = self._scale()
        if scale is None or self._other_scale(cells, scale):
            return [None] * len(cells)
        self._tell_scant(cells)
        fractions = self._all_fractions(cells, scale)
        if fractions:
            scale = Scale("1", 100.0 if column.unit == "%" else 1.0, 0.0)
        return [self._number(scale, cell, line) for cell, line in zip(cells, lines, strict=True)]

    # -- numbers

    def _scale(self) -> Scale | Curve | None:
        """Scale of the column; what had to be assumed is noted."""
        unit = self.header.unit
        found = unit_of_column(self.column, unit)
        if found is None:
            self._problem(self.line, f"unit {unit}", wanted_unit(self.column), _UNCLEAR)
            return None
        if found.read_as:
            self._note(self.line, f"unit {unit}", found.wish, found.read_as)
        return found.scale

    def _numbers(self, cells: Iterable[str]) -> list[float]:
        return [found[0] for cell in cells if (found := self._parse(cell))]

    def _parse(self, cell: str) -> list[float]:
        return [] if len(cell) > 60 or values.is_missing(cell) else values.parse_number(cell, self.comma)

    def _other_scale(self, cells: Sequence[str], scale: Scale | Curve) -> bool:
        """True for temperatures that are plainly not in degC though nothing else is written."""
        if self.column.unit != "degC" or scale.unit != "degC":
            return False
        other = not_celsius(self._numbers(cells), self.column.hot, 0.25 if self.header.unit is None else 0.5)
        if other is None:
            return False
        middle = statistics.median(self._numbers(cells))
        said = "without a unit" if self.header.unit is None else f"in a column of {shown(self.header.unit)}"
        wish = f"degC, or the unit in the header: {self.column.name} [{other}]"
        self._problem(
            self.line,
            f"temperatures around {middle:.4g} {said}",
            wish,
            "the column is left out until its unit is clear",
        )
        return True

    def _tell_scant(self, cells: Sequence[str]) -> None:
        """Note a column whose numbers are so small that they may be in a larger unit, which nothing says."""
        numbers = [number for number in self._numbers(cells) if number > 0]
        if self.header.unit is None and numbers and max(numbers) <= self.column.scant:
            unit, larger = self.column.written or self.column.unit, self.column.larger
            wish = f"{unit}, or the unit in the header: {self.column.name} [{larger}]"
            self._note(self.line, f"values up to {max(numbers):.3g} without a unit", wish, f"read in {unit}")

    def _all_fractions(self, cells: Sequence[str], scale: Scale | Curve) -> bool:
        """True where a column of per cent holds nothing but fractions of one."""
        least = SMALLEST_PER_CENT.get(self.column.name)
        numbers = [number for number in self._numbers(cells) if number != 0]
        if least is None or scale.unit != "%" or not numbers or not all(0 < n <= least for n in numbers):
            return False
        wish = "per cent" if self.header.unit is None else f"per cent, as {self.header.written} says"
        self._note(self.line, f"values up to {max(numbers):.3g}", wish, "read as fractions of one")
        return True

    def _number(self, scale: Scale | Curve, cell: str, line: int) -> Any:
        if values.is_missing(cell):
            return None
        column, expected = self.column, self._expected(scale)
        found = self._parse(cell)
        repaired = None
        if not found and (pair := number_and_unit(cell, self.comma)):
            found, scale, repaired = self._own_unit(*pair, scale)
        if not found and column.unit in ("s", "min") and (seconds := duration(cell)) is not None:
            own = parse_unit("s", column.unit)
            found, scale, repaired = [seconds], own, f"read as {float(own(seconds)):.6g} {column.unit}"
        fits = list(dict.fromkeys(v for n in found if column.low <= (v := float(scale(n))) <= column.high))
        if scale is DEGP and 0.98 <= min(found, default=0.0) <= 1.2 and THREE_DECIMALS.match(cell):
            fits = []  # a gravity in SG under another unit
        elif not fits and scale is SG:
            fits = [n / 1000 for n in found if column.low <= n / 1000 <= column.high]
            repaired = f"read as {fits[0]:{'.3g' if column.name.endswith('_sd') else '.4f'}}" if fits else None
        elif not fits and scale.factor == 1.0 and column.written == "%":
            fits = [n / 100 for n in found if column.low <= n / 100 <= column.high]
            repaired = f"read as {100 * fits[0]:.6g} %" if fits else None
        elif len(found) == 1 and scale.unit == "%" and 0 < found[0] <= SMALLEST_PER_CENT.get(column.name, 0.0):
            whole = [v for n in found if column.low <= (v := float(scale(100 * n))) <= column.high]
            fits, repaired = whole or fits, f"read as {100 * found[0]:.6g} %" if whole else repaired
        elif len(fits) == 1 and repaired is None and (len(found) > 1 or ("," in cell and not self.comma)):
            repaired = f"read as {scale.back(fits[0]):.6g}"
        if len(fits) != 1:
            if scale is SG and not fits and found and 1.2 < found[0] <= 45.0 and not column.name.endswith("_sd"):
                expected += f", or the unit in the header: {column.name} [degP]"
            hint = f"; it could be {' or '.join(f'{scale.back(v):.6g}' for v in fits)}" if fits else ""
            self._problem(line, cell, expected + hint, self._cost())
            return None
        if column.kind == "whole":
            if fits[0] != int(fits[0]):
                self._problem(line, cell, expected, self._cost())
                return None
            return int(fits[0])
        if repaired:
            self._note(line, cell, expected, repaired)
        return fits[0]

    def _own_unit(
        self, numbers: list[float], unit: str, scale: Scale | Curve
    ) -> tuple[list[float], Scale | Curve, str | None]:
        """A cell such as `5.1 kg`, by the unit that it names."""
        found = unit_in_cell(self.column, unit, numbers[0])
        return ([], scale, None) if found is None else (numbers, *found)

    def _bare(self, cell: str, line: int) -> Any:
        """A number whose range depends on the rest of its row; several ways to read it stay open."""
        if values.is_missing(cell):
            return None
        numbers = self._parse(cell)
        if not numbers and self.column.name == "value" and (pair := number_and_unit(cell, self.comma)):
            numbers = pair[0]
            self.inside(line, pair[1])
        found = tuple(number for number in numbers if self.column.low <= number <= self.column.high)
        if not found and self.column.name != "value":
            self._problem(line, cell, "a number of at least 0", "this cell is left out")
        return found or (() if self.column.name == "value" else None)

    def _expected(self, scale: Scale | Curve) -> str:
        column = self.column
        low, high = (float(scale.back(edge)) for edge in (column.low, column.high))
        if column.kind == "whole":
            return f"a whole number from {low:.0f} to {high:.0f}"
        if column.written == "SG" and not column.name.endswith("_sd"):
            digits = 2 if scale is SG else 0
            return f"a gravity in {scale.unit} from {low:.{digits}f} to {high:.{digits}f}"
        unit = "" if scale.unit in ("1", "SG") else f" {scale.unit}"
        return f"a number from {low:.6g} to {high:.6g}{unit}"

    # -- words and dates

    def _word(self, cell: str, line: int) -> str | None:
        column = self.column
        if values.is_missing(cell) and column.kind != "label":
            return None
        text = normalize("NFC", cell[: MAX_CELL + 1].strip())  # one accent may be written in two ways
        if len(text) > MAX_CELL:
            self._problem(line, cell, f"at most {MAX_CELL} characters", self._cost())
            return None
        if not column.words:
            return text or None
        found = {values.plain(word): word for word in column.words}.get(values.plain(text))
        if found is None and (meant := {values.plain(word): word for word, _ in column.also}.get(values.plain(text))):
            found = dict(column.also)[meant]
            self._note(line, cell, f"one of {', '.join(column.words)}", f"read as {found}")
        if found is None:
            near = values.nearest(text, column.words)
            wish = f"one of {', '.join(column.words)}" + (f" (perhaps {near!r})" if near else "")
            self._problem(line, cell, wish, self._cost())
        return found

    def _dates(self, cells: Sequence[str], lines: Sequence[int]) -> list[Any]:
        told = [
            (cell, line)
            for cell, line in zip(cells, lines, strict=True)
            if not (values.is_missing(cell) or values.parse_iso_date(cell) or values.serial_date(cell))
        ]
        known = notations([cell for cell, _ in told], [line for _, line in told])
        for one in known:
            like = next((cell for cell, _ in told if one.date(cell)), None)
            if like is not None:
                self._note(self.line, f"dates like {shown(like)}", "ISO 8601 (2024-05-31)", f"read as {one.order}")
        found: list[Any] = []
        for cell, line in zip(cells, lines, strict=True):
            if values.is_missing(cell):
                found.append(None)
                continue
            day = values.parse_iso_date(cell) or next((day for one in known if (day := one.date(cell))), None)
            if day is None and (day := values.serial_date(cell)) is not None:
                self._note(line, cell, "an ISO 8601 date", f"read as a spreadsheet's serial date, {day}")
            if day is None or not values.EARLIEST <= day <= values.LATEST:
                wish = next((wish for one in known if (wish := one.expected(cell))), ISO)
                if day is not None:
                    wish = f"a date from {values.EARLIEST:%Y} to {values.LATEST:%Y}"
                self._problem(line, cell, wish, "this date is left out")
                day = None
            elif day > date.today() + timedelta(days=1):
                self._note(line, cell, "a date that is not in the future", f"read as {day}")
            found.append(day)
        return found

    def _cost(self) -> str:
        return "this row is left out" if self.column.needed else "this cell is left out"

    def _problem(self, line: int, found: str, expected: str, cost: str) -> None:
        self.say(Problem(self.file, line, self.header.written, shown(found), expected, cost))

    def _note(self, line: int, found: str, expected: str, cost: str) -> None:
        self.say(Problem(self.file, line, self.header.written, shown(found), expected, cost, "note"))
