"""Stretches in which a bed probe cannot have stood in the bed."""

from __future__ import annotations

import numpy as np
import pandas as pd

from brewlog.logbook.records import Brew
from brewlog.mash.marks import Marks, find_marks
from brewlog.mash.samples import known_samples

FALL = 8.0
"""A bed does not cool by this much in ten minutes once the grain is in. [K] common practice, no source"""

STIRRING = 900.0
"""After mash-in the bed may do what it likes for this long. [s]"""

_LONGEST = 1800.0


def out_of_bed(elapsed: np.ndarray, temp: np.ndarray, marks: Marks) -> tuple[tuple[float, float], ...]:
    """Stretches in which the probe had slipped out of the bed: start and end, both left out. [s]

    The reading falls by 8 K or more below its median of the ten minutes before; the stretch begins where it left that
    median by 1 K and ends where it is back within 1.5 K, after half an hour, or at the lift. Looked for from a quarter
    of an hour after mash-in to the lift; where either is not known, nothing is found.

    Parameters
    ----------
    elapsed, temp : numpy.ndarray, shape (n,)
        Known samples of the bed probe. [s], [degC]
    marks : Marks

    Examples
    --------
    >>> times = 60.0 * np.arange(60)
    >>> temps = np.where((times >= 1800) & (times < 2100), 30.0, 65.0)
    >>> out_of_bed(times, temps, Marks(0.0, np.nan, 3600.0, np.nan, np.nan, np.nan, frozenset()))
    ((1800.0, 2040.0),)
    """
    if not (np.isfinite(marks.mash_in) and np.isfinite(marks.lift)) or elapsed.size < 3:
        return ()
    inside = (elapsed >= marks.mash_in + STIRRING / 2) & (elapsed <= marks.lift)
    times, values = elapsed[inside], temp[inside]
    index = pd.to_timedelta(times, unit="s")
    usual = pd.Series(values, index=index).rolling(pd.Timedelta(minutes=10), closed="left").median().to_numpy()
    found: list[tuple[float, float]] = []
    after = marks.mash_in + STIRRING
    for k in np.flatnonzero(values < usual - FALL):
        if times[k] < after:
            continue
        left = np.flatnonzero((times <= times[k]) & (values >= usual[k] - 1.0))
        back = np.flatnonzero((times > times[k]) & (values >= usual[k] - 1.5))
        first = left[-1] + 1 if left.size else 0
        last = back[0] - 1 if back.size else times.size - 1
        end = min(times[last], times[first] + _LONGEST)
        found.append((float(times[first]), float(end)))
        after = end + 600.0  # its own readings are in the median until then
    return tuple(found)


def bed_samples(
    brew: Brew, trace: pd.DataFrame | None = None, marks: Marks | None = None
) -> tuple[np.ndarray, np.ndarray, tuple[tuple[float, float], ...]]:
    """Readings of the bed probe while it stood in the bed: until the lift, without stretches out of the bed.

    Parameters
    ----------
    brew : Brew
    trace : pandas.DataFrame, optional
        The brew's trace where it is at hand already.
    marks : Marks, optional
        The brew's marks where they are at hand already.

    Returns
    -------
    elapsed, temp : numpy.ndarray
        [s], [degC]
    outside : tuple of (float, float)
        Stretches that were left out because the probe cannot have stood in the bed. [s]
    """
    marks = find_marks(brew) if marks is None else marks
    elapsed, temp = known_samples(brew, "mash_temp", trace)
    outside = out_of_bed(elapsed, temp, marks)
    keep = elapsed <= marks.lift if np.isfinite(marks.lift) else np.full(elapsed.size, True)
    for first, last in outside:
        keep &= (elapsed < first) | (elapsed > last)
    return elapsed[keep], temp[keep], outside
