"""Series that share their constants, one after another as the compiled code takes them."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite, nan
from statistics import median
from typing import NamedTuple

import numpy as np

from brewlog.rig.linear import Model
from brewlog.rig.series import Series

FEWER = 6
"""Rows per cell on which the fit of a long trace begins."""


class Rows(NamedTuple):
    """Rows of all series one after another."""

    kinds: np.ndarray
    """Part of the usual flow, and length, of every kind of step. [1, s]"""
    ends: np.ndarray
    kind: np.ndarray
    drive: np.ndarray
    measured: np.ndarray
    weight: np.ndarray


def pack(series: Sequence[Series], drives: int) -> tuple[Rows, np.ndarray]:
    """Rows of all series, still without weights, and which readings are there.

    Equal steps share one exponential, also between series.

    Parameters
    ----------
    series : sequence of Series
    drives : int
        Inputs that move the model.
    """
    ends = np.cumsum([0, *(s.rows for s in series)])
    if len(series) == 1:
        kind, kinds = series[0].steps
        drive, readings = series[0].drive, series[0].readings
    else:
        kinds, place = np.unique(np.concatenate([s.steps[1] for s in series]), axis=0, return_inverse=True)
        offsets = np.cumsum([0, *(len(s.steps[1]) for s in series)])
        # a series has one step less than rows; the kind of its last row is never looked at
        kind = np.concatenate(
            [np.append(place.ravel()[o + s.steps[0]], 0) for o, s in zip(offsets, series, strict=False)]
        )
        drive = np.concatenate([s.drive for s in series])
        readings = np.concatenate([s.readings for s in series])
    seen = np.isfinite(readings)
    measured = readings if seen.all() else np.where(seen, readings, 0.0)
    return Rows(kinds, ends, kind, np.ascontiguousarray(drive[:, :drives]), measured, np.empty((0, 2))), seen


def few_cells(series: Sequence[Series], rows: Rows, weight: np.ndarray) -> Rows:
    """The same rows on few even cells of each series.

    Parameters
    ----------
    series : sequence of Series
    rows : Rows
        Of these series.
    weight : numpy.ndarray, shape (rows, 2)
    """
    from brewlog.rig.thinning import on_cells

    cells = [s.rows // FEWER for s in series]
    ends = np.cumsum([0, *cells])
    drive, read, thin = np.empty((ends[-1], rows.drive.shape[1])), np.empty((ends[-1], 2)), np.empty((ends[-1], 2))
    pairs: dict[tuple[float, float], int] = {}
    kind = np.zeros(ends[-1], dtype=np.intp)
    for i, s in enumerate(series):
        whole, few = slice(rows.ends[i], rows.ends[i + 1]), slice(ends[i], ends[i + 1])
        width = on_cells(
            s.elapsed, rows.drive[whole], rows.measured[whole], weight[whole], drive[few], read[few], thin[few]
        )
        flow = s.steps[1][:, 0]
        if flow.min() == flow.max():
            kind[few] = pairs.setdefault((float(flow[0]), width), len(pairs))
        else:
            middle = s.elapsed[0] + width * (np.arange(cells[i]) + 0.5)
            for j, row in enumerate(np.searchsorted(s.elapsed, middle, side="right") - 1):
                kind[ends[i] + j] = pairs.setdefault((float(s.coupling[row]), width), len(pairs))
    return Rows(np.array(list(pairs)), ends, kind, drive, read, thin)


def start_temps(model: Model, series: Series) -> np.ndarray:
    """Start temperatures: the first readings; a sensor that is missing takes the other's."""
    first = [_first(series.readings[:, i]) for i in (0, 1)]
    base = first[0] if np.isfinite(first[0]) else first[1]
    bed = first[1] if np.isfinite(first[1]) else first[0]
    return np.array([base] + [bed] * (model.starts.shape[1] - 1))


def _first(values: np.ndarray) -> float:
    """Median of the first three numbers, NaN if there is none: one wild value must not set the start."""
    good = values[:3].tolist()
    if not all(map(isfinite, good)):
        good = values[np.isfinite(values)][:3].tolist()
    return median(good) if good else nan
