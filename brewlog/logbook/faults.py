"""Stretches of a channel that are not what they seem: error codes, spikes, stuck and absent values."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from brewlog.logbook.layout import Column
from brewlog.logbook.records import TraceFault

LONG_GAP = 300.0
"""A longer stretch without a value is never bridged. [s]"""
ERROR_CODES = (85.0, -127.0, 127.0, -196.6, 999.0, 999.9, -999.0, 9999.0, -9999.0, 2047.0, 850.0)
"""Numbers that temperature sensors give in place of a temperature (common practice, no source)."""
LEAST_ROWS = 10
"""Rows in which nothing but one such number is no chance. [1]"""
JUMP = 5.0
"""A single value this far from both neighbours is a spike. [K]"""
WIDE_JUMP = 8.0
"""The same for two or three values. [K]"""
BRIEF = 120.0
"""Two or three values make a spike if what is around them lies this close. [s]"""
STUCK = 1200.0
"""A sensor that stands still that long while another moves is stuck. [s]"""
OTHERS_MOVE = 4.0
"""How far another temperature must move meanwhile, at least. [K]"""
STEPS_MOVE = 20.0
"""The same in steps of the sensor's own resolution: one that shows whole degrees may well stand still. [1]"""
WARM = 30.0
"""A probe colder than this from the start on lies on the bench and may stand still. [degC]"""
THROWN = 15.0
"""No sensor in wort moves that far from one row to the next, and back as suddenly. [K]"""
BACK = 8.0
"""How near a sensor must come to where it was before, for such an excursion. [K]"""
MOST_JUMPS = 20
"""Jumps among which the one back is looked for."""
AT_ONCE = 120.0
"""Longest step between two rows over which a jump is told from a slope. [s]"""
FINE, FROZEN_JUMP = 0.2, 1.0
"""Resolution of sensors that never stand still together, and the least jump after they seemed to. [K]"""
PULLED = 8.0
"""A fall of a bed probe by this much, and back, faster than any bed can. [K]"""
QUICK = 180.0
"""How fast a probe falls that is pulled out, and comes back when it is put in again. [s]"""
OUT_AT_MOST = 1800.0
"""A probe that stays out longer is not told from a bed that was cooled. [s]"""
FALLBACK_NEAR = 0.8
"""How near its target the base lies while it is what the controller follows. [K]"""
FALLBACK_FAR = 1.5
"""How far ahead of the target the base was before, at least. [K]"""
FALLBACK_HELD = 0.4
"""The same where the brewer says that the controller follows the bed: the base then has no reason to stay so near."""


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
    known = _finite(values)
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


def find_stuck(elapsed: np.ndarray, sensors: dict[str, np.ndarray]) -> list[TraceFault]:
    """Stretches in which a sensor in warm wort stood still while another moved.

    Parameters
    ----------
    elapsed : numpy.ndarray, shape (n,)
        [s]
    sensors : dict of str to numpy.ndarray
        Sensors of base and bed by channel; NaN where missing. [degC]

    Returns
    -------
    list of TraceFault
    """
    found: list[TraceFault] = []
    for name, values in sensors.items():
        others = [series for other, series in sensors.items() if other != name]
        same = np.zeros(len(values), dtype=bool)
        same[1:] = values[1:] == values[:-1]
        least = max(OTHERS_MOVE, STEPS_MOVE * _resolution(values))
        for last, end in runs(same):
            start = last - 1
            if elapsed[end] - elapsed[start] < STUCK:
                continue
            if values[start] <= WARM and not _was_alive(values, start, end):
                continue
            moves = [_movement(part) for series in others if len(part := _finite(series[start : end + 1]))]
            if moves and max(moves) > least:
                rows = int(end - start + 1)
                found.append(TraceFault("stuck", name, float(elapsed[start]), float(elapsed[end]), rows, "left out"))
    return found


def find_frozen(elapsed: np.ndarray, sensors: dict[str, np.ndarray]) -> list[TraceFault]:
    """Stretches in which all of several sensors stood still together, and one then jumped: the logger hung.

    Parameters
    ----------
    elapsed : numpy.ndarray, shape (n,)
        [s]
    sensors : dict of str to numpy.ndarray
        By channel; NaN where missing. [degC]

    Returns
    -------
    list of TraceFault
    """
    if len(sensors) < 2 or any(_resolution(values) > FINE for values in sensors.values()):
        return []
    found = []
    same = np.zeros(len(elapsed), dtype=bool)
    same[1:] = np.all([values[1:] == values[:-1] for values in sensors.values()], axis=0)
    for first, end in runs(same):
        start = first - 1
        if elapsed[end] - elapsed[start] < STUCK or end + 1 >= len(elapsed):
            continue
        jumps = [abs(values[end + 1] - values[end]) for values in sensors.values()]
        if max(jumps) > FROZEN_JUMP and all(_was_alive(values, start, end) for values in sensors.values()):
            rows = int(end - start)  # the first row was measured
            span = float(elapsed[start + 1]), float(elapsed[end])
            found += [TraceFault("stuck", name, *span, rows, "left out") for name in sensors]
    return found


