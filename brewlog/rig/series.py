"""One stretch of a day as arrays: what a model is driven by and what the sensors read."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from brewlog.quantities import to_float

MOST_KINDS = 5000
"""Where more steps than this differ, times are rounded to a ten-thousandth of the usual step: memory stays bounded."""


@dataclass(frozen=True)
class Series:
    """Power, room and readings of one stretch, in order of time; readings that are missing are NaN."""

    elapsed: np.ndarray
    """[s]"""
    power: np.ndarray
    """Electrical power from each row to the next. [W]"""
    room: np.ndarray
    """Air around the rig. [degC]"""
    readings: np.ndarray
    """Base sensor and bed probe, shape (rows, 2). [degC]"""
    coupling: np.ndarray
    """Recirculation from each row to the next, as part of the usual one. [1]"""
    vapour: np.ndarray
    """Vapour pressure over the liquid less the room's, 0 where evaporation is not modelled. [kPa]"""
    label: str = ""

    @cached_property
    def steps(self) -> tuple[np.ndarray, np.ndarray]:
        """For each step its kind, and for each kind part of the usual flow and length, shape (kinds, 2). [1, s]"""
        # steps to the microsecond: clocks write no finer, and equal steps share one matrix exponential
        dt: np.ndarray = np.round(np.diff(self.elapsed), 6)
        flow = self.coupling[:-1]
        if dt.min() == dt.max() and flow.min() == flow.max():
            return np.zeros(dt.size, dtype=np.intp), np.array([[flow[0], dt[0]]])
        kinds, kind = np.unique(np.column_stack([flow, dt]), axis=0, return_inverse=True)
        if len(kinds) > MOST_KINDS:
            grain = float(np.median(dt)) * 1e-4
            dt = grain * np.maximum(np.diff(np.round(self.elapsed / grain)), 1.0)
            kinds, kind = np.unique(np.column_stack([flow, dt]), axis=0, return_inverse=True)
        return kind.ravel(), kinds

    @property
    def kinds(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """For each step its kind; part of the usual flow and length of each kind. [1, s]"""
        kind, table = self.steps
        return kind, table[:, 0].copy(), table[:, 1].copy()

    @cached_property
    def drive(self) -> np.ndarray:
        """Power, room and vapour pressure, shape (rows, 3)."""
        return np.column_stack([self.power, self.room, self.vapour])

    @cached_property
    def inputs(self) -> np.ndarray:
        """Power, room, one (which carries a shift of the room) and vapour pressure, shape (rows, 4)."""
        return np.column_stack([self.power, self.room, np.ones(self.elapsed.size), self.vapour])

    @property
    def rows(self) -> int:
        """Number of rows."""
        return int(self.elapsed.size)


def make_series(
    elapsed: np.ndarray,
    power: np.ndarray,
    *,
    base_temp: np.ndarray | None = None,
    mash_temp: np.ndarray | None = None,
    ambient_temp: np.ndarray | float = 20.0,
    coupling: np.ndarray | float = 1.0,
    vapour: np.ndarray | float = 0.0,
    label: str = "",
) -> Series:
    """Check and pack the arrays of one stretch.

    Parameters
    ----------
    elapsed : array_like, shape (n,)
        Rising, at least two rows. [s]
    power : array_like, shape (n,) or scalar
        Mean electrical power from each row to the next, at least 0; a missing value takes the one before. [W]
    base_temp, mash_temp : array_like, shape (n,), optional
        Readings, NaN where missing; a sensor that is not given was not there. [degC]
    ambient_temp : array_like or float
        Air around the rig; gaps are bridged by straight lines. [degC]
    coupling : array_like or float
        Recirculation as part of the usual one: 1 running, 0 off. [1]
    vapour : array_like or float
        Vapour pressure over the liquid less the room's. [kPa]
    label : str
        Used in messages.

    Returns
    -------
    Series

    Raises
    ------
    ValueError
        If lengths differ, time does not rise, power is negative, or no sensor is given.

    Examples
    --------
    >>> make_series([0, 5, 10], 1000.0, base_temp=[20.0, 20.1, 20.2]).rows
    3
    """
    t = np.atleast_1d(to_float(elapsed, "s", "elapsed")).astype(float)
    if t.size < 2 or not np.all(np.isfinite(t)) or np.any(np.diff(t) <= 0):
        raise ValueError("elapsed must have two rows or more and rise from row to row.")

    def column(value: object, unit: str, what: str) -> np.ndarray:
        out = to_float(value, unit, what)
        if out.ndim and out.shape != t.shape:
            raise ValueError(f"{what} has {out.size} rows; elapsed has {t.size}.")
        return out.astype(float) if out.ndim else np.full(t.shape, float(out))

    if base_temp is None and mash_temp is None:
        raise ValueError("no temperature was given; expected base_temp, mash_temp or both.")
    watts = hold_last(column(power, "W", "power"))
    if watts.min() < 0:
        raise ValueError(f"power goes down to {watts.min():g} W; expected 0 or more.")
    readings = np.full((t.size, 2), np.nan)
    if base_temp is not None:
        readings[:, 0] = column(base_temp, "degC", "base_temp")
    if mash_temp is not None:
        readings[:, 1] = column(mash_temp, "degC", "mash_temp")
    room = bridge(t, column(ambient_temp, "degC", "ambient_temp"))
    flow = _without_nan(column(coupling, "1", "coupling"), 1.0)
    steam = _without_nan(column(vapour, "kPa", "vapour"), 0.0)
    return Series(t, watts, room, readings, flow, steam, label)


def on_few_cells(series: Series, cells: int) -> Series:
    """The same stretch on few even cells: mean inputs, so that no heat is lost, and readings at each cell's beginning.

    Parameters
    ----------
    series : Series
    cells : int
        2 or more.
    """
    from brewlog.rig.thinning import on_cells

    drive, read, weight = np.empty((cells, 3)), np.empty((cells, 2)), np.empty((cells, 2))
    seen = np.isfinite(series.readings)
    width = on_cells(
        series.elapsed, series.drive, np.where(seen, series.readings, 0.0), seen * 1.0, drive, read, weight
    )
    elapsed = series.elapsed[0] + width * np.arange(cells)
    read[weight <= 0] = np.nan
    at = np.searchsorted(series.elapsed, elapsed + width / 2, side="right") - 1
    flow = series.coupling[np.minimum(at, series.rows - 1)]
    return Series(elapsed, drive[:, 0], drive[:, 1], read, flow, drive[:, 2], series.label)


def _without_nan(values: np.ndarray, instead: float) -> np.ndarray:
    missing = np.isnan(values)
    return np.where(missing, instead, values) if missing.any() else values


def hold_last(values: np.ndarray) -> np.ndarray:
    """Fill each NaN with the value before it (the first ones with the first value)."""
    good = np.isfinite(values)
    if good.all():
        return values
    if not good.any():
        raise ValueError("power holds no number at all; without it only time constants can be had.")
    place = np.maximum.accumulate(np.where(good, np.arange(values.size), -1))
    place[place < 0] = int(np.argmax(good))
    return values[place]


def bridge(elapsed: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Fill each NaN on a straight line between its neighbours; ends keep the nearest value."""
    good = np.isfinite(values)
    if good.all():
        return values
    if not good.any():
        raise ValueError("ambient_temp holds no number at all; give one value for the room instead.")
    return np.interp(elapsed, elapsed[good], values[good])
