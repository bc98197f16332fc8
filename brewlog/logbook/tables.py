"""One CSV file of the logbook to rows of values, with everything that could not be read in its place."""

from __future__ import annotations

import re
import statistics
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from brewlog.logbook import values
from brewlog.logbook.layout import Column, FileLayout
from brewlog.logbook.problems import Problem
from brewlog.logbook.text import MAX_CELL, MAX_COLUMNS, SEPARATORS, Decoded, Unreadable, find_separator, rows_of
from brewlog.quantities import Scale, parse_unit

Say = Callable[[Problem], None]
_HEADER = re.compile(r"\s*([^\[\]()]*?)\s*[\[(]([^\[\]()]*)[\])]\s*")
SHOWN = 60
"""Longest piece of a file that a message repeats. [characters]"""


def shown(cell: str) -> str:
    """A cell as a message repeats it: on one line, long ones cut."""
    text = " ".join(cell.split())
    return text if len(text) <= SHOWN else f"{text[: SHOWN - 1]}…"


@dataclass(frozen=True, slots=True)
class Header:
    """A column of a file as it was written."""

    place: int
    written: str
    name: str
    """Without unit."""
    unit: str | None
    """None where no unit is written."""


@dataclass(slots=True)
class Row:
    """One row: its line, its values by field, its texts by column of the brewer's own."""

    line: int
    values: dict[str, Any] = field(default_factory=dict)
    own: dict[str, str] = field(default_factory=dict)
    cells: dict[str, str] = field(default_factory=dict)
    """Cells as written, by column."""


def split_header(cell: str) -> tuple[str, str | None]:
    """Name and unit of a header cell.

    Examples
    --------
    >>> split_header("mass [kg]"), split_header("temp (degF)"), split_header("date")
    (('mass', 'kg'), ('temp', 'degF'), ('date', None))
    """
    found = _HEADER.fullmatch(cell[:200])
    return (found[1], found[2].strip()) if found and found[1] else (cell.strip(), None)


def read_headers(cells: list[str], line: int, file: str, say: Say) -> list[Header]:
    """Headers of a file; empty and repeated ones are reported and left out."""
    headers: list[Header] = []
    seen: dict[str, str] = {}
    if len(cells) > MAX_COLUMNS:
        say(
            Problem(
                file, line, None, f"{len(cells)} columns", f"at most {MAX_COLUMNS}", "the columns beyond are left out"
            )
        )
    for place, cell in enumerate(cells[:MAX_COLUMNS]):
        name, unit = split_header(cell)
        key = values.plain(name)
        if not key:
            headers.append(Header(place, "", "", None))
            continue
        if key in seen:
            say(
                Problem(
                    file,
                    line,
                    shown(cell.strip()),
                    shown(cell.strip()),
                    "every column once",
                    "this second column is left out",
                )
            )
            continue
        seen[key] = cell
        headers.append(Header(place, shown(cell.strip()), name, unit))
    return headers


def decimal_comma(texts: Iterable[str], separator: str) -> bool | None:
    """Whether a file writes a decimal comma: True, False (point), or None where no cell tells."""
    comma = point = False
    for text in texts:
        if len(text) > 40:
            continue
        point = point or re.fullmatch(r"\s*[+-]?\d*\.\d+\s*", text) is not None
        comma = comma or re.fullmatch(r"\s*[+-]?\d*,(\d{1,2}|\d{4,})\s*", text) is not None
    if comma == point:
        return None if comma or separator == "," else True if separator == ";" and not point else None
    return comma


