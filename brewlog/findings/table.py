"""`brew_table`: one row per brew, with a reason for every empty cell."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from brewlog.findings.brew_row import COLUMNS, brew_row
from brewlog.quantities import names

if TYPE_CHECKING:
    from brewlog.findings.brew_day import BrewDay
    from brewlog.logbook import Logbook
    from brewlog.rig import RigFit

WORDS = (
    "brew",
    "rig",
    "control",
    "control_from",
    "hold_from",
    "programme",
    "changes",
    "pair",
    "changed_since",
    "instruments",
    "missing",
)
WATCHED = ("control", "mill_gap", "thickness", "grist", "malt_extract", "mash_time", "sparge")
"""Columns whose change since the brew before is named, with what counts as a change in `NOTABLE`."""
NOTABLE: Mapping[str, float] = {
    "mill_gap": 0.02,
    "thickness": 0.3,
    "grist": 0.1,
    "malt_extract": 0.5,
    "mash_time": 8.0,
    "sparge": 0.1,
}
"""Least change that is named; of grist and sparge as a share of the value before."""


def brew_table(
    book: Logbook, fits: Mapping[str, RigFit] | None = None, days: Mapping[str, BrewDay] | None = None
) -> pd.DataFrame:
    """One row per brew: efficiencies and holds with their uncertainty, settings, what changed, what is missing and why.

    Parameters
    ----------
    book : Logbook
        From `read_logbook`.
    fits : mapping of str to RigFit, optional
        Constants by label of the rig; every rig is calibrated where not given. They give a tightness to brews without a
        probe in the bed. A rig that cannot be calibrated costs only that.
    days : mapping of str to BrewDay, optional
        Brew days by label that were worked out with these constants already; the others are worked out here.

    Returns
    -------
    pandas.DataFrame
        In the order of the logbook; `COLUMNS`, with the brewer's own columns before `missing`. Empty cells are NaN (or
        empty text); `missing` holds `columns: reason` for all of them, joined by `; `. `.attrs["units"]` maps column
        to unit.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> brew_table(SimpleNamespace(brews={}, rigs={}), fits={}).shape[0]
    0
    """
    reasons: dict[str, str] = {}
    if fits is None:
        fits = _calibrate_all(book, reasons)
    known_days = {} if days is None else days
    rows = [brew_row(book, brew, fits, reasons, known_days.get(label)) for label, brew in book.brews.items()]
    own = list(dict.fromkeys(name for brew in book.brews.values() for name in brew.own if name not in COLUMNS))
    table = pd.DataFrame(rows, columns=[*COLUMNS[:-1], *own, COLUMNS[-1]])
    table["date"] = pd.to_datetime(table["date"])
    for name in COLUMNS:
        if name != "date" and name not in WORDS:
            table[name] = table[name].astype(float)
    for name in own:
        numbers = pd.to_numeric(table[name], errors="coerce")
        if numbers.notna().sum() == table[name].notna().sum():
            table[name] = numbers.astype(float)
    table["changed_since"] = _changed_since(table)
    known = names()
    units = {}
    for name in table.columns:
        base = name.removesuffix("_sd")
        units[name] = known[name].unit if name in known else known[base].unit if base in known else ""
    table.attrs["units"] = units
    return table


def _calibrate_all(book: Logbook, reasons: dict[str, str]) -> dict[str, Any]:
    from brewlog.rig import calibrate

    fits = {}
    for label in book.rigs:
        try:
            fits[label] = calibrate(book, label)
        except ValueError as error:
            reasons[label] = f"rig not calibrated: {error}"
    return fits


def _changed_since(table: pd.DataFrame) -> list[str]:
    """What changed since the brew before on the same rig, in words."""
    texts = [""] * len(table)
    order = table["date"].argsort(kind="stable") if table["date"].notna().all() else range(len(table))
    last: dict[str, int] = {}
    for row in order:
        rig = str(table["rig"].iloc[row])
        if rig in last:
            texts[row] = "; ".join(_differences(table.iloc[last[rig]], table.iloc[row]))
        last[rig] = int(row)
    return texts


def _differences(before: pd.Series, after: pd.Series) -> list[str]:
    found = []
    for name in WATCHED:
        old, new = before[name], after[name]
        if name == "control":
            if old and new and old != new:
                found.append(f"control {old} to {new}")
            continue
        least = NOTABLE[name] * (old if name in ("grist", "sparge") else 1.0)
        if np.isfinite(old) and np.isfinite(new) and abs(new - old) > least + 1e-9:
            found.append(f"{name} {old:.3g} to {new:.3g}")
    return found
