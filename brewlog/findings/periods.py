"""Periods of a brew table: by control sensor, by dates, by any condition on the rows."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

import numpy as np
import pandas as pd


def select(table: pd.DataFrame, period: Any, name: str) -> tuple[np.ndarray, str]:
    """Rows of the table that belong to a period, and the period in words.

    Raises
    ------
    ValueError
        If the period is neither a control word, nor a range of dates, nor a condition on the rows.
    """
    expected = "expected 'base' or 'mash', a range of dates (start, end), or a true/false Series over the table's rows"
    if isinstance(period, str):
        if period not in ("base", "mash"):
            raise ValueError(f"{name} is {period!r}; {expected}.")
        if "control" not in table.columns:
            raise ValueError(f"{name} is {period!r}, but the table has no column 'control'; {expected}.")
        return (table["control"] == period).fillna(False).to_numpy(dtype=bool), f"{period} control"
    if isinstance(period, pd.Series):
        if period.dtype != bool and str(period.dtype) != "boolean":
            raise ValueError(f"{name} is a Series of {period.dtype}; {expected}.")
        values = period.reindex(table.index) if table.index.is_unique and period.index.is_unique else period
        if len(values) != len(table):
            raise ValueError(f"{name} has {len(values)} rows and the table {len(table)}; {expected}.")
        return values.fillna(False).to_numpy(dtype=bool), f"{name} ({int(values.sum())} brews)"
    if isinstance(period, np.ndarray) and period.dtype == bool:
        if period.shape != (len(table),):
            raise ValueError(f"{name} has shape {period.shape} and the table {len(table)} rows; {expected}.")
        return period, f"{name} ({int(period.sum())} brews)"
    if isinstance(period, Sequence) and len(period) == 2:
        return _between(table, period, name, expected)
    raise ValueError(f"{name} is {period!r}; {expected}.")


def _between(table: pd.DataFrame, period: Sequence[Any], name: str, expected: str) -> tuple[np.ndarray, str]:
    if "date" not in table.columns:
        raise ValueError(f"{name} is a range of dates, but the table has no column 'date'; {expected}.")
    dates = pd.to_datetime(table["date"], errors="coerce")
    mask = dates.notna().to_numpy(copy=True)
    ends = []
    for k, end in enumerate(period):
        if end is None:
            ends.append("")
            continue
        if not isinstance(end, str | date | datetime | np.datetime64):
            raise ValueError(f"{name} is {period!r}; {expected}.")
        try:
            stamp = pd.Timestamp(end)
        except ValueError:
            raise ValueError(f"{name} holds {end!r}, which is no date; {expected}.") from None
        mask &= (dates >= stamp).to_numpy() if k == 0 else (dates <= stamp).to_numpy()
        ends.append(stamp.date().isoformat())
    start, stop = ends
    if not start and not stop:
        return mask, "all dates"
    return mask, f"{start} to {stop}" if start and stop else (f"since {start}" if start else f"up to {stop}")
