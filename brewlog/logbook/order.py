"""Rows of a trace in the order of time: restarts, clocks set back, stray and repeated rows."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from brewlog.logbook.records import TraceFault
from brewlog.logbook.telling import Teller

HOUR = 3600.0
FAR = 3 * 86400.0
"""A row that far from the day's middle belongs to another day. [s]"""
BLOCK = 4
"""Rows that run on from a set-back time make a restart; fewer are stray rows."""
MOST_RESTARTS = 50
OWN = "own: "
"""Before the names of columns of the brewer's own: they have no say in what a row is."""
REPEATED = 0.8
"""Share of the rows of times that were read already that must be the very same, values and all, for a repeat. [1]"""
COARSE = 0.4
"""Share of repeated times from which a clock is coarser than the rows. [1]"""


@dataclass(frozen=True)
class Told:
    """A fault with its place in a file."""

    fault: TraceFault
    line: int
    lost: bool
    """True where values were left out."""
    written: str | None = None
    """Column as the brewer wrote it; None where the row as a whole is meant."""


def usual_step(times: np.ndarray) -> float:
    """Middle step of times that run on. [s]"""
    steps = np.diff(times)
    steps = steps[steps > 0]
    return float(np.median(steps)) if len(steps) else 1.0


def drop_strays(times: np.ndarray, lines: np.ndarray, column: str, tell: Teller) -> np.ndarray:
    """Mask of the rows whose time lies within the day; the few others are reported."""
    known = np.isfinite(times)
    if known.sum() < 3:
        return known
    far = known & (np.abs(times - np.median(times[known])) > FAR)
    if not far.any() or far.sum() > 0.1 * known.sum():
        return known
    far &= ~_runs_on(times, far)
    if not far.any():
        return known
    places = np.flatnonzero(far)
    found = f"{len(places)} {'rows' if len(places) > 1 else 'row'} of another day"
    tell.problem(int(lines[places[0]]), column, found, "times within the brew day", "these rows are left out")
    return known & ~far


def _runs_on(times: np.ndarray, far: np.ndarray) -> np.ndarray:
    """Mask of the rows of another day that follow each other as those of the day do: the clock was reset."""
    mask = np.zeros(len(times), dtype=bool)
    usual = usual_step(times[np.isfinite(times)])
    edges = np.flatnonzero(np.diff(np.concatenate([[0], far.astype(int), [0]])))
    for start, end in edges.reshape(-1, 2):
        steps = np.diff(times[start:end])
        mask[start:end] = end - start >= BLOCK and bool(((steps >= 0) & (steps < HOUR + usual)).all())
    return mask


def summer_time(
    seconds: np.ndarray, lines: np.ndarray, column: str, tell: Teller
) -> tuple[np.ndarray, tuple[tuple[float, float], ...]]:
    """Wall-clock times across a change to or from summer time, made to run on evenly.

    The clock jumps at a full hour of the night, by one hour, between rows that otherwise follow each other; going
    forward only in the night of a Sunday, when clocks do change (IANA time zone data: rules of Europe and America).

    Parameters
    ----------
    seconds : numpy.ndarray, shape (n,)
        By the wall clock, since 1970. [s]
    lines : numpy.ndarray of int
    column : str
    tell : Teller

    Returns
    -------
    tuple of numpy.ndarray, shape (n,), and tuple of (seconds, seconds)
        The times, and from when on which difference of the wall clock from them holds; empty where it is none.
    """
    if len(seconds) < 3:
        return seconds, ()
    usual = usual_step(seconds)
    slack = max(2.0, 1.5 * usual)
    steps = np.diff(seconds)
    result = seconds.copy()
    changed: list[int] = []
    for k in np.flatnonzero(np.abs(steps + HOUR - usual) < slack) + 1:
        result[k:] += HOUR
        changed.append(int(k))
        cost = "read as the end of summer time, the day runs on"
        tell.note(int(lines[k]), column, "a clock set back by one hour", "times that run on", cost)
    for k in np.flatnonzero(np.abs(steps - HOUR - usual) < min(slack, 60.0)) + 1:
        before = pd.Timestamp(float(seconds[k - 1]), unit="s")
        to_the_hour = HOUR - (before.minute * 60 + before.second)
        if before.weekday() == 6 and before.month in (3, 4, 9, 10, 11) and before.hour < 3 and to_the_hour <= slack:
            result[k:] -= HOUR
            changed.append(int(k))
            cost = "read as the start of summer time, the day runs on"
            tell.note(int(lines[k]), column, "a clock set forward by one hour", "times that run on", cost)
    zones = [(float(result[0]), 0.0)] + [(float(result[k]), float(seconds[k] - result[k])) for k in sorted(changed)]
    return result, tuple(zones) if changed else ()


