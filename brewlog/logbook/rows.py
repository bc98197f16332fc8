"""Rows of a table, and what their cells tell of the whole file."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

_POINT = re.compile(r"\s*[+-]?\d*\.\d+\s*")
_COMMA = re.compile(r"\s*[+-]?\d*,(\d{1,2}|\d{4,})\s*")
_GROUP = re.compile(r"\s*[+-]?[1-9]\d{0,2}\.\d{3}\s*")


@dataclass(slots=True)
class Row:
    """One row: its line, its values by field, its texts by column of the brewer's own."""

    line: int
    values: dict[str, Any] = field(default_factory=dict)
    own: dict[str, str] = field(default_factory=dict)
    cells: dict[str, str] = field(default_factory=dict)
    """Cells as written, by column."""
    units: dict[str, str] = field(default_factory=dict)
    """Units in the header, by column."""
    inside: str | None = None
    """Unit that stands inside the cell of a reading's value."""
    comma: bool | None = None
    """Whether the file writes a decimal comma; None where it does not tell."""


def decimal_comma(texts: Iterable[str], separator: str) -> bool | None:
    """Whether a file writes a decimal comma: True, False (point), or None where no cell tells.

    Examples
    --------
    >>> decimal_comma(["20,5", "3"], ";"), decimal_comma(["20.5"], ","), decimal_comma(["1,044"], ",")
    (True, False, None)
    """
    comma = point = either = 0
    for text in texts:
        if len(text) > 40:
            continue
        if "," in text:
            comma += _COMMA.fullmatch(text) is not None
        elif "." in text and _POINT.fullmatch(text):
            group = _GROUP.fullmatch(text) is not None  # 1.044 may be a thousand and 44
            either += group
            point += not group
    if comma and point:
        return None if max(comma, point) < 20 * min(comma, point) else comma > point
    if comma or point:
        return bool(comma)
    return False if either else (True if separator == ";" else None)


def are_row_numbers(cells: Sequence[str]) -> bool:
    """True for whole numbers that count the rows, as spreadsheets and programs put them first.

    Examples
    --------
    >>> are_row_numbers(["0", "1", "2"]), are_row_numbers(["3", "5"]), are_row_numbers(["1"])
    (True, False, False)
    """
    texts = [cell.strip() for cell in cells]
    if len(texts) < 2 or not all(text.isdecimal() and len(text) < 10 for text in texts):
        return False
    return all(int(b) - int(a) == 1 for a, b in pairwise(texts))
