"""One CSV file of the logbook to rows of values, with everything that could not be read in its place."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from brewlog.logbook import values
from brewlog.logbook.cells import ColumnReader
from brewlog.logbook.forms import not_again, on_its_side, without_formulas, without_single_quotes
from brewlog.logbook.headers import Header, find_header, read_headers, shown, split_suffix, units_row
from brewlog.logbook.layout import Column, FileLayout
from brewlog.logbook.problems import MANY, Problem, Say
from brewlog.logbook.rows import Row, are_row_numbers, decimal_comma
from brewlog.logbook.separators import SEPARATORS, find_separator, rows_of
from brewlog.logbook.telling import Teller
from brewlog.logbook.text import MAX_COLUMNS, Decoded, tell_text

MAX_ROWS = 50_000
"""Most rows of a table that are read; traces may be longer."""
MOST_COMPARED = 30
"""Unknown columns for which the nearest known one is looked for."""
OWN_COLUMN = "kept as a column of your own"


def _begins_with(written: str, name: str) -> bool:
    """True for a header that begins with a column's name and goes on with a sign that no name has."""
    pattern = r"[\s_-]*".join(re.escape(part) for part in name.split("_"))
    return re.match(rf"\s*{pattern}\s*[^\w\s/.,-]", written, re.IGNORECASE) is not None


