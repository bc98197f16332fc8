"""Several files of one brew day to one: two loggers may overlap, and their clocks may differ."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from brewlog.logbook.clocks import Zones
from brewlog.logbook.layout import CHANNELS
from brewlog.logbook.order import REPEATED, usual_step
from brewlog.logbook.telling import Teller

FARTHEST = 900.0
"""Clocks of two loggers are compared up to this difference. [s]"""
LAG, ALIKE, ABOUT = 120.0, 60.0, 600.0
"""Least lag of a whole file, how nearly its two ends must have the same, and how nearly whole hours. [s]"""
NOTICED = 30.0
"""A smaller difference of two clocks is left as it is. [s]"""
MONTH = 30 * 86400.0
"""Clocks of one day that lie further apart were not both set. [s]"""
_GRID = 10.0
_OVERLAP = 1200.0
_SWING = 4.0


@dataclass(frozen=True)
class Part:
    """One file of a trace."""

    frame: pd.DataFrame
    """`clock` or `elapsed` [s], `line`, then the channels."""
    tell: Teller
    zoned: bool = False
    """True where the times carry their offset from UTC."""
    dated: bool = True
    offset: float | None = None
    """Local time minus UTC of the first row. [s]"""
    elapsed_zero: float = 0.0
    """The file's own elapsed time at clock zero, where it has both. [s]"""
    written: Mapping[str, str] = field(default_factory=dict)
    """Headers as the brewer wrote them, by channel."""
    zones: Zones = ()
    """From when on which local time minus the clock holds, where it changes. [s]"""
    utc: bool = False
    """True where the clock is in UTC by its notation alone."""
    clock_zero: float | None = None
    """The clock where elapsed times that are used in its place are zero. [s]"""

    @property
    def key(self) -> str:
        """Column of times."""
        return "clock" if "clock" in self.frame else "elapsed"


def merge_parts(parts: Sequence[Part]) -> Part:
    """One part of all files; what had to be assumed is noted at the file that is fitted to the first.

    Parameters
    ----------
    parts : sequence of Part
        In order of their names; at least one.

    Returns
    -------
    Part
    """
    merged = parts[0]
    for part in parts[1:]:
        fitted = _same_kind(merged, part)
        if fitted is None:
            continue
        fitted = _same_age(merged, fitted)
        again = _repeated(merged.frame, fitted.frame, merged.key)
        if again.any():
            rows = f"{again.sum()} {'rows' if again.sum() > 1 else 'row'} that an earlier file of the day has, too"
            part.tell.note(int(part.frame["line"].iloc[0]), None, rows, "every row once", "read once")
            fitted = replace(fitted, frame=fitted.frame[~again])
            if fitted.frame.empty:
                continue
        elif merged.key == "elapsed":
            fitted = _elapsed(merged, fitted)
        fitted = _same_clock(merged, fitted)
        _tell_clash(merged, fitted)
        both = pd.concat([merged.frame, fitted.frame], ignore_index=True)
        both = both.sort_values(merged.key, kind="stable").groupby(merged.key, as_index=False).first()
        merged = replace(merged, frame=both)
    return merged


def _same_kind(merged: Part, part: Part) -> Part | None:
    """The part with its times of the same kind as the others; None, and a problem, where they cannot be placed."""
    if merged.key != part.key or merged.dated != part.dated:
        found, wish = "times of another kind than the day's first file", "the same kind of times"
        part.tell.problem(None, None, found, wish, "this file is left out")
        return None
    if merged.zoned == part.zoned or merged.key == "elapsed":
        return part
    offset = (merged.offset if merged.zoned else part.offset) or 0.0
    shift = -offset if merged.zoned else offset
    found, wish = "clock times of which only one file tells the offset", "both with their offset"
    part.tell.note(None, None, found, wish, "read as the local time of the other")
    return replace(part, frame=part.frame.assign(clock=part.frame["clock"] + shift), zoned=merged.zoned)


def _same_age(merged: Part, part: Part) -> Part:
    """The part; made to follow on where its clock is months from the first file's, as one of them was reset."""
    key = merged.key
    first, second = merged.frame[key], part.frame[key]
    if key != "clock" or max(second.min() - first.max(), first.min() - second.max()) < MONTH:
        return part
    shared = any(name in merged.frame and name in part.frame for name in CHANNELS)
    place = float(first.max()) + usual_step(first.to_numpy()) if shared else float(first.min())
    cost = "taken to follow on the file before" if shared else "taken to start with the first file"
    found, wish = "clock times months from those of the day's first file", "the same clock"
    part.tell.note(int(part.frame["line"].iloc[0]), part.written.get("time"), found, wish, cost)
    return replace(part, frame=part.frame.assign(clock=second + (place - float(second.iloc[0]))))


def _repeated(first: pd.DataFrame, second: pd.DataFrame, key: str) -> np.ndarray:
    """Mask of the second file's rows that the first has, too; of times alone that agree, nothing is concluded."""
    names = [name for name in CHANNELS if name in first and name in second]
    common = second[key].isin(first[key]).to_numpy()
    if not names or not common.any():
        return np.zeros(len(second), dtype=bool)
    columns = [key, *names]
    both = pd.concat([first[columns], second[columns]], ignore_index=True)
    again = both.duplicated().to_numpy()[len(first) :]
    within = (second[key] <= first[key].max()).to_numpy()
    same = set(second.columns) <= set(first.columns)
    return again if same and again.sum() >= REPEATED * within.sum() else np.zeros(len(second), dtype=bool)


