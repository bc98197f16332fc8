"""Stretches of a channel that are not what they seem: error codes, spikes, stuck and absent values."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from brewlog.logbook.layout import Column
from brewlog.logbook.records import TraceFault

LONG_GAP = 300.0
"""A longer stretch without a value is never bridged. [s]"""
ERROR_CODES = (85.0, -127.0, 127.0, -196.6, 999.0, 999.9, -999.0, 9999.0, -9999.0, 2047.0, 850.0)
"""Numbers that temperature sensors give in place of a temperature (common practice, no source)."""
JUMP = 5.0
"""A single value this far from both neighbours is a spike. [K]"""
STUCK = 1200.0
"""A sensor that stands still that long while another moves is stuck. [s]"""
OTHERS_MOVE = 4.0
"""How far another temperature must move meanwhile. [K]"""


def runs(mask: np.ndarray) -> Iterator[tuple[int, int]]:
    """First and last index of each run of True.

    Examples
    --------
    >>> [(int(a), int(b)) for a, b in runs(np.array([False, True, True, False, True]))]
    [(1, 2), (4, 4)]
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    yield from zip(edges[::2], edges[1::2] - 1, strict=True)


def clean_channel(elapsed: np.ndarray, values: np.ndarray, column: Column) -> tuple[np.ndarray, list[TraceFault]]:
    """Channel with error codes, impossible values and spikes left out, and what was found.

    Parameters
    ----------
    elapsed : numpy.ndarray, shape (n,)
        [s]
    values : numpy.ndarray, shape (n,)
        In the channel's canonical unit; NaN where missing.
    column : Column
        The channel.

    Returns
    -------
    tuple of numpy.ndarray and list of TraceFault
    """
    kept = values.copy()
    found: list[TraceFault] = []
    is_temp = column.unit == "degC"

    def leave_out(mask: np.ndarray, kind: str) -> None:
        for a, b in runs(mask):
            found.append(
                TraceFault(kind, column.name, float(elapsed[a]), float(elapsed[b]), int(b - a + 1), "left out")
            )
        kept[mask] = np.nan

    if is_temp:
        leave_out(_codes(kept), "error code")
    with np.errstate(invalid="ignore"):
        leave_out((kept < column.low) | (kept > column.high) | np.isinf(kept), "out of range")
    if is_temp and column.name != "set_temp":
        leave_out(_spikes(elapsed, kept), "spike")
    return kept, found


def _codes(values: np.ndarray) -> np.ndarray:
    """Values that equal an error code and stand apart from what surrounds them."""
    mask = np.zeros(len(values), dtype=bool)
    for code in ERROR_CODES:
        hits = np.isclose(values, code, atol=1e-6)
        for a, b in runs(hits):
            around = np.concatenate([values[max(0, a - 3) : a], values[b + 1 : b + 4]])
            around = around[np.isfinite(around)]
            if not (0.0 <= code <= 100.0) or (len(around) and np.min(np.abs(around - code)) > JUMP):
                mask[a : b + 1] = True
    return mask


def _spikes(elapsed: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Single values more than `JUMP` away from both neighbours, which themselves agree."""
    mask = np.zeros(len(values), dtype=bool)
    known = np.flatnonzero(np.isfinite(values))
    if len(known) < 3:
        return mask
    v, t = values[known], elapsed[known]
    before, here, after = v[:-2], v[1:-1], v[2:]
    close = (t[2:] - t[:-2]) < LONG_GAP
    apart = (
        (np.abs(here - before) > JUMP)
        & (np.abs(here - after) > JUMP)
        & (np.sign(here - before) == np.sign(here - after))
    )
    mask[known[1:-1][close & apart & (np.abs(before - after) < JUMP)]] = True
    return mask


def find_stuck(
    elapsed: np.ndarray, temps: dict[str, np.ndarray], columns: dict[str, Column]
) -> tuple[dict[str, np.ndarray], list[TraceFault]]:
    """Measured temperatures without the stretches in which a sensor stood still while another moved.

    Parameters
    ----------
    elapsed : numpy.ndarray, shape (n,)
        [s]
    temps : dict of str to numpy.ndarray
        Sensors by channel; NaN where missing. [degC]
    columns : dict of str to Column

    Returns
    -------
    tuple of dict and list of TraceFault
    """
    found: list[TraceFault] = []
    result = {name: values.copy() for name, values in temps.items()}
    for name, values in temps.items():
        same = np.zeros(len(values), dtype=bool)
        same[1:] = values[1:] == values[:-1]
        for a, b in runs(same):
            start = a - 1
            if elapsed[b] - elapsed[start] < STUCK:
                continue
            moves = [
                np.ptp(part)
                for other, series in temps.items()
                if other not in (name, "ambient_temp") and len(part := _finite(series[start : b + 1]))
            ]
            if moves and max(moves) > OTHERS_MOVE and name != "ambient_temp":
                found.append(
                    TraceFault("stuck", name, float(elapsed[start]), float(elapsed[b]), int(b - start + 1), "left out")
                )
                result[name][start : b + 1] = np.nan
    return result, found


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


def _finite(values: np.ndarray) -> np.ndarray:
    return values[np.isfinite(values)]
