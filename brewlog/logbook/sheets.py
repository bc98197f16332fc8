"""A trace file's text to columns: fast for millions of plain rows, patient with rows of another width."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from brewlog.logbook.forms import without_formulas
from brewlog.logbook.problems import MANY
from brewlog.logbook.separators import rows_of
from brewlog.logbook.telling import Teller
from brewlog.logbook.text import MAX_CELL, MAX_COLUMNS

MAX_ROWS = 2_000_000
"""Most rows of a trace that are read."""
MAX_LINES = 2 * MAX_ROWS
"""Most lines of a trace, empty ones included."""
MAX_QUOTED_ROWS = 200_000
"""Most rows that are read where cells hold quoted separators or line ends."""
_QUOTED = re.compile(r'"([^"\n,;\t|]*)"')


@dataclass(frozen=True)
class Lines:
    """Rows of a file below its first row with text, cells not yet split where they need not be."""

    rows: list[str] | list[list[str]]
    """One text per row, or one list of cells per row where quotes stand in the file."""
    numbers: list[int]
    """Line of each row."""
    separator: str

    def cells(self, place: int) -> list[str]:
        """Cells of one row."""
        row = self.rows[place]
        return row.split(self.separator) if isinstance(row, str) else row

    def below(self, place: int) -> Lines:
        """Rows below one row."""
        return Lines(self.rows[place + 1 :], self.numbers[place + 1 :], self.separator)

    def without(self, row: str | list[str]) -> tuple[Lines, list[int]]:
        """Rows that are not like one row, and the lines of those that are."""
        again = [k for k, other in enumerate(self.rows) if other == row]
        if not again:
            return self, []
        drop = set(again)
        kept = [k for k in range(len(self.rows)) if k not in drop]
        rows: list = [self.rows[k] for k in kept]
        return Lines(rows, [self.numbers[k] for k in kept], self.separator), [self.numbers[k] for k in again]


def read_lines(text: str, separator: str, tell: Teller) -> Lines:
    """Rows that hold text.

    Parameters
    ----------
    text : str
    separator : str
    tell : Teller

    Returns
    -------
    Lines
    """
    text = without_formulas(text, tell)
    if '"' in text:
        text = _QUOTED.sub(r"\1", text)
    numbers: list[int] = []
    if '"' in text:
        cells: list[list[str]] = []
        for line, row in rows_of(text, separator):
            if len(cells) > MAX_QUOTED_ROWS:
                tell.problem(
                    line, None, f"more than {MAX_QUOTED_ROWS} rows with quotes", "fewer", "the rest is left out"
                )
                break
            cells.append(row)
            numbers.append(line)
        return Lines(cells, numbers, separator)
    rows: list[str] = []
    empty = f" {separator}\t\ufffd"
    split = text.split("\n", MAX_LINES)
    if len(split) > MAX_LINES:
        tell.problem(MAX_LINES + 1, None, f"more than {MAX_LINES} lines", "fewer", "the rest is left out")
        del split[MAX_LINES:]
    for line, whole in enumerate(split, start=1):
        if whole and whole.strip(empty) and not (line == 1 and whole.lower().startswith("sep=")):
            rows.append(whole)
            numbers.append(line)
    if len(rows) > MAX_ROWS + 1:
        found = f"{len(rows)} rows"
        tell.problem(numbers[MAX_ROWS + 1], None, found, f"at most {MAX_ROWS}", "the rest is left out")
        del rows[MAX_ROWS + 1 :], numbers[MAX_ROWS + 1 :]
    return Lines(rows, numbers, separator)


def columns_of(
    lines: Lines,
    width: int,
    wanted: Collection[int],
    as_text: Collection[int],
    least: int,
    tell: Teller,
    comma: bool = False,
) -> pd.DataFrame:
    """Columns of some rows: floats where every cell is a plain number or empty, else text.

    Parameters
    ----------
    lines : Lines
    width : int
        Cells of the first row.
    wanted : collection of int
        Places of the columns to keep.
    as_text : collection of int
        Places of columns that stay text.
    least : int
        Cells that a row must have; a row of fewer is reported.
    tell : Teller
    comma : bool
        True where the file writes a decimal comma.

    Returns
    -------
    pandas.DataFrame
        Named by place.
    """
    width = min(width, MAX_COLUMNS)
    places = sorted(wanted)
    if not lines.rows or not isinstance(lines.rows[0], str):
        rows = _even([lines.cells(k) for k in range(len(lines.rows))], lines.numbers, width, least, tell, None)
        return pd.DataFrame([[row[k] for k in places] for row in rows], columns=places, dtype=str)
    texts = _even(lines.rows, lines.numbers, width, least, tell, lines.separator)
    return pd.read_csv(
        io.BytesIO("\n".join(texts).encode("utf-8", "replace")),  # text would take four bytes a sign
        sep=lines.separator,
        decimal="," if comma else ".",
        header=None,
        names=range(width),
        usecols=places,
        dtype=dict.fromkeys(as_text, str),
        keep_default_na=False,
        na_values=[""],
        quoting=csv.QUOTE_NONE,
        skipinitialspace=True,
        skip_blank_lines=False,
        low_memory=False,
        index_col=False,
    )[places]


def _even(
    rows: list[Any], numbers: list[int], width: int, least: int, tell: Teller, separator: str | None
) -> list[Any]:
    """Rows with as many cells as the first; what that costs is reported."""
    counts = [row.count(separator) + 1 for row in rows] if separator else [len(row) for row in rows]
    odd = np.flatnonzero(np.array(counts, dtype=int) != width)
    if not len(odd) and (separator is None or max(map(len, rows), default=0) < MAX_CELL):
        return rows
    rows = list(rows)
    long: list[tuple[int, int]] = []
    short: list[tuple[int, int]] = []
    over = sum(count > width for count in counts)
    extra: list[tuple[int, int]] = []
    for k in odd.tolist():
        cells = rows[k].split(separator) if separator else rows[k]
        many = 2 * over > len(rows)
        if len(cells) > width and not (many and extra) and not any(cell.strip() for cell in cells[width:]):
            extra.append((numbers[k], len(cells)))
        if len(cells) > width and any(cell.strip() for cell in cells[width:]):
            long.append((numbers[k], len(cells)))
        elif len(cells) < least:
            short.append((numbers[k], len(cells)))
        cells = (cells + [""] * (width - len(cells)))[:width]
        rows[k] = separator.join(cells) if separator else cells
    if separator:
        for k, row in enumerate(rows):
            if len(row) >= MAX_CELL:  # a huge cell is cut: it can be no number
                rows[k] = separator.join(cell[:100] for cell in row.split(separator))
    _tell_widths(long, tell.problem, width, "the cells beyond are left out")
    _tell_widths(extra, tell.note, width, "read from the left; a comma inside a cell moves what is behind it")
    _tell_widths(short, tell.note, width, "the others count as not recorded")
    return rows


def _tell_widths(places: list[tuple[int, int]], say: Callable[..., None], width: int, cost: str) -> None:
    for line, count in places[:MANY]:
        say(line, None, f"{count} cells", f"{width}, as in the first row", cost)
    if len(places) > MANY:
        say(places[MANY][0], None, f"{len(places) - MANY} more rows of another width", f"{width} cells", cost)