def in_order(frame: pd.DataFrame, key: str) -> tuple[pd.DataFrame, list[Told]]:
    """Rows in order of time, each time once.

    A block of rows whose times overlap earlier ones is a restart: it is taken to follow on. A block that is only
    misplaced, and stray rows, are put in their place. Rows of one time are repeats, or, where most are so, belong
    to a clock coarser than the rows and are spread evenly.

    Parameters
    ----------
    frame : pandas.DataFrame
        Column `key` [s], `line`, and the channels.
    key : str

    Returns
    -------
    tuple of pandas.DataFrame and list of Told
    """
    told: list[Told] = []
    times = frame[key].to_numpy(dtype=float).copy()
    lines = frame["line"].to_numpy(dtype=int)
    if len(times) > 2 and (np.diff(times) <= 0).all() and times[0] > times[-1]:
        fault = TraceFault("newest first", None, 0.0, float(times[0] - times[-1]), len(times), "turned round")
        told.append(Told(fault, int(lines[0]), False))
        frame = frame.iloc[::-1].reset_index(drop=True)
        times, lines = times[::-1].copy(), lines[::-1]
    back = np.flatnonzero(np.diff(times) < 0) + 1
    if len(back):
        if len(back) <= MOST_RESTARTS:
            frame, times, lines = _follow_on(frame, key, times, lines, back, told)
        frame = frame.assign(**{key: times})
        back = np.flatnonzero(np.diff(times) < 0) + 1
        if len(back):
            start, end = times[back[0]] - times.min(), times[back[-1]] - times.min()
            late = int((times < np.maximum.accumulate(times)).sum())
            fault = TraceFault("out of order", None, float(start), float(max(start, end)), late, "put in order")
            told.append(Told(fault, int(lines[back[0]]), False))
            frame = frame.sort_values(key, kind="stable")
    return _each_once(frame.reset_index(drop=True), key, told)


def _follow_on(
    frame: pd.DataFrame, key: str, times: np.ndarray, lines: np.ndarray, back: np.ndarray, told: list[Told]
) -> tuple[pd.DataFrame, np.ndarray, np.ndarray]:
    usual = usual_step(times)
    edges = [0, *back.tolist(), len(times)]
    kept = np.ones(len(times), dtype=bool)
    done = np.sort(times[: edges[1]])
    for start, end in pairwise(edges[1:]):
        block = times[start:end]
        inside = np.searchsorted(done, block[-1], "right") - np.searchsorted(done, block[0], "left")
        if end - start >= BLOCK and inside > 1:
            again = _seen_before(frame, key, start, end) & (block <= done.max())
            if again.sum() >= REPEATED * (block <= done.max()).sum():
                kept[start:end] = ~again
                span = (float(block[0] - times[0]), float(block[again][-1] - times[0]))
                fault = TraceFault("duplicate time", None, *span, int(again.sum()), "repeated rows, read once")
                told.append(Told(fault, int(lines[start]), False))
                done = np.sort(np.concatenate([done, block[~again]]))
                continue
            shift = float(done.max()) + usual - float(block[0])
            times[start:] += shift
            block = times[start:end]
            span = (float(done.max() - times[0]), float(block[0] - times[0]))
            told.append(
                Told(TraceFault("restart", None, *span, end - start, "taken to follow on"), int(lines[start]), False)
            )
        done = np.sort(np.concatenate([done, block]))
    return frame[kept], times[kept], lines[kept]


def _seen_before(frame: pd.DataFrame, key: str, start: int, end: int) -> np.ndarray:
    """Mask of the rows of a block that only repeat earlier ones, time and values."""
    columns = [name for name in frame.columns if name != "line" and not name.startswith(OWN)]
    return frame[columns].iloc[:end].duplicated().to_numpy()[start:]


def _each_once(frame: pd.DataFrame, key: str, told: list[Told]) -> tuple[pd.DataFrame, list[Told]]:
    again = frame[key].duplicated().to_numpy()
    if not again.any():
        return frame, told
    times = frame[key].to_numpy(dtype=float)
    channels = [name for name in frame.columns if name != "line" and not name.startswith(OWN)]
    same = frame.duplicated(subset=channels).to_numpy()
    first = int(np.flatnonzero(again)[0])
    span = (float(times[again].min() - times[0]), float(times[again].max() - times[0]))
    line = int(frame["line"].iloc[first])
    if again.mean() > COARSE and len(np.unique(times)) > 2 and not same.all():
        fault = TraceFault("coarse clock", None, *span, int(again.sum()), "rows of one time spread evenly")
        told.append(Told(fault, line, False))
        return frame.assign(**{key: _spread(times)}), told
    clash = bool((again & ~same).any())
    action = "the first row of each time is kept, the others are left out" if clash else "repeated rows, read once"
    told.append(Told(TraceFault("duplicate time", None, *span, int(again.sum()), action), line, clash))
    return frame[~again].reset_index(drop=True), told


def _spread(times: np.ndarray) -> np.ndarray:
    """Times of a coarse clock, the rows of one reading spread over the step to the next."""
    distinct, place, counts = np.unique(times, return_inverse=True, return_counts=True)
    step = np.diff(distinct, append=distinct[-1] + usual_step(distinct))
    step = np.minimum(step, usual_step(distinct))
    rank = np.arange(len(times)) - np.concatenate([[0], np.cumsum(counts)[:-1]])[place]
    return times + step[place] * rank / counts[place]