@dataclass
class TableReader:
    """Reads one file by its layout."""

    layout: FileLayout
    file: str
    say: Say
    line: int = 1
    """Of the header, once it is found."""

    def read(self, decoded: Decoded) -> list[Row]:
        """Rows with their values; what could not be read is reported and missing."""
        tell = Teller(self.file, self.say)
        separator = find_separator(decoded.text)
        rows: list[tuple[int, list[str]]] = []
        for line, cells in rows_of(without_formulas(decoded.text, tell), separator):
            if len(rows) > MAX_ROWS:
                self._problem(line, None, f"more than {MAX_ROWS} rows", f"at most {MAX_ROWS}", "the rest is left out")
                break
            rows.append((line, cells))
        tell_text(self.file, decoded, self.say)
        if not rows:
            self._problem(None, None, "an empty file", "a row of column names", "nothing of it could be read")
            return []
        rows = without_single_quotes(rows, tell)
        known = {values.plain(column.name) for column in self.layout.columns}
        if on_its_side(rows, known, tell):
            return []
        top = find_header(rows, known)
        self.line = rows[top][0]
        if top:
            found = f"{top} {'rows' if top > 1 else 'row'} above the column names"
            self._note(rows[0][0], None, found, "column names first", "not read")
        headers = read_headers(rows[top][1], self.line, self.file, self.say)
        rows = not_again(rows[top + 1 :], rows[top][1], tell)
        columns = self._match(headers)
        places = [(h, [c.unit] if c and c.kind == "number" and c.unit else []) for h, c in columns]
        if rows and (units := units_row(places, rows[0][1])):
            self._note(rows[0][0], None, "a row of units", "units behind the column names", "it was read as such")
            columns = [(replace(h, unit=h.unit or units.get(h.place)), c) for h, c in columns]
            rows = rows[1:]
        body = self._fit(rows, headers)
        self._tell_quotes(headers, body)
        self._tell_nameless(headers, body)
        numbers = (c[h.place] for _, c in body for h, col in columns if col and col.kind == "number")
        comma = decimal_comma(numbers, separator)
        if separator != "," or comma:
            found = f"{SEPARATORS[separator]} between columns" + (", decimal comma" if comma else "")
            self._note(None, None, found, "comma and decimal point", "it was read as such")
        return self._with_keys(self._rows(columns, body, comma))

    def _rows(
        self, columns: Sequence[tuple[Header, Column | None]], body: list[tuple[int, list[str]]], comma: bool | None
    ) -> list[Row]:
        units = {column.name: header.unit for header, column in columns if column and header.unit}
        result = [Row(line, units=units, comma=comma) for line, _ in body]
        lines = [row.line for row in result]
        by_line = dict(zip(lines, result, strict=True))

        def inside(line: int, unit: str) -> None:
            by_line[line].inside = unit

        for header, column in columns:
            cells = [c[header.place] for _, c in body]
            name = column.name if column else header.name
            for row, cell in zip(result, cells, strict=True):
                row.cells[name] = cell
                if column is None and not values.is_missing(cell):
                    row.own[header.name] = cell.strip()
            if column is not None:
                reader = ColumnReader(self.file, self.say, header, column, self.line, comma, inside)
                for row, value in zip(result, reader.read(cells, lines), strict=True):
                    row.values[column.target] = value
        return result

    def _match(self, headers: list[Header]) -> list[tuple[Header, Column | None]]:
        """Column of each header that has a name; None for columns of the brewer's own."""
        by_name = {values.plain(column.name): column for column in self.layout.columns}
        matched: list[tuple[Header, Column | None]] = []
        taken = {column.name for h in headers if (column := by_name.get(values.plain(h.name)))}
        unknown = []
        for header in headers:
            if not header.name:
                continue
            column = by_name.get(values.plain(header.name))
            if column is None and (guess := self._by_suffix(header, by_name)) and guess[1].name not in taken:
                header, column = guess
                taken.add(column.name)
                told = f"{column.name} [{header.unit}]"
                self._note(self.line, header.written, header.written, f"{told!r}", f"read as {told}")
            if column is None:
                unknown.append(header)
            matched.append((header, column))
        self._tell_unknown(unknown, taken)
        lacking = [column for column in self.layout.columns if column.name not in taken]
        useless = any(column.needed for column in lacking)
        for column in lacking:
            broken = any(_begins_with(header.written, column.name) for header in unknown)
            if column.needed or column.wanted or (column.missed and not useless and not broken):
                wish = f"a column {column.name!r}"
                cost = "no row of the file can be read" if column.needed else f"no row has a {column.name}"
                found = "no such column"
                if not taken and headers:
                    found = f"no column that is known: {', '.join(header.written for header in headers[:5])}"
                self._problem(self.line, column.name, found, wish, cost)
        return matched

    def _by_suffix(self, header: Header, by_name: dict[str, Column]) -> tuple[Header, Column] | None:
        if header.unit is not None:
            return None
        for column in by_name.values():
            found = split_suffix(header.name, column.unit) if column.kind == "number" else None
            if found and values.plain(found[0]) == values.plain(column.name):
                return replace(header, name=column.name, unit=found[1]), column
        return None

    def _tell_unknown(self, unknown: Sequence[Header], taken: set[str]) -> None:
        """Note the columns of the brewer's own: those that resemble a column one by one, the others together."""
        free = [column.name for column in self.layout.columns if column.name not in taken]
        near = {h.place: values.nearest(h.name, free) for h in unknown[:MOST_COMPARED]}
        broken = [h for h in unknown if any(_begins_with(h.written, name) for name in free)][:MANY]
        for header in broken:
            wish, cost = "a name, and its unit in square brackets", "the column is left out until its unit is clear"
            self._problem(self.line, header.written, header.written, wish, cost)
        unknown = [header for header in unknown if header not in broken]
        alike = [header for header in unknown if near.get(header.place)][:MANY]
        for header in alike:
            wish = f"a column of {self.layout.name} (perhaps {near[header.place]!r})"
            self._note(self.line, header.written, header.written, wish, OWN_COLUMN)
        others = [header for header in unknown if header not in alike]
        if any(column.needed and column.name not in taken for column in self.layout.columns):
            return  # no row can be read, so nothing is kept
        if len(others) == 1:
            wish = f"a column of {self.layout.name}"
            self._note(self.line, others[0].written, others[0].written, wish, OWN_COLUMN)
        elif others:
            found = f"{len(others)} other columns ({', '.join(header.written for header in others[:9])})"
            self._note(
                self.line, None, found, f"columns of {self.layout.name}", OWN_COLUMN.replace("a column", "columns")
            )

    def _fit(self, rows: list[tuple[int, list[str]]], headers: list[Header]) -> list[tuple[int, list[str]]]:
        """Rows brought to the width of the header; what that costs is reported."""
        width = max((h.place for h in headers), default=-1) + 1
        needed = max((h.place for h in headers if h.name), default=-1) + 1
        body = []
        filled = [(line, cells) for line, cells in rows if any(cell.strip() for cell in cells)]
        over = sum(len(cells) > width for _, cells in filled)
        first = next((line for line, cells in filled if len(cells) > width), None)
        for line, cells in filled:
            if cells[0].lstrip().startswith("#") and len(cells) < needed:
                self._note(line, None, cells[0], "a row of values", "taken for a remark, not read")
                continue
            if len(cells) > width and any(cell.strip() for cell in cells[width:MAX_COLUMNS]):
                found, wish = f"{len(cells)} cells", f"{width}, as in the first row"
                extra = len(cells) - width
                self._problem(
                    line, None, found, wish, f"the last {extra} are left out" if extra > 1 else "the last is left out"
                )
            elif len(cells) > width and (2 * over <= len(filled) or line == first):
                rows_too = " in this row and others" if 2 * over > len(filled) else ""
                found, wish = f"{len(cells)} cells, the last empty{rows_too}", f"{width}, as in the first row"
                self._note(line, None, found, wish, "read from the left; a comma inside a cell moves what is behind it")
            elif len(cells) < needed:
                found, wish = f"{len(cells)} cells", f"{width}, as in the first row"
                self._note(line, None, found, wish, "the others count as not recorded")
            body.append((line, (cells + [""] * (width - len(cells)))[:width]))
        return body

    def _with_keys(self, rows: list[Row]) -> list[Row]:
        """Rows whose needed cells could be read; an empty needed cell is reported."""
        needed = [column for column in self.layout.columns if column.needed]
        kept = []
        for row in rows:
            lacking = [c for c in needed if row.values.get(c.target) is None]
            alone = [cell for cell in row.cells.values() if not values.is_missing(cell)]
            if lacking and len(alone) == 1 and len(row.cells) > 2:
                self._problem(row.line, None, f"{shown(alone[0])} alone", "a row of values", "it is left out")
                continue
            for column in lacking:
                if column.name in row.cells and values.is_missing(row.cells[column.name]):
                    found = shown(row.cells[column.name]) or "an empty cell"
                    self._problem(row.line, column.name, found, column.meaning, "this row is left out")
            for column in self.layout.columns:
                if column.wanted and column.name in row.cells and values.is_missing(row.cells[column.name]):
                    cost = f"this row has no {column.name}"
                    self._problem(row.line, column.name, "an empty cell", column.meaning, cost)
            if not lacking:
                kept.append(row)
        return kept

    def _tell_quotes(self, headers: list[Header], body: list[tuple[int, list[str]]]) -> None:
        """Note cells that begin with a quote which is never closed."""
        for header in headers:
            for line, cells in body:
                cell = cells[header.place]
                if cell.startswith('"') and cell.count('"') % 2:
                    wish = "a quote at the end of the cell, too"
                    self._note(line, header.written, cell, wish, "the quote was read as a sign like others")

    def _tell_nameless(self, headers: list[Header], body: list[tuple[int, list[str]]]) -> None:
        for header in headers:
            if header.name or header.written or not any(cells[header.place].strip() for _, cells in body):
                continue
            if header.place == 0 and are_row_numbers([cells[0] for _, cells in body]):
                self._note(self.line, None, "row numbers without a name", "a column name", "that column is not used")
                continue
            found = f"no name over column {header.place + 1}"
            self._problem(self.line, None, found, "a column name", "that column is left out")

    def _problem(self, line: int | None, column: str | None, found: str, expected: str, cost: str) -> None:
        self.say(Problem(self.file, line, column, shown(found), expected, cost))

    def _note(self, line: int | None, column: str | None, found: str, expected: str, cost: str) -> None:
        self.say(Problem(self.file, line, column, shown(found), expected, cost, "note"))
