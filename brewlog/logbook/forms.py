"""Forms that a whole file may have: cells in signs of a spreadsheet, a table on its side, its names again."""

from __future__ import annotations

import re
from collections.abc import Collection

from brewlog.logbook import values
from brewlog.logbook.headers import PREAMBLE, shown, split_header
from brewlog.logbook.problems import MANY
from brewlog.logbook.telling import Teller
from brewlog.logbook.text import MAX_COLUMNS

Rows = list[tuple[int, list[str]]]
"""Line and cells of each row."""
_FORMULA = re.compile(r'(?<![^,;\t|\n])(?:=|"="")"?([^"\n,;\t|]*)"(?:"")?(?=[,;\t|\n]|$)')
"""A cell that is a formula of nothing but a text: `="65.3"`, as spreadsheets are kept from changing it."""
_SINGLE = re.compile(r"\s*'([^']*)'\s*")
_WISH = "a cell without signs around it"


def without_formulas(text: str, tell: Teller) -> str:
    """Text with the content of cells such as `="65.3"` in their place; the first is noted."""
    found = _FORMULA.search(text) if '="' in text else None
    if found is None:
        return text
    cost = f"read as {shown(found[1])}, and so on in this file"
    tell.note(text.count("\n", 0, found.start()) + 1, None, found[0], _WISH, cost)
    return _FORMULA.sub(r"\1", text)


def without_single_quotes(rows: Rows, tell: Teller) -> Rows:
    """Rows without single quotes where they stand around every cell."""
    filled = (cell for _, cells in rows for cell in cells if cell.strip())
    if not rows or not all(_SINGLE.fullmatch(cell) for cell in filled):
        return rows
    like = next((cell for cell in rows[0][1] if cell.strip()), "")
    tell.note(rows[0][0], None, like, _WISH, f"read as {shown(like.strip()[1:-1])}, and so on in this file")
    return [(line, [_SINGLE.sub(r"\1", cell) for cell in cells]) for line, cells in rows]


def on_its_side(rows: Rows, known: Collection[str], tell: Teller) -> bool:
    """True, and a problem, where the names of columns stand one below the other.

    Parameters
    ----------
    rows : list of (line, cells)
    known : collection of str
        Names of columns, without case, blanks and underscores.
    tell : Teller
    """
    down = {values.plain(split_header(cells[0])[0]) for _, cells in rows[:PREAMBLE] if cells} & set(known)
    across = max(
        len({values.plain(split_header(cell)[0]) for cell in cells[:MAX_COLUMNS]} & set(known))
        for _, cells in rows[:PREAMBLE]
    )
    if len(down) < max(3, 2 * across):
        return False
    found, cost = "names of columns one below the other", "nothing of it could be read"
    tell.problem(rows[0][0], None, found, "them side by side in the first row", cost)
    return True


def not_again(rows: Rows, names: list[str], tell: Teller) -> Rows:
    """Rows that do not only repeat the column names, as files pasted together do."""
    for line in [line for line, cells in rows if cells == names][:MANY]:
        tell.note(line, None, "the column names again", "a row of values", "they are not read")
    return [(line, cells) for line, cells in rows if cells != names]
