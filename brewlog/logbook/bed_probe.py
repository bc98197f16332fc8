"""The probe in the grain bed: pulled out for a while, or silent while the controller followed the base."""

from __future__ import annotations

import numpy as np
import pandas as pd

from brewlog.logbook.faults import OUT_AT_MOST, finite, runs
from brewlog.logbook.records import TraceFault

PULLED = 8.0
"""A fall of a bed probe by this much, and back, faster than any bed can. [K]"""
QUICK = 180.0
"""How fast a probe falls that is pulled out, and comes back when it is put in again. [s]"""
FALLBACK_NEAR = 0.8
"""How near its target the base lies while it is what the controller follows. [K]"""
FALLBACK_FAR = 1.5
"""How far ahead of the target the base was before, at least. [K]"""
FALLBACK_HELD = 0.4
"""The same where the brewer says that the controller follows the bed: the base then has no reason to stay so near."""


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
        late = finite(ahead[a + (b - a) // 2 : b + 1])  # the base takes a while to come down
        before = finite(ahead[(elapsed >= elapsed[a] - 600.0) & (elapsed < elapsed[a])])
        if not len(late) or not len(before) or abs(late.mean()) >= FALLBACK_NEAR:
            continue
        held = follows == "mash" and len(late) >= 4 and np.abs(late).max() < FALLBACK_HELD
        if held or before.mean() > FALLBACK_FAR:
            span = (float(elapsed[a]), float(elapsed[b]))
            action = "the controller seems to have followed the base meanwhile"
            found.append(TraceFault("control fallback", "base_temp", *span, int(b - a + 1), action))
    return found
