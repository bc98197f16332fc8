"""Which comes first in a logger's dates such as 3/1/2025, day or month: what the other dates of its logbook tell."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from datetime import date as Date
from pathlib import Path

from brewlog.logbook.date_orders import is_clear
from brewlog.logbook.text import Unreadable, read_bytes

DAY_FIRST, MONTH_FIRST = "day", "month"
NEAR = 2
"""How near the day of its brew a date must lie to decide between day and month. [day]"""
HEAD = 20_000
"""Part of a trace in which dates are looked for. [byte]"""
MOST = 50_000_000
"""Traces are looked into until so much was read. [byte]"""
_DATE = re.compile(r"(?<![\d/-])(\d{1,2})([/-])(\d{1,2})\2(\d{4}|\d{2})(?![\d/-])")


def order_of(sign: str, texts: Iterable[tuple[str, Date | None]]) -> str | None:
    """Whether day or month stands first in the dates of some texts; None where they do not tell or contradict.

    Parameters
    ----------
    sign : str
        Between day and month: a slash or a hyphen.
    texts : iterable of (str, date or None)
        Pieces of text, each with the day on which its dates should lie.

    Returns
    -------
    str or None

    Examples
    --------
    >>> order_of("/", [("3/22/2025 9:01", None), ("3/1/2025 9:00", None)]), order_of("/", [("3/1/2025 9:00", None)])
    ('month', None)
    >>> order_of("/", [("3/1/2025 9:00", Date(2025, 1, 3))]), order_of("-", [("3/22/2025 9:01", None)])
    ('day', None)
    """
    votes = [vote for text, day in texts if (vote := _vote(sign, text, day))]
    most, few = sorted((votes.count(DAY_FIRST), votes.count(MONTH_FIRST)), reverse=True)
    if not most or not is_clear(most, few, len(votes)):
        return None
    return max((DAY_FIRST, MONTH_FIRST), key=votes.count)


def _vote(sign: str, text: str, day: Date | None) -> str | None:
    """Order of the dates of one text; None where they do not tell."""
    dates = [(int(found[1]), int(found[3]), int(found[4]) % 2000 + 2000) for found in _DATE.finditer(text)
             if found[2] == sign]  # fmt: skip
    told = {DAY_FIRST if a > 12 else MONTH_FIRST for a, b, _ in dates if (a > 12) != (b > 12)}
    if not told and day is not None:
        ways = (
            ((DAY_FIRST, month, one, year) for one, month, year in dates),
            ((MONTH_FIRST, month, one, year) for month, one, year in dates),
        )
        told = {order for way in ways for order, month, one, year in way if _is_near(year, month, one, day)}
    return told.pop() if len(told) == 1 else None


def _is_near(year: int, month: int, day: int, other: Date) -> bool:
    try:
        return abs((Date(year, month, day) - other).days) <= NEAR
    except ValueError:
        return False


def heads(root: Path, files: Iterable[tuple[Path, Date | None]]) -> Iterator[tuple[str, Date | None]]:
    """Beginnings of some files, each with its day, until much was read; files that cannot be read are passed over."""
    read = 0
    for file, day in files:
        try:
            data = read_bytes(file, root).data
        except Unreadable:
            continue
        read += len(data)
        yield data[:HEAD].decode("latin-1").replace("\0", ""), day  # in UTF-16, too, digits are digits
        if read > MOST:
            return
