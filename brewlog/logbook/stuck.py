"""Sensors that stand still while the day goes on: one that is stuck, or all of a logger that hangs."""

from __future__ import annotations

import numpy as np

from brewlog.logbook.faults import JUMP, finite, runs
from brewlog.logbook.records import TraceFault

STUCK = 1200.0
"""A sensor that stands still that long while another moves is stuck. [s]"""
OTHERS_MOVE = 4.0
"""How far another temperature must move meanwhile, at least. [K]"""
STEPS_MOVE = 20.0
"""The same in steps of the sensor's own resolution: one that shows whole degrees may well stand still. [1]"""
WARM = 30.0
"""A probe colder than this from the start on lies on the bench and may stand still. [degC]"""
FINE, FROZEN_JUMP = 0.2, 1.0
"""Resolution of sensors that never stand still together, and the least jump after they seemed to. [K]"""


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
            moves = [_movement(part) for series in others if len(part := finite(series[start : end + 1]))]
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
    before = np.unique(finite(values[:start]))
    return len(before) >= 4 or end - start + 1 >= 0.9 * np.isfinite(values).sum()


def _resolution(values: np.ndarray) -> float:
    """Smallest step between values of a sensor."""
    steps = np.diff(np.unique(np.round(finite(values), 6)))
    return float(steps.min()) if len(steps) else 1.0  # one value alone tells nothing: whole degrees, to be careful


def _movement(values: np.ndarray) -> float:
    """How far a temperature moved, not counting that its sensor was put elsewhere."""
    steps = np.diff(values)
    return float(np.ptp(np.cumsum(np.where(np.abs(steps) > JUMP, 0.0, steps)))) if len(steps) else 0.0
