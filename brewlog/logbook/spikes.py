"""Values of one channel that no sensor measured: error codes, impossible values, spikes, brief excursions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from brewlog.logbook.faults import JUMP, LONG_GAP, OUT_AT_MOST, finite, runs
from brewlog.logbook.layout import Column
from brewlog.logbook.records import TraceFault

ERROR_CODES = (85.0, -127.0, 127.0, -196.6, 999.0, 999.9, -999.0, 9999.0, -9999.0, 2047.0, 850.0)
"""Numbers that temperature sensors give in place of a temperature (common practice, no source)."""
LEAST_ROWS = 10
"""Rows in which nothing but one such number is no chance. [1]"""
WIDE_JUMP = 8.0
"""The same for two or three values. [K]"""
BRIEF = 120.0
"""Two or three values make a spike if what is around them lies this close. [s]"""
THROWN = 15.0
"""No sensor in wort moves that far from one row to the next, and back as suddenly. [K]"""
BACK = 8.0
"""How near a sensor must come to where it was before, for such an excursion. [K]"""
MOST_JUMPS = 20
"""Jumps among which the one back is looked for."""
AT_ONCE = 120.0
"""Longest step between two rows over which a jump is told from a slope. [s]"""


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

    if is_temp and column.name != "set_temp" and _one_code(kept):
        leave_out(np.isfinite(kept), "error code")
    if is_temp:
        leave_out(_codes(kept, (*ERROR_CODES, 0.0) if column.name != "set_temp" else ERROR_CODES), "error code")
    with np.errstate(invalid="ignore"):
        leave_out((kept < column.low) | (kept > column.high) | np.isinf(kept), "out of range")
    if is_temp and column.name != "set_temp":
        leave_out(_spikes(elapsed, kept), "spike")
        leave_out(_excursions(elapsed, kept), "excursion")
    return kept, found


def _one_code(values: np.ndarray) -> bool:
    """True for a sensor that shows the same error code, or 0.0, from the first row to the last: none is connected."""
    known = finite(values)
    return len(known) >= LEAST_ROWS and bool((known == known[0]).all()) and float(known[0]) in (*ERROR_CODES, 0.0)


def _codes(values: np.ndarray, codes: Sequence[float]) -> np.ndarray:
    """Values that equal an error code and stand apart from what surrounds them."""
    mask = np.zeros(len(values), dtype=bool)
    hit = np.isin(np.round(values, 6), codes)
    for code in codes if hit.any() else ():
        hits = hit & (np.abs(values - code) < 1e-3)
        for a, b in runs(hits):
            around = np.concatenate([values[max(0, a - 3) : a], values[b + 1 : b + 4]])
            around = around[np.isfinite(around)]
            if not (0.0 <= code <= 100.0) or (len(around) and np.min(np.abs(around - code)) > JUMP):
                mask[a : b + 1] = True
    return mask


def _spikes(elapsed: np.ndarray, values: np.ndarray) -> np.ndarray:
    """One to three values more than `JUMP` away from both neighbours, which themselves agree."""
    mask = np.zeros(len(values), dtype=bool)
    known = np.flatnonzero(np.isfinite(values))
    v, t = values[known], elapsed[known]
    for width, jump in ((1, JUMP), (2, WIDE_JUMP), (3, WIDE_JUMP)):
        if len(known) < width + 2:
            continue
        before, after = v[: -width - 1], v[width + 1 :]
        inside = np.stack([v[1 + k : len(v) - width + k] for k in range(width)])
        up = (inside > np.maximum(before, after) + jump).all(axis=0)
        down = (inside < np.minimum(before, after) - jump).all(axis=0)
        brief = (t[width + 1 :] - t[: -width - 1]) < (LONG_GAP if width == 1 else BRIEF)
        for start in np.flatnonzero((up | down) & brief & (np.abs(before - after) < JUMP)):
            mask[known[start + 1 : start + 1 + width]] = True
    return mask


def _excursions(elapsed: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Stretches of up to half an hour between two jumps of `THROWN` or more from one row to the next, out and back."""
    mask = np.zeros(len(values), dtype=bool)
    known = np.flatnonzero(np.isfinite(values))
    v, t = values[known], elapsed[known]
    steps = np.diff(v)
    jumps = np.flatnonzero((np.abs(steps) >= THROWN) & (np.diff(t) <= AT_ONCE))
    done = -1
    for place, out in enumerate(jumps.tolist()):
        if out <= done:
            continue
        for back in jumps[place + 1 : place + 1 + MOST_JUMPS].tolist():
            if t[back + 1] - t[out] > OUT_AT_MOST:
                break
            inside = v[out + 1 : back + 1]
            if abs(v[back + 1] - v[out]) <= BACK and np.abs(inside - v[out]).min() >= BACK:
                mask[known[out + 1 : back + 1]] = True
                done = back
                break
    return mask
