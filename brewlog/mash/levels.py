"""Stretches at one temperature, of the controller's target or of a sensor, matched with the plan's rests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from brewlog.logbook.records import Rest
from brewlog.mash.samples import MAX_GAP, smooth

SAME_SETTING = 0.25
"""Two settings closer than this are one. [K]"""

SHORTEST_LEVEL = 120.0
"""A setting kept for less than this is a step on the way, or a slip. [s]"""

MATCH_LIMIT = 3.0
"""A level further than this from a planned rest is not that rest. [K]"""

_FLAT = 0.15 / 60
_SHORTEST_PLATEAU = 240.0
_WINDOW = 180.0


@dataclass(frozen=True, slots=True)
class Level:
    """A stretch at one temperature."""

    temp: float
    """[degC]"""
    start: float
    """[s]"""
    end: float
    """When the next level is asked for, or the last sample. [s]"""


def _join(levels: Sequence[Level], same: float) -> list[Level]:
    joined: list[Level] = []
    for level in levels:
        if joined and abs(joined[-1].temp - level.temp) <= same:
            joined[-1] = replace(joined[-1], end=level.end)
        else:
            joined.append(level)
    return joined


def set_levels(elapsed: np.ndarray, setting: np.ndarray) -> tuple[Level, ...]:
    """Levels of the controller's target.

    A level ends where the target leaves it, so a target that is raised little by little gives a level, a gap between
    levels, and the next level. Settings kept for less than two minutes are no levels; where the old setting comes back
    after one, the level goes on. A change hidden in a gap of more than five minutes ends the old level before the gap
    and starts the new one behind it.

    Parameters
    ----------
    elapsed, setting : numpy.ndarray, shape (n,)
        Known samples of the target. [s], [degC]

    Returns
    -------
    tuple of Level

    Examples
    --------
    >>> times = np.arange(0.0, 601.0, 60.0)
    >>> set_levels(times, np.where(times < 300, 64.0, 71.0))
    (Level(temp=64.0, start=0.0, end=300.0), Level(temp=71.0, start=300.0, end=600.0))
    """
    if elapsed.size == 0:
        return ()
    pieces: list[Level] = []
    first = 0
    for k in range(1, elapsed.size + 1):
        if k < elapsed.size and abs(setting[k] - setting[first]) <= SAME_SETTING:
            continue
        last = min(k, elapsed.size - 1)
        end = elapsed[last] if elapsed[last] - elapsed[k - 1] <= MAX_GAP else elapsed[k - 1]
        pieces.append(Level(float(setting[first]), float(elapsed[first]), float(end)))
        first = k
    return tuple(_join([level for level in pieces if level.end - level.start >= SHORTEST_LEVEL], SAME_SETTING))


def _slopes(elapsed: np.ndarray, values: np.ndarray, window: float) -> np.ndarray:
    left = np.interp(elapsed - window / 2, elapsed, values)
    right = np.interp(elapsed + window / 2, elapsed, values)
    span = np.minimum(elapsed + window / 2, elapsed[-1]) - np.maximum(elapsed - window / 2, elapsed[0])
    return (right - left) / np.maximum(span, 1.0)


def plateaus(elapsed: np.ndarray, values: np.ndarray) -> tuple[Level, ...]:
    """Levels of a temperature that keeps still, for days on which the controller's target was not logged.

    A plateau moves by less than 0.15 K/min (of the moving mean over three minutes) for four minutes or more; its
    temperature is the median. A plateau's `end` is the end of the still stretch, not the moment of the next change.

    Parameters
    ----------
    elapsed, values : numpy.ndarray, shape (n,)
        Known samples of a temperature. [s], [degC]

    Returns
    -------
    tuple of Level

    Examples
    --------
    >>> times = np.arange(0.0, 3000.0, 10.0)
    >>> temps = np.interp(times, [0, 1200, 1800, 3000], [64, 64, 71, 71])
    >>> [level.temp for level in plateaus(times, temps)]
    [64.0, 71.0]
    """
    if elapsed.size < 3:
        return ()
    even = smooth(elapsed, values, _WINDOW, "mean")
    still = np.abs(_slopes(elapsed, even, _WINDOW)) < _FLAT
    still[1:] &= np.diff(elapsed) <= MAX_GAP
    edges = np.flatnonzero(np.diff(np.concatenate([[0], still.astype(int), [0]])))
    found = []
    for first, stop in zip(edges[::2], edges[1::2], strict=True):
        level = Level(float(np.median(values[first:stop])), float(elapsed[first]), float(elapsed[stop - 1]))
        if level.end - level.start >= _SHORTEST_PLATEAU / 2:
            found.append(level)
    return tuple(level for level in _join(found, 0.7) if level.end - level.start >= _SHORTEST_PLATEAU)


def planned_levels(elapsed: np.ndarray, values: np.ndarray, rests: Sequence[Rest]) -> tuple[Level, ...]:
    """Levels of the controlling sensor at the planned rest temperatures, where the target was not logged.

    A level begins where the sensor first comes within 0.5 K of the next planned temperature and then stays within
    1.6 K for six minutes; a rest that it only passes through is skipped. It ends where the sensor last was within
    0.5 K before the next level.

    Parameters
    ----------
    elapsed, values : numpy.ndarray, shape (n,)
        Known samples of the controlling sensor, from mash-in to the lift. [s], [degC]
    rests : sequence of Rest
        In order of the day.

    Returns
    -------
    tuple of Level

    Examples
    --------
    >>> times = np.arange(0.0, 3600.0, 30.0)
    >>> temps = np.interp(times, [0, 1200, 1800, 3600], [63, 63, 71, 71])
    >>> plan = [Rest("1", 1, 63.0), Rest("1", 2, 67.0), Rest("1", 3, 71.0)]
    >>> [(level.temp, level.start) for level in planned_levels(times, temps, plan)]
    [(63.0, 0.0), (71.0, 1770.0)]
    """
    even = smooth(elapsed, values, 60.0)
    begun: list[tuple[Rest, float]] = []
    for rest in rests:
        off = np.abs(even - rest.temp)
        near = np.flatnonzero((off <= 0.5) & (elapsed >= (begun[-1][1] if begun else -np.inf)))
        held = next((k for k in near if _stays(elapsed, off, k)), None)
        if held is not None:
            begun.append((rest, float(elapsed[held])))
    levels = []
    for k, (rest, start) in enumerate(begun):
        stop = begun[k + 1][1] if k + 1 < len(begun) else np.inf
        near = elapsed[(np.abs(even - rest.temp) <= 0.5) & (elapsed >= start) & (elapsed < stop)]
        levels.append(Level(rest.temp, start, float(near[-1]) if near.size else start))
    return tuple(levels)


def _stays(elapsed: np.ndarray, off: np.ndarray, k: Any) -> bool:
    ahead = (elapsed >= elapsed[k]) & (elapsed <= elapsed[k] + 360.0)
    return bool((off[ahead] <= 1.6).mean() > 0.9 and ahead.sum() >= 3)


def match_levels(levels: Sequence[Level], rests: Sequence[Rest], shift: float = 0.0) -> dict[int, int]:
    """Match levels with planned rests, by temperature and in order.

    A rest that was skipped and a level that nobody planned stay without a partner.

    Parameters
    ----------
    levels : sequence of Level
        In order of time.
    rests : sequence of Rest
        In order of the day.
    shift : float
        How far the levels are expected to stand above the rest temperatures. [K]

    Returns
    -------
    dict of int to int
        Index of a level to index of its rest.

    Notes
    -----
    The alignment that keeps the order and has the least sum of costs: the difference of the temperatures for a pair,
    less up to 0.3 K for the length of the level (of two levels about equally near the longer one is taken); half of
    `MATCH_LIMIT` for each level and each rest that stays alone.

    Examples
    --------
    >>> plan = [Rest("1", 1, 63.0), Rest("1", 2, 66.0), Rest("1", 3, 72.0)]
    >>> match_levels([Level(63.2, 0, 900), Level(72.0, 1500, 3000)], plan)
    {0: 0, 1: 2}
    """
    alone = MATCH_LIMIT / 2
    best = np.zeros((len(levels) + 1, len(rests) + 1))
    best[:, 0] = alone * np.arange(len(levels) + 1)
    best[0, :] = alone * np.arange(len(rests) + 1)
    longest = max((level.end - level.start for level in levels), default=1.0) or 1.0

    def cost(i: int, j: int) -> float:
        apart = abs(levels[i].temp - shift - rests[j].temp)
        return apart - 0.3 * (levels[i].end - levels[i].start) / longest if apart < MATCH_LIMIT else np.inf

    for i in range(1, len(levels) + 1):
        for j in range(1, len(rests) + 1):
            best[i, j] = min(best[i - 1, j - 1] + cost(i - 1, j - 1), best[i - 1, j] + alone, best[i, j - 1] + alone)
    pairs: dict[int, int] = {}
    i, j = len(levels), len(rests)
    while i and j:
        if np.isclose(best[i, j], best[i - 1, j - 1] + cost(i - 1, j - 1)):
            i, j = i - 1, j - 1
            pairs[i] = j
        elif np.isclose(best[i, j], best[i - 1, j] + alone):
            i -= 1
        else:
            j -= 1
    return dict(sorted(pairs.items()))
