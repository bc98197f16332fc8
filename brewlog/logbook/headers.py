"""The first row of a file: names and units of its columns, wherever it stands."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from brewlog.logbook import values
from brewlog.logbook.problems import Problem, Say
from brewlog.logbook.text import MAX_COLUMNS
from brewlog.quantities import MAX_UNIT_LENGTH, parse_unit

_HEADER = re.compile(r"\s*([^\[\]()]*?)\s*[\[(]([^\[\]()]*)[\])]\s*")
_BRACKETS = str.maketrans("［］（）｛｝{}【】", "[]()[][][]")
_SQUARE = re.compile(r"\[+([^\[\]()]*)\]")
_ROUND = re.compile(r"\(([^\[\]()]*)\)")
_CLOSED = re.compile(r"\s*(\S.*?)\s+(\S+?)[\])]\s*")
_ANGLED = re.compile(r"([^<>]+)<([^<>]+)>\s*")
_TOKEN = re.compile(r"[\s_,/:]+")
SHOWN = 60
"""Longest piece of a file that a message repeats. [characters]"""
PREAMBLE = 40
"""Rows above the header that are looked through."""


def shown(cell: str) -> str:
    """A cell as a message repeats it: on one line, long ones cut.

    Examples
    --------
    >>> shown("two\\nlines"), len(shown("x" * 1000))
    ('two lines', 60)
    """
    text = " ".join(cell[: 10 * SHOWN].split())
    text = "".join(sign if sign.isprintable() else "\ufffd" for sign in text)  # nothing steers the terminal
    return text if len(text) <= SHOWN else f"{text[: SHOWN - 1]}…"


@dataclass(frozen=True, slots=True)
class Header:
    """A column of a file as it was written."""

    place: int
    written: str
    name: str
    """Without unit; empty where the column has none, or one that an earlier column has."""
    unit: str | None
    """None where no unit is written."""


def split_header(cell: str) -> tuple[str, str | None]:
    """Name and unit of a header cell.

    Examples
    --------
    >>> split_header("mass [kg]"), split_header("temp (degF)"), split_header("date:")
    (('mass', 'kg'), ('temp', 'degF'), ('date', None))
    """
    if len(cell) > 200:
        # no unit is that long: its start is enough to say so
        name, _, unit = cell[:200].replace("(", "[").partition("[")
        return (name.strip(), unit) if unit and name.strip() else (cell.strip(), None)
    found = _HEADER.fullmatch(cell)
    if found and found[1]:
        return found[1], found[2].strip() or None
    bare = cell.strip()
    return _split_oddly(cell) or (bare.rstrip(" :*") or bare, None)


def _split_oddly(cell: str) -> tuple[str, str | None] | None:
    """Name and unit of a header whose brackets are of another kind, not closed, several or one in another."""
    plain = cell.translate(_BRACKETS)
    if "[" not in plain and "(" not in plain and (closed := _CLOSED.fullmatch(plain)):
        return closed[1], closed[2]
    if "[" not in plain and "(" not in plain:
        angled = _ANGLED.fullmatch(plain)
        return (angled[1].strip(), angled[2].strip() or None) if angled and angled[1].strip() else None
    start = min(place for place in (plain.find("["), plain.find("(")) if place >= 0)
    name, rest = plain[:start].strip(), plain[start:]
    if not name:
        return None
    square = _SQUARE.search(rest)  # a remark may stand in round ones beside it
    group = square or _ROUND.match(rest)
    unit = group[1] if group else rest.strip("[] ").removeprefix("(")
    return name, unit.strip() or None


def split_suffix(name: str, unit: str) -> tuple[str, str] | None:
    """Name and unit of a header that has its unit behind the name without brackets; None if it has none.

    Parameters
    ----------
    name : str
        Header as written.
    unit : str
        Canonical unit of the column it may be.

    Examples
    --------
    >>> split_suffix("mass_kg", "kg"), split_suffix("temp, °F", "degC"), split_suffix("mass", "kg")
    (('mass', 'kg'), ('temp', '°F'), None)
    """
    parts = [part for part in _TOKEN.split(name[:200]) if part]
    if len(parts) < 2 or not unit:
        return None
    front = parts[:-2] if len(parts) > 2 and parts[-2].casefold() == "in" else parts[:-1]
    try:
        parse_unit(parts[-1], unit)
    except ValueError:
        return None
    return " ".join(front), parts[-1]


def find_header(rows: Sequence[tuple[int, list[str]]], known: Collection[str]) -> int:
    """Place of the row of column names among the first rows.

    The first row, unless it names no known column and a row below it names two or more.

    Parameters
    ----------
    rows : sequence of (line, cells)
    known : collection of str
        Names of columns, without case, blanks and underscores.

    Returns
    -------
    int
    """
    for place, (_, cells) in enumerate(rows[:PREAMBLE]):
        named = {values.plain(split_header(cell)[0]) for cell in cells[:MAX_COLUMNS] if len(cell) <= 200}
        if len(named & set(known)) >= (1 if place == 0 else 2):
            return place
    return 0


def read_headers(cells: list[str], line: int, file: str, say: Say) -> list[Header]:
    """Headers of a file; repeated ones are reported and left out, empty ones have no name."""
    headers: list[Header] = []
    seen: set[str] = set()
    if len(cells) > MAX_COLUMNS:
        found = f"{len(cells)} columns"
        say(Problem(file, line, None, found, f"at most {MAX_COLUMNS}", "the columns beyond are left out"))
    for place, cell in enumerate(cells[:MAX_COLUMNS]):
        name, unit = split_header(cell)
        key = values.plain(name)
        if not key:
            headers.append(Header(place, "", "", None))
            continue
        written = shown(cell)
        if key in seen:
            say(Problem(file, line, written, written, "every column once", "this second column is left out"))
            headers.append(Header(place, written, "", None))
            continue
        seen.add(key)
        if unit is not None and len(cell) <= 200 and _HEADER.fullmatch(cell) is None:
            wish = "a name and its unit in brackets"
            say(Problem(file, line, written, written, wish, f"read as {shown(f'{name} [{unit}]')}", "note"))
        headers.append(Header(place, written, name, unit))
    return headers


def units_row(columns: Sequence[tuple[Header, Collection[str]]], cells: Sequence[str]) -> dict[int, str] | None:
    """Units of a row of units below the header, by place; None where the row is anything else.

    Parameters
    ----------
    columns : sequence of (Header, collection of str)
        Each column with the canonical units that it can have; none for columns of text.
    cells : sequence of str

    Returns
    -------
    dict of int to str, or None

    Examples
    --------
    >>> header = Header(0, "mass", "mass", None)
    >>> units_row([(header, ["kg"])], ["[lb]"]), units_row([(header, ["kg"])], ["5.1"])
    ({0: 'lb'}, None)
    """
    found = {}
    for header, units in columns:
        text = cells[header.place].strip().strip("[]()").strip() if header.place < len(cells) else ""
        if not units or not text:
            continue
        if not any(_is_unit(text, unit) for unit in units):
            return None
        found[header.place] = text
    return found or None


def _is_unit(text: str, unit: str) -> bool:
    if len(text) > MAX_UNIT_LENGTH or text == "-" or text[0].isdigit():
        return False
    try:
        parse_unit(text, unit)
    except ValueError:
        return False
    return True
