"""Columns of times whose header nobody knows: told by what stands in them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from brewlog.logbook import values
from brewlog.logbook.channels import DATES, Named, Names, channel_of
from brewlog.logbook.clocks import read_clock
from brewlog.logbook.headers import Header
from brewlog.logbook.sheets import Lines
from brewlog.logbook.telling import Teller
from brewlog.quantities import parse_unit

FEWEST = 5
"""Fewer rows tell nothing of a column."""
MOST = 200
"""Rows of a trace that are looked at, from its whole length."""
RISING = 0.9
"""Share of the cells that must be times, and of the steps that must not go back. [1]"""
_TWO_MEANINGS = ("temps",)
"""Headers that are times in one language and something else in another."""


def times_by_content(
    headers: Sequence[Header], names: Names, lines: Lines, line: int, tell: Teller
) -> dict[str, Named]:
    """A column of rising times where no header names one, as a row of channels.csv would name it; it is noted.

    Parameters
    ----------
    headers : sequence of Header
    names : mapping
        What channels.csv says of this rig.
    lines : Lines
        Rows below the header.
    line : int
        Of the header.
    tell : Teller

    Returns
    -------
    dict of str to Named
        By the plain header; empty where a header names the times, or no column is one.
    """
    if any(channel_of(header, names) in ("time", "elapsed") for header in headers):
        return {}
    rows = [lines.cells(k) for k in range(0, len(lines.rows), max(1, len(lines.rows) // MOST))]
    cells = {h.place: [r[h.place] if h.place < len(r) else "" for r in rows] for h in headers if h.name}
    dates = [header for header in headers if values.plain(header.name) in DATES]
    if len(rows) < FEWEST or any(_share_of_stamps(cells[header.place]) > 0.5 for header in dates):
        return {}
    free = [header for header in headers if header.name and header not in dates and not channel_of(header, names)]
    for channel, fits in (("time", _is_clock), ("elapsed", _is_count)):
        for header in free:
            if fits(header, cells[header.place]):
                wish = f"the name {channel!r}, or a row in channels.csv"
                tell.note(
                    line, header.written, header.written, wish, f"read as {channel}, as its cells are rising times"
                )
                return {values.plain(header.name): Named(channel, header.unit, header.written, line)}
    return {}


def _share_of_stamps(cells: Sequence[str]) -> float:
    return sum(":" in cell for cell in cells) / len(cells)


def _is_clock(header: Header, cells: Sequence[str]) -> bool:
    """True for clock times, written as such, that rise."""
    if _share_of_stamps(cells) < RISING:
        return False
    clock = read_clock(pd.Series([cell.strip() for cell in cells], dtype=object))
    return clock is not None and _rises(clock.seconds)


def _is_count(header: Header, cells: Sequence[str]) -> bool:
    """True for numbers that rise, under a unit of time or a word that may mean time."""
    try:
        counts = header.unit is not None and parse_unit(header.unit, "s").factor > 0
    except ValueError:
        counts = False
    if not counts and values.plain(header.name) not in _TWO_MEANINGS:
        return False
    numbers = [values.parse_number(cell, None) for cell in cells]
    return _rises(np.array([found[0] if found else np.nan for found in numbers]), strictly=True)


def _rises(seconds: np.ndarray, strictly: bool = False) -> bool:
    known = seconds[np.isfinite(seconds)]
    if len(known) < RISING * len(seconds) or len(known) < FEWEST:
        return False
    steps = np.diff(known)
    onward = bool((steps > 0).all()) if strictly else float(np.mean(steps >= 0)) >= RISING
    return onward and bool(known[-1] > known[0])
