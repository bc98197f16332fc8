"""Stretches of a trace without rows or without values, and what the searches for faults share."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from brewlog.logbook.layout import Column
from brewlog.logbook.records import TraceFault

LONG_GAP = 300.0
"""A longer stretch without a value is never bridged. [s]"""
JUMP = 5.0
"""A single value this far from both neighbours is a spike. [K]"""
OUT_AT_MOST = 1800.0
"""A probe that stays out longer is not told from a bed that was cooled. [s]"""


def runs(mask: np.ndarray) -> Iterator[tuple[int, int]]:
    """First and last index of each run of True.

    Examples
    --------
    >>> [(int(a), int(b)) for a, b in runs(np.array([False, True, True, False, True]))]
    [(1, 2), (4, 4)]
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    yield from zip(edges[::2], edges[1::2] - 1, strict=True)


def find_absent(elapsed: np.ndarray, values: np.ndarray, column: Column) -> list[TraceFault]:
    """Stretches of over 5 min without a value of a channel, between its first and its last."""
    known = np.flatnonzero(np.isfinite(values))
    if len(known) < 2:
        return []
    steps = np.diff(elapsed[known])
    found = []
    for k in np.flatnonzero(steps > LONG_GAP):
        rows = int(known[k + 1] - known[k] - 1)
        if rows:  # without rows it is a gap of the whole trace
            found.append(
                TraceFault(
                    "dropout", column.name, float(elapsed[known[k]]), float(elapsed[known[k + 1]]), rows, "not bridged"
                )
            )
    return found


def find_gaps(elapsed: np.ndarray) -> list[TraceFault]:
    """Stretches of over 5 min without any row."""
    steps = np.diff(elapsed)
    return [
        TraceFault("gap", None, float(elapsed[k]), float(elapsed[k + 1]), 0, "not bridged")
        for k in np.flatnonzero(steps > LONG_GAP)
    ]


def finite(values: np.ndarray) -> np.ndarray:
    """Those of some values that are finite."""
    return values[np.isfinite(values)]