def _was_alive(values: np.ndarray, start: int, end: int) -> bool:
    """True where a sensor moved before it stood still, or never moved at all."""
    before = np.unique(_finite(values[:start]))
    return len(before) >= 4 or end - start + 1 >= 0.9 * np.isfinite(values).sum()


def _resolution(values: np.ndarray) -> float:
    """Smallest step between values of a sensor."""
    steps = np.diff(np.unique(np.round(_finite(values), 6)))
    return float(steps.min()) if len(steps) else 1.0  # one value alone tells nothing: whole degrees, to be careful


def _movement(values: np.ndarray) -> float:
    """How far a temperature moved, not counting that its sensor was put elsewhere."""
    steps = np.diff(values)
    return float(np.ptp(np.cumsum(np.where(np.abs(steps) > JUMP, 0.0, steps)))) if len(steps) else 0.0


def find_probe_out(elapsed: np.ndarray, values: np.ndarray, name: str) -> list[TraceFault]:
    """Stretches in which a bed probe was out of the bed: it fell and came back faster than any bed can.

    A fall of 8 K or more within 3 min, and a return by at least 0.7 of it within 3 min, at most half an hour later.

    Parameters
    ----------
    elapsed : numpy.ndarray, shape (n,)
        [s]
    values : numpy.ndarray, shape (n,)
        NaN where missing. [degC]
    name : str
        Channel.

    Returns
    -------
    list of TraceFault
    """
    known = _one_a_second(elapsed, np.flatnonzero(np.isfinite(values)))
    t, v = elapsed[known], values[known]
    found: list[TraceFault] = []
    k = 0
    falls = np.flatnonzero(v - _lowest_ahead(t, v) >= PULLED) if len(v) else np.array([], dtype=int)
    for first in falls:
        if first < k:
            continue
        last = int(np.searchsorted(t, t[first] + OUT_AT_MOST, "right"))
        level = v[first]
        back = np.flatnonzero(v[first + 1 : last] >= level - 0.3 * PULLED) + first + 1
        low = v[first + 1 : last].min(initial=level)
        if not len(back) or level - low < PULLED:
            continue
        end = int(back[0])
        before = np.searchsorted(t, t[end] - QUICK, "left")
        if end - first < 2 or v[end] - v[before:end].min(initial=v[end]) < 0.7 * (level - low):
            continue
        a, b = int(known[first + 1]), int(known[end - 1])
        found.append(TraceFault("probe out", name, float(elapsed[a]), float(elapsed[b]), b - a + 1, "left out"))
        k = end
    return found


def _one_a_second(elapsed: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Those of some rows that are the first of their second: a bed does nothing faster."""
    seconds = np.floor(elapsed[known])
    return known[np.flatnonzero(np.diff(seconds, prepend=-np.inf))] if len(known) else known


def _lowest_ahead(t: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Lowest value within `QUICK` from each row on."""
    backwards = pd.Series(v[::-1], index=pd.to_timedelta(t[-1] - t[::-1], unit="s"))
    return backwards.rolling(f"{QUICK:.0f}s", closed="both").min().to_numpy()[::-1]


def find_fallback(
    elapsed: np.ndarray, mash: np.ndarray, base: np.ndarray, target: np.ndarray, follows: str | None = None
) -> list[TraceFault]:
    """Dropouts of the bed probe of 2 min or more in which the base was held where the bed was before.

    Parameters
    ----------
    elapsed : numpy.ndarray, shape (n,)
        [s]
    mash, base, target : numpy.ndarray, shape (n,)
        Bed, base and set temperature. [degC]
    follows : str, optional
        Sensor that the controller follows as the brewer says, `mash` or `base`.

    Returns
    -------
    list of TraceFault
    """
    found: list[TraceFault] = []
    if follows == "base":
        return found
    ahead = base - target
    for a, b in runs(np.isnan(mash)):
        if a == 0 or b == len(mash) - 1 or elapsed[b] - elapsed[a] < 120.0:
            continue
        late = _finite(ahead[a + (b - a) // 2 : b + 1])  # the base takes a while to come down
        before = _finite(ahead[(elapsed >= elapsed[a] - 600.0) & (elapsed < elapsed[a])])
        if not len(late) or not len(before) or abs(late.mean()) >= FALLBACK_NEAR:
            continue
        held = follows == "mash" and len(late) >= 4 and np.abs(late).max() < FALLBACK_HELD
        if held or before.mean() > FALLBACK_FAR:
            span = (float(elapsed[a]), float(elapsed[b]))
            action = "the controller seems to have followed the base meanwhile"
            found.append(TraceFault("control fallback", "base_temp", *span, int(b - a + 1), action))
    return found


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
