"""Text to rows of cells: the separator between columns, and the line of each row."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator

from brewlog.logbook.text import MAX_CELL

SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "vertical bar"}


def find_separator(text: str) -> str:
    """Separator of the columns: the one that splits the first rows most evenly; comma if none.

    A first line `sep=;`, as spreadsheets write it, decides.
    """
    lines = [line for line in text[:50_000].split("\n")[:40] if line.strip()]
    if lines and (told := _told_separator(lines[0])):
        return told
    for line in lines[:20]:
        outside = "".join(line[:MAX_CELL].split('"')[::2])
        counts = {sep: outside.count(sep) for sep in SEPARATORS}
        # a comma inside headers that semicolons separate is rare, but a decimal comma in the row below is not
        if counts[";"] and counts[";"] >= counts[","]:
            return ";"
        best = max(counts, key=lambda sep: counts[sep])
        if counts[best]:
            return best
    return ","


def _told_separator(line: str) -> str | None:
    found = re.fullmatch(r"\s*\"?sep=(.)\"?\s*", line[:20].lower())
    return found[1] if found and found[1] in SEPARATORS else None


def rows_of(text: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    """Rows that hold any text, each with the line it starts on.

    A quote that is never closed ends with its line: what follows is read as rows of its own.
    """
    lines = text.split("\n")
    number = 0
    while number < len(lines):
        line = lines[number]
        first = number + 1
        number += 1
        if not line.strip() or (first == 1 and _told_separator(line)):
            continue
        if '"' not in line:
            yield first, line.split(separator)
            continue
        whole = line
        joined = number
        while whole.count('"') % 2 and joined < min(len(lines), number + 50) and len(whole) < MAX_CELL:
            whole += "\n" + lines[joined]
            joined += 1
        if whole.count('"') % 2:  # never closed: a stray quote
            yield first, line.split(separator)
            continue
        number = joined
        try:
            yield first, next(csv.reader(io.StringIO(whole, newline=""), delimiter=separator, skipinitialspace=True))
        except (csv.Error, StopIteration):
            yield first, line.split(separator)
