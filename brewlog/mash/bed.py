"""The bed temperature that is held against the plan: the probe's, or a reconstructed one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from brewlog.logbook.records import Brew
from brewlog.mash.marks import Marks
from brewlog.mash.probe import bed_samples
from brewlog.mash.samples import MAX_GAP, known_samples

NO_BED = "no probe in the bed was logged and no reconstructed temperature was given (the base sensor is not the bed)"


@dataclass(frozen=True)
class Bed:
    """The bed temperature that is measured against the plan."""

    elapsed: np.ndarray
    temp: np.ndarray
    sd: np.ndarray
    source: str | None
    base: np.ndarray
    """Base temperature at the same times, NaN where it is not known within five minutes."""
    outside: tuple[tuple[float, float], ...]
    """Stretches in which the probe was out of the bed. [s]"""


def at_times(times: np.ndarray, elapsed: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Values at `times`, straight between neighbours at most five minutes apart; NaN elsewhere."""
    if elapsed.size == 0:
        return np.full(times.size, np.nan)
    after = np.clip(np.searchsorted(elapsed, times), 0, elapsed.size - 1)
    before = np.clip(after - 1, 0, None)
    hit = elapsed[after] == times
    near = hit | ((times >= elapsed[0]) & (times <= elapsed[-1]) & (elapsed[after] - elapsed[before] <= MAX_GAP))
    return np.where(near, np.interp(times, elapsed, values), np.nan)


def bed_of(brew: Brew, trace: pd.DataFrame, mash: pd.DataFrame | None, marks: Marks) -> Bed:
    """The bed temperature of a brew: the probe's, or the one handed in; without either it is empty, `source` None."""
    outside: tuple[tuple[float, float], ...] = ()
    if mash is None:
        elapsed, temp, outside = bed_samples(brew, trace, marks)
        sd, source = np.zeros(temp.size), "probe" if temp.size else None
    else:
        missing = {"elapsed", "mash_temp", "sd"} - set(mash.columns)
        if missing:
            raise ValueError(
                f"mash lacks the column(s) {', '.join(sorted(missing))}; expected elapsed, mash_temp and sd."
            )
        good = mash[["elapsed", "mash_temp", "sd"]].notna().all(axis=1)
        elapsed, temp, sd = (mash.loc[good, name].to_numpy(dtype=float) for name in ("elapsed", "mash_temp", "sd"))
        source = "reconstructed"
        if np.any(np.diff(elapsed) <= 0):
            raise ValueError("mash.elapsed does not rise from row to row; expected rows in order of time.")
    return Bed(elapsed, temp, sd, source, at_times(elapsed, *known_samples(brew, "base_temp", trace)), outside)


def hides_arrival(bed: Bed, start: float, moment: float) -> bool:
    """Whether a gap of more than five minutes lies just before `moment`, after `start`."""
    earlier = bed.elapsed[bed.elapsed < moment]
    last = max(earlier[-1], start) if earlier.size else start
    return bool(moment - last > MAX_GAP)
