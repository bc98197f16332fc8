"""Columns of a trace's cells to numbers, and the cells that are none."""

from __future__ import annotations

import numpy as np
import pandas as pd

from brewlog.logbook import values
from brewlog.logbook.clocks import floats_of
from brewlog.logbook.headers import Header
from brewlog.logbook.sheets import Teller
from brewlog.logbook.tables import MANY

MOST_TEXTS = 100_000
"""Distinct cells of a column that are looked at one by one where they are no plain numbers."""


def to_numbers(cells: pd.Series, comma: bool | None) -> np.ndarray:
    """Numbers of some cells; NaN for those that are missing or none."""
    if pd.api.types.is_numeric_dtype(cells):
        return cells.to_numpy(dtype=float).copy()
    numbers = floats_of(cells)
    odd = np.flatnonzero(~np.isfinite(numbers))
    # each distinct text is looked at once: a column may hold a million of one kind
    codes, texts = pd.factorize(cells.iloc[odd])
    read = np.full(len(texts) + 1, np.nan)
    for k, text in enumerate(texts[:MOST_TEXTS]):
        found = [] if not isinstance(text, str) or values.is_missing(text) else values.parse_number(text, comma)
        read[k] = found[0] if len(found) == 1 else np.nan
    numbers[odd] = read[codes]
    return numbers


def tell_bad(
    header: Header, cells: pd.Series, numbers: np.ndarray, lines: np.ndarray, wish: str, cost: str, tell: Teller
) -> None:
    """Report cells that hold something, but no number."""
    places = filled_among(cells, np.flatnonzero(~np.isfinite(numbers)))
    for k in places[:MANY]:
        tell.problem(int(lines[k]), header.written, str(cells.iloc[k]), wish, cost)
    if len(places) > MANY:
        found = f"{len(places) - MANY} more such cells"
        tell.problem(int(lines[places[MANY]]), header.written, found, wish, cost.replace("this", "each such"))


def filled_among(cells: pd.Series, places: np.ndarray) -> np.ndarray:
    """Those of some places whose cells say anything else than "not recorded"."""
    if not len(places):
        return places
    codes, texts = pd.factorize(cells.iloc[places])
    filled = np.array([*(k >= MOST_TEXTS or is_filled(text) for k, text in enumerate(texts)), False], dtype=bool)
    return places[filled[codes]]


def is_filled(cell: object) -> bool:
    """True for a cell that says anything else than "not recorded"."""
    if isinstance(cell, float):
        return bool(np.isinf(cell))
    return isinstance(cell, str) and not values.is_missing(cell)