@dataclass
class TableReader:
    """Reads one file by its layout."""

    layout: FileLayout
    file: str
    say: Say

    def read(self, decoded: Decoded) -> list[Row]:
        """Rows with their values; what could not be read is reported and missing."""
        separator = find_separator(decoded.text)
        if decoded.guessed:
            self._note(None, None, f"text in {decoded.encoding}", "UTF-8", "it was read as such")
        rows = rows_of(decoded.text, separator)
        first = next(rows, None)
        if first is None:
            self._problem(None, None, "an empty file", "a row of column names", "nothing of it could be read")
            return []
        headers = read_headers(first[1], first[0], self.file, self.say)
        columns = self._match(headers, first[0])
        body = [(line, self._fit(cells, len(first[1]), line)) for line, cells in rows]
        for header in headers:
            if not header.name and any(header.place < len(c) and c[header.place].strip() for _, c in body):
                self._problem(
                    first[0],
                    None,
                    f"no name over column {header.place + 1}",
                    "a column name",
                    "that column is left out",
                )
        numbers = [
            c[h.place] for _, c in body for h, col in columns if col and col.kind == "number" and h.place < len(c)
        ]
        comma = decimal_comma(numbers, separator)
        if separator != "," or comma:
            found = f"{SEPARATORS[separator]} between columns" + (", decimal comma" if comma else "")
            self._note(None, None, found, "comma and decimal point", "it was read as such")
        result = [Row(line) for line, _ in body]
        for header, column in columns:
            cells = [c[header.place] if header.place < len(c) else "" for _, c in body]
            for row, cell in zip(result, cells, strict=True):
                row.cells[column.name if column else header.name] = cell
            if column is None:
                for row, cell in zip(result, cells, strict=True):
                    if not values.is_missing(cell):
                        row.own[header.name] = cell.strip()
                continue
            for row, value in zip(result, self._column(header, column, cells, result, comma), strict=True):
                row.values[column.target] = value
        return self._with_keys(result)

    def _match(self, headers: list[Header], line: int) -> list[tuple[Header, Column | None]]:
        by_name = {values.plain(column.name): column for column in self.layout.columns}
        matched: list[tuple[Header, Column | None]] = []
        for header in headers:
            column = by_name.get(values.plain(header.name)) if header.name else None
            if header.name and column is None:
                near = values.nearest(header.name, [c.name for c in self.layout.columns])
                if not self.layout.own:
                    hint = f" (perhaps {near!r})" if near else ""
                    self._note(
                        line,
                        header.written,
                        header.written,
                        f"a column of {self.layout.name}{hint}",
                        "kept as a note of your own",
                    )
                elif near and near not in {c.name for h in headers if (c := by_name.get(values.plain(h.name)))}:
                    self._note(
                        line,
                        header.written,
                        header.written,
                        f"a known column (perhaps {near!r})",
                        "kept as a column of your own",
                    )
            if header.name:
                matched.append((header, column))
        present = {column.name for _, column in matched if column}
        for column in self.layout.columns:
            if column.needed and column.name not in present:
                self._problem(
                    line, column.name, "no such column", f"a column {column.name!r}", "no row of the file can be read"
                )
        return matched

    def _fit(self, cells: list[str], width: int, line: int) -> list[str]:
        if len(cells) > width and any(cell.strip() for cell in cells[width:]):
            extra = len(cells) - width
            self._problem(
                line, None, f"{len(cells)} cells", f"{width}, as in the first row", f"the last {extra} are left out"
            )
        elif len(cells) < width:
            self._note(
                line, None, f"{len(cells)} cells", f"{width}, as in the first row", "the others count as not recorded"
            )
        return cells[:width]

    def _with_keys(self, rows: list[Row]) -> list[Row]:
        needed = [column for column in self.layout.columns if column.needed]
        kept = []
        for row in rows:
            if not any(cell.strip() for cell in row.cells.values()):
                continue
            lacking = [c for c in needed if row.values.get(c.target) is None]
            for column in lacking:
                if values.is_missing(row.cells.get(column.name, "")) and column.name in row.cells:
                    self._problem(row.line, column.name, "an empty cell", column.meaning, "this row is left out")
            if not lacking:
                kept.append(row)
        return kept

    def _column(
        self, header: Header, column: Column, cells: list[str], rows: list[Row], comma: bool | None
    ) -> list[Any]:
        if column.kind == "date":
            return self._dates(header, cells, rows)
        if column.kind != "number" and column.kind != "whole":
            return [self._word(header, column, cell, row.line) for cell, row in zip(cells, rows, strict=True)]
        if column.unit == "":  # in the unit that the row names
            return [self._bare(header, column, cell, row.line, comma) for cell, row in zip(cells, rows, strict=True)]
        try:
            scale = (
                parse_unit(header.unit or column.written or column.unit, column.unit)
                if column.written != "SG" or (header.unit not in (None, "SG", "sg"))
                else Scale("1", 1.0, 0.0)
            )
        except ValueError:
            wish = "a number without unit" if column.unit == "1" else column.written or column.unit
            self._problem(
                1,
                header.written,
                f"unit {shown(header.unit or '')}",
                f"a unit that converts to {wish}",
                "the column is left out",
            )
            return [None] * len(cells)
        scale = self._fraction(header, column, scale, cells, comma)
        if header.unit is None and self._too_hot(header, column, cells, comma):
            return [None] * len(cells)
        return [
            self._number(header, column, scale, cell, row.line, comma) for cell, row in zip(cells, rows, strict=True)
        ]

    def _plain_numbers(self, cells: list[str], comma: bool | None) -> list[float]:
        return [
            found[0] for cell in cells if not values.is_missing(cell) and (found := values.parse_number(cell, comma))
        ]

    def _too_hot(self, header: Header, column: Column, cells: list[str], comma: bool | None) -> bool:
        numbers = self._plain_numbers(cells, comma)
        if column.unit != "degC" or not numbers or statistics.median(numbers) <= column.hot:
            return False
        self._problem(
            1,
            header.written,
            f"temperatures around {statistics.median(numbers):.4g} without a unit",
            f"degC, or the unit in the header: {column.name} [degF]",
            "the column is left out until its unit is written",
        )
        return True

    def _fraction(self, header: Header, column: Column, scale: Scale, cells: list[str], comma: bool | None) -> Scale:
        """Percent columns that hold fractions, and the other way round, are read as what they must be."""
        numbers = self._plain_numbers(cells, comma)
        percent = header.unit in (None, "%", "percent", "pct") and (column.written == "%" or column.unit == "%")
        if percent and numbers and max(numbers) <= 1.0 and max(numbers) > 0:
            self._note(1, header.written, f"values up to {max(numbers):.3g}", "per cent", "read as fractions of one")
            return Scale("1", 1.0 if column.unit == "1" else 100.0, 0.0)
        return scale

    def _number(self, header: Header, column: Column, scale: Scale, cell: str, line: int, comma: bool | None) -> Any:
        if values.is_missing(cell):
            return None
        expected = self._expected(column, scale)
        found = values.parse_number(cell, comma) if len(cell) <= MAX_CELL else []
        readings = [value for number in found if column.low <= (value := float(scale(number))) <= column.high]
        if column.unit == "1" and column.written == "SG" and not readings:
            readings = [n / 1000 for n in found if column.low <= n / 1000 <= column.high]
            if readings:
                self._note(line, header.written, cell, expected, f"read as {readings[0]:.4g}")
        elif len(readings) == 1 and len(found) > 1:
            self._note(line, header.written, cell, expected, f"read as {scale.back(readings[0]):.6g}")
        if len(readings) != 1:
            what = "this cell is left out" if not column.needed else "this row is left out"
            self._problem(line, header.written, cell, expected, what)
            return None
        if column.kind == "whole" and readings[0] != int(readings[0]):
            self._problem(line, header.written, cell, "a whole number", "this row is left out")
            return None
        return int(readings[0]) if column.kind == "whole" else readings[0]

    def _bare(self, header: Header, column: Column, cell: str, line: int, comma: bool | None) -> Any:
        """A number whose range depends on the rest of its row; several ways to read it stay open."""
        if values.is_missing(cell):
            return None
        found = (
            tuple(n for n in values.parse_number(cell, comma) if column.low <= n <= column.high)
            if len(cell) <= MAX_CELL
            else ()
        )
        if not found and column.name != "value":
            self._problem(line, header.written, cell, "a number of at least 0", "this cell is left out")
        return found or (() if column.name == "value" else None)

    def _expected(self, column: Column, scale: Scale) -> str:
        unit = "SG" if column.written == "SG" else "" if scale.unit == "1" else f" {scale.unit}"
        low, high = (float(scale.back(edge)) for edge in (column.low, column.high))
        if column.kind == "whole":
            return f"a whole number from {low:.0f} to {high:.0f}"
        if column.written == "SG" and column.name != "gravity_sd":
            return f"a gravity in SG from {low:.2f} to {high:.2f}"
        return f"a number from {low:.6g} to {high:.6g}{unit.replace('SG', ' SG')}"

    def _word(self, header: Header, column: Column, cell: str, line: int) -> str | None:
        if values.is_missing(cell) and column.kind != "label":
            return None
        text = cell.strip()
        if len(text) > MAX_CELL:
            self._problem(line, header.written, cell, f"at most {MAX_CELL} characters", "this cell is left out")
            return None
        if not column.words:
            return text or None
        by_name = {values.plain(word): word for word in column.words}
        found = by_name.get(values.plain(text))
        if found is None:
            near = values.nearest(text, column.words)
            wish = f"one of {', '.join(column.words)}" + (f" (perhaps {near!r})" if near else "")
            cost = "this row is left out" if column.needed else "this cell is left out"
            self._problem(line, header.written, cell, wish, cost)
        return found

    def _dates(self, header: Header, cells: list[str], rows: list[Row]) -> list[Any]:
        others = [cell for cell in cells if not values.is_missing(cell) and values.parse_iso_date(cell) is None]
        others = [cell for cell in others if values.serial_date(cell) is None]
        fits = values.date_formats(others)
        if len(fits) > 1 and all(
            {values.parse_date(c, f) for f in fits.values()} == {values.parse_date(c, next(iter(fits.values())))}
            for c in others
        ):
            fits = dict([next(iter(fits.items()))])
        if len(fits) == 1:
            self._note(
                1,
                header.written,
                f"dates like {shown(others[0])}",
                "ISO 8601 (2024-05-31)",
                f"read as {next(iter(fits))}",
            )
        found: list[Any] = []
        for cell, row in zip(cells, rows, strict=True):
            if values.is_missing(cell):
                found.append(None)
                continue
            day = values.parse_iso_date(cell) or (
                values.parse_date(cell, next(iter(fits.values()))) if len(fits) == 1 else None
            )
            if day is None and (day := values.serial_date(cell)) is not None:
                self._note(
                    row.line, header.written, cell, "an ISO 8601 date", f"read as a spreadsheet's serial date, {day}"
                )
            if day is None:
                wish = "an ISO 8601 date such as 2024-05-31"
                if len(fits) > 1:
                    wish += f"; it could be {' or '.join(fits)}"
                self._problem(row.line, header.written, cell, wish, "this brew has no date")
            found.append(day)
        return found

    def _problem(self, line: int | None, column: str | None, found: str, expected: str, cost: str) -> None:
        self.say(Problem(self.file, line, column, shown(found), expected, cost))

    def _note(self, line: int | None, column: str | None, found: str, expected: str, cost: str) -> None:
        self.say(Problem(self.file, line, column, shown(found), expected, cost, "note"))


__all__ = ["Header", "Row", "TableReader", "Unreadable", "decimal_comma", "read_headers", "shown", "split_header"]
