"""Cells of a brew table as numbers and words; what is neither is told with its place."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from brewlog.findings.priors import OTHERS

RESPONSES = ("brewhouse", "mash", "conversion", "lauter")
IN_THE_MODEL = (*RESPONSES, "hold_rms", "hold_bias", "control", "rig", "brew", "date", *OTHERS)
"""Names that cannot join as covariates: they are what is related, or have their own place in the model."""
LARGEST = 1e12
"""A number beyond this is no measurement."""


def check_table(table: pd.DataFrame, response: str) -> None:
    """Raise ValueError where the table cannot be a brew table or the response is not one of its efficiencies."""
    if not isinstance(table, pd.DataFrame):
        raise ValueError(f"table is a {type(table).__name__}; expected the frame that brew_table returns.")
    if response not in RESPONSES:
        near = difflib.get_close_matches(str(response), RESPONSES, n=1)
        hint = f" Did you mean {near[0]!r}?" if near else ""
        raise ValueError(f"response is {response!r}; expected one of {', '.join(RESPONSES)}.{hint}")
    for name in (response, "hold_rms"):
        if name not in table.columns:
            raise ValueError(f"the brew table has no column {name!r}; it is needed to relate efficiency to tightness.")
    if not table.columns.is_unique:
        twice = table.columns[table.columns.duplicated()][0]
        raise ValueError(f"the brew table has more than one column named {twice!r}.")


def as_numbers(table: pd.DataFrame, name: str) -> tuple[np.ndarray, list[str]]:
    """Column of the table as finite numbers or NaN, and a sentence for every cell that is neither number nor empty."""
    column = table[name]
    if column.dtype == np.float64:
        raw = column.to_numpy()
        if not (np.abs(raw) > LARGEST).any():
            return raw, []
    if column.dtype.kind in "mMc":  # a date is no number, though it can be counted as one
        values = np.full(len(column), np.nan)
    else:
        values = pd.to_numeric(column, errors="coerce").astype(float).to_numpy(dtype=float, copy=True)
    huge = np.isfinite(values) & (np.abs(values) > LARGEST)
    values[~(np.abs(values) <= LARGEST)] = np.nan
    odd = column.notna().to_numpy() & np.isnan(values) & (column.astype(str).str.strip() != "").to_numpy()
    labels = brew_labels(table)
    notes = [
        f"column {name}, brew {labels[row]}: found {shown(column.iloc[row])}, expected a "
        f"{f'number up to {LARGEST:g}' if huge[row] else 'finite number'}; treated as not recorded"
        for row in np.flatnonzero(odd)
    ]
    return values, notes


def numbers_within(table: pd.DataFrame, name: str, low: float, high: float, notes: list[str]) -> np.ndarray:
    """Column as numbers from `low` to `high`, else NaN; a cell that is neither such a number nor empty is noted."""
    if name not in table.columns:
        return np.full(len(table), np.nan)
    values, said = as_numbers(table, name)
    notes += said
    absurd = np.isfinite(values) & ~((values >= low) & (values <= high))
    if absurd.any():
        labels = brew_labels(table)
        notes += [
            f"column {name}, brew {labels[row]}: found {values[row]:.4g}, expected {low:g} to {high:g}; treated as not "
            "recorded"
            for row in np.flatnonzero(absurd)
        ]
        values = np.where(absurd, np.nan, values)
    return values


def numbers_or_nan(table: pd.DataFrame, name: str) -> np.ndarray:
    """Column of the table as finite numbers or NaN; all NaN where there is no such column."""
    return as_numbers(table, name)[0] if name in table.columns else np.full(len(table), np.nan)


def shown(cell: Any) -> str:
    """A cell as a message repeats it: words in quotes, numbers bare."""
    return repr(str(cell)) if isinstance(cell, str) else str(cell)


def brew_labels(table: pd.DataFrame) -> np.ndarray:
    """Labels of the brews: column `brew`, else the index."""
    labels = table["brew"] if "brew" in table.columns else table.index
    return np.array([str(label) for label in labels], dtype=object)


def texts(table: pd.DataFrame, name: str) -> np.ndarray:
    """Column as texts, empty where nothing stands."""
    if name not in table.columns:
        return np.full(len(table), "", dtype=object)
    values = table[name].to_numpy(dtype=object)
    return np.array(
        ["" if none else str(value) for value, none in zip(values, pd.isna(values), strict=True)], dtype=object
    )


def words(table: pd.DataFrame, name: str, allowed: tuple[str, ...], notes: list[str]) -> np.ndarray:
    """Column of words of which only some are allowed; others are noted and left empty."""
    found = np.array([text.strip().lower() for text in texts(table, name)], dtype=object)
    odd = np.flatnonzero([word not in ("", *allowed) for word in found])
    for row in odd:
        notes.append(
            f"column {name}, brew {brew_labels(table)[row]}: found {shown(found[row])}, "
            f"expected {' or '.join(allowed)}; treated as not recorded"
        )
    found[odd] = ""
    return found.astype("<U8")


def own_columns(
    table: pd.DataFrame, names: Sequence[str] | None, known: Sequence[str]
) -> tuple[dict[str, np.ndarray], list[str]]:
    """Read the brewer's own columns as numbers.

    Returns
    -------
    dict of str to numpy.ndarray, list of str
        Numbers, NaN where a cell is empty or is not a number, and one sentence per cell that is not a number.

    Raises
    ------
    ValueError
        If a column is not in the table (the nearest name is given) or holds no number at all.
    """
    if isinstance(names, str):
        names = [names]
    numbers: dict[str, np.ndarray] = {}
    notes: list[str] = []
    for name in names or ():
        if not isinstance(name, str):
            raise ValueError(f"columns holds {name!r}; expected names of columns of the brew table, as text.")
        if name in known:
            continue
        if name not in table.columns:
            near = difflib.get_close_matches(name, [str(column) for column in table.columns], n=1)
            hint = f" Did you mean {near[0]!r}?" if near else ""
            raise ValueError(f"the brew table has no column {name!r}.{hint}")
        if name in IN_THE_MODEL:
            raise ValueError(
                f"column {name!r} is already part of the model and cannot join as a covariate; a column of your own "
                "needs another name."
            )
        values, said = as_numbers(table, name)
        if np.isnan(values).all():
            first = table[name].dropna()
            found = f"; the first cell is {first.iloc[0]!r}" if len(first) else ""
            raise ValueError(f"column {name!r} holds no numbers{found}. Write it as numbers, for example 0 and 1.")
        numbers[name] = values
        notes += said
    return numbers, notes