def _tell_clash(merged: Part, part: Part) -> None:
    """Report rows of one time for which two files have different values of a channel."""
    key = merged.key
    names = [name for name in CHANNELS if name in merged.frame and name in part.frame]
    if not names or not part.frame[key].isin(merged.frame[key]).any():
        return
    both = merged.frame[[key, *names]].merge(part.frame[[key, "line", *names]], on=key, suffixes=("", " again"))
    apart = np.zeros(len(both), dtype=bool)
    for name in names:
        one, other = both[name].to_numpy(dtype=float), both[f"{name} again"].to_numpy(dtype=float)
        apart |= np.isfinite(one) & np.isfinite(other) & (one != other)
    if apart.any():
        found = (
            f"{apart.sum()} {'rows' if apart.sum() > 1 else 'row'} of times that an earlier file has with other values"
        )
        line = int(both["line"].to_numpy()[apart][0])
        part.tell.problem(line, None, found, "each time once", "the values of the earlier file are kept")


def _elapsed(merged: Part, part: Part) -> Part:
    """Elapsed times of a further file: of the same start where its channels are others, else following on."""
    first, second = merged.frame["elapsed"], part.frame["elapsed"]
    step = usual_step(second.to_numpy())
    inside = (first > second.min()) & (first < second.max())
    if second.iloc[0] >= first.iloc[-1] or (second.min() > 10 * step and not inside.any()):
        return part  # behind the other files, or in a gap of theirs
    shared = [name for name in CHANNELS if name in merged.frame and name in part.frame]
    if not shared:
        part.tell.note(None, None, "elapsed times that begin anew", "clock times", "taken to start with the first file")
        return part
    part.tell.note(None, None, "elapsed times that begin anew", "clock times", "taken to follow on the file before")
    shift = float(first.iloc[-1]) + usual_step(first.to_numpy()) - float(second.iloc[0])
    return replace(part, frame=part.frame.assign(elapsed=second + shift))


def _same_clock(merged: Part, part: Part) -> Part:
    key = merged.key
    shift = clock_difference(merged.frame, part.frame, key)
    if shift is None and key == "clock":
        _tell_lag(merged.frame, part)
    if shift is None or abs(shift) < NOTICED:
        return part
    ahead = "ahead of" if shift < 0 else "behind"
    found = f"a clock about {abs(shift):.0f} s {ahead} that of the day's first file"
    part.tell.note(None, None, found, "the same clock", "its times are shifted by that much")
    return replace(part, frame=part.frame.assign(**{key: part.frame[key] + shift}))


def _tell_lag(first: pd.DataFrame, part: Part) -> None:
    """Note a file with sensors of its own that begins and ends the same lag, or about the same hours, after another."""
    names = [n for n, c in CHANNELS.items() if c.unit == "degC" and n != "set_temp" and n in first and n in part.frame]
    one, two = first["clock"].to_numpy(dtype=float), part.frame["clock"].to_numpy(dtype=float)
    if names or len(one) < 2 or len(two) < 2 or two[0] >= one[-1] or two[-1] <= one[0]:
        return
    begins, ends = float(two[0] - one[0]), float(two[-1] - one[-1])
    hours = round((begins + ends) / 7200.0)
    same = abs(begins - ends) <= max(ALIKE, 2.0 * max(usual_step(one), usual_step(two)))
    whole = hours != 0 and max(abs(begins - 3600.0 * hours), abs(ends - 3600.0 * hours)) <= ABOUT
    if min(abs(begins), abs(ends)) < LAG or not (same or whole):
        return
    side = "after" if begins > 0 else "before"
    found = f"begins {abs(begins) / 60:.0f} min and ends {abs(ends) / 60:.0f} min {side} the day's first file"
    part.tell.note(int(part.frame["line"].iloc[0]), None, found, "the same clock", "its times are kept as they are")


def clock_difference(first: pd.DataFrame, second: pd.DataFrame, key: str) -> float | None:
    """Seconds to add to the second frame's times so that a temperature of both runs alike; None where nothing tells.

    Parameters
    ----------
    first, second : pandas.DataFrame
    key : str
        Column of times. [s]

    Returns
    -------
    float or None

    Notes
    -----
    Least mean square of the difference over shifts of up to 15 min in steps of 10 s. It tells where the files overlap
    by 20 min or more, the temperature moves by 4 K or more, and the best shift halves the rms.
    """
    names = [n for n, c in CHANNELS.items() if c.unit == "degC" and n != "set_temp" and n in first and n in second]
    for name in names:
        one, two = (frame[[key, name]].dropna().to_numpy(dtype=float) for frame in (first, second))
        if len(one) < 20 or len(two) < 20:
            continue
        start, end = max(one[0, 0], two[0, 0]) + FARTHEST, min(one[-1, 0], two[-1, 0]) - FARTHEST
        if end - start < _OVERLAP:
            continue
        grid = np.arange(start, end, max(_GRID, (end - start) / 2000))
        here = np.interp(grid, one[:, 0], one[:, 1])
        if np.ptp(here) < _SWING:
            continue
        shifts = np.arange(-FARTHEST, FARTHEST + 1, _GRID)
        errors = np.array([np.mean((np.interp(grid - s, two[:, 0], two[:, 1]) - here) ** 2) for s in shifts])
        best = int(np.argmin(errors))
        still = float(errors[len(shifts) // 2])
        if 0 < best < len(shifts) - 1 and errors[best] < 0.25 * still:
            return float(shifts[best])
        return 0.0
    return None
