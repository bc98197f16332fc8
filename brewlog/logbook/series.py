"""Columns of a trace's cells to numbers, and the cells that are none."""

from __future__ import annotations

import numpy as np
import pandas as pd

from brewlog.logbook import values
from brewlog.logbook.clocks import floats_of
from brewlog.logbook.headers import Header
from brewlog.logbook.problems import MANY
from brewlog.logbook.telling import Teller

MOST_TEXTS = 100_000
"""Distinct cells of a column that are looked at one by one where they are no plain numbers."""


def to_numbers(cells: pd.Series, comma: bool | None) -> np.ndarray:
    """Numbers of some cells; NaN for those that are missing or none."""
    if pd.api.types.is_numeric_dtype(cells):
        return cells.to_numpy(dtype=float).copy()
    numbers = floats_of(cells)
    if comma:  # a point parts thousands there: such cells are looked at one by one
        numbers[[isinstance(cell, str) and "." in cell for cell in cells]] = np.nan
    odd = np.flatnonzero(~np.isfinite(numbers))
    # each distinct text is looked at once: a column may hold a million of one kind
    codes, texts = pd.factorize(cells.iloc[odd])
    read = np.full(len(texts) + 1, np.nan)
    ways: dict[int, list[float]] = {}
    for k, text in enumerate(texts[:MOST_TEXTS]):
        found = [] if not isinstance(text, str) or values.is_missing(text) else values.parse_number(text, comma)
        read[k] = found[0] if len(found) == 1 else np.nan
        if len(found) > 1:
            ways[k] = found
    numbers[odd] = read[codes]
    if ways:
        _nearest_way(numbers, odd, codes, ways)
    return numbers


def _nearest_way(numbers: np.ndarray, odd: np.ndarray, codes: np.ndarray, ways: dict[int, list[float]]) -> None:
    """Fill in cells such as `1.020` among decimal commas: of both ways the one that is nearer, as a ratio, to the last.

    Where nothing is known before, the point parts a thousand.
    """
    ambiguous = np.isin(codes, list(ways))
    known = np.flatnonzero(np.isfinite(numbers) & (numbers != 0))
    for place, code in zip(odd[ambiguous].tolist(), codes[ambiguous].tolist(), strict=True):
        last = numbers[place - 1] if place and np.isfinite(numbers[place - 1]) and numbers[place - 1] else np.nan
        if np.isnan(last) and len(known):
            last = numbers[known[max(int(np.searchsorted(known, place)) - 1, 0)]]
        ratios = [abs(np.log(abs(way / last))) if last == last and way else 0.0 for way in ways[code]]
        numbers[place] = ways[code][int(np.argmin(ratios))]


def tell_groups(
    header: Header, cells: pd.Series, numbers: np.ndarray, lines: np.ndarray, comma: bool | None, tell: Teller
) -> None:
    """Note the first number with a comma in a file of decimal points, or with a point in one of decimal commas."""
    if pd.api.types.is_numeric_dtype(cells):
        return
    sign, wish = (".", "decimals behind a comma, no point") if comma else (",", "a decimal point")
    for k, cell in enumerate(cells):
        if isinstance(cell, str) and sign in cell and len(cell) <= 60 and np.isfinite(numbers[k]):
            cost = f"read as {numbers[k]:.6g}, and so on in this column"
            tell.note(int(lines[k]), header.written, cell, wish, cost)
            return


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
