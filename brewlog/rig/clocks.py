"""Two loggers whose clocks differ: temperatures later or earlier than the power, or the bed probe than both."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from brewlog.logbook.records import Brew
from brewlog.rig.daily import DayFit, fit_mash
from brewlog.rig.fitting import ModelFit
from brewlog.rig.notice import Finding
from brewlog.rig.rigfit import RigFit
from brewlog.rig.series import Series

LEAST = 45.0
"""Least shift that is reported. [s]"""
LEAST_BED = 90.0
"""The same for the bed probe alone: up to a minute and a half the bed's own ways do what a clock would. [s]"""
BED_SD = 30.0
"""What lag and place of the bed probe leave open of its clock. [s]"""
FARTHEST = 300.0
"""[s]"""
STEP = 30.0
"""Shifts are tried so far apart; the best one is then placed by a parabola. [s]"""
SUSPECT = 1.25
"""A brew whose residuals exceed the rig's usual ones by this factor is looked at. [1]"""
EXPLAINS = 0.6
"""A shift is believed where it leaves this part of the sum of squares or less. [1]"""

CHANNELS = {"temperatures": (0, 1), "bed": (1,)}
"""Readings that one logger may have stamped: both sensors, or the bed probe alone."""


@dataclass(frozen=True, slots=True)
class Shift:
    """By how much the clock of some readings runs behind that of the power."""

    channel: str
    """`temperatures` or `bed`."""
    seconds: float
    """Positive: the readings were stamped too late. [s]"""
    sd: float
    """[s]"""
    left: float
    """Part of the sum of squares that remains once they are moved back. [1]"""


def clocks(brew: Brew, fit: RigFit) -> list[Finding]:
    """Disagreement between two clocks on one brew day; empty where none is seen or the brew was not fitted.

    Looked for on brews whose residuals are larger than the rig's usual ones: the readings of both sensors, or of the
    bed probe alone, are moved by up to five minutes either way and the mash is fitted again. Reported from 45 s on (bed
    probe alone: 90 s), where that takes away four tenths of the squares or more.

    Parameters
    ----------
    brew : Brew
    fit : RigFit
    """
    day = fit.days.get(brew.label)
    if day is None or day.mash is None or day.sees != "base and bed":
        return []
    usual = [d.mash.rms["pooled"] for d in fit.days.values() if d.mash is not None and d.sees == "base and bed"]
    if len(usual) < 3 or day.mash.rms["pooled"] < SUSPECT * float(np.median(usual)):
        return []
    shift = clock_shift(day, fit)
    if shift is None or shift.left > EXPLAINS:
        return []
    if abs(shift.seconds) < max(LEAST if shift.channel == "temperatures" else LEAST_BED, 2.5 * shift.sd):
        return []
    words = "temperatures run" if shift.channel == "temperatures" else "bed probe runs"
    other = "the power" if shift.channel == "temperatures" else "base sensor and power"
    later = "behind" if shift.seconds > 0 else "ahead of"
    sentence = (
        f"Brew {brew.label}: the {words} about {abs(shift.seconds):.0f} s {later} {other} (±{1.96 * shift.sd:.0f}). "
        "Two loggers whose clocks differ? Set both to one clock; constants of this brew lean on the wrong times."
    )
    low, high = shift.seconds - 1.96 * shift.sd, shift.seconds + 1.96 * shift.sd
    return [Finding("clocks differ", brew.label, None, None, shift.seconds, low, high, sentence)]


def clock_shift(day: DayFit, fit: RigFit) -> Shift | None:
    """Shift of the readings that explains one mash best; None where the mash cannot be fitted again.

    Parameters
    ----------
    day : DayFit
    fit : RigFit
        The lag of its probe is held, since a lag would do for the bed what a shift does.

    Notes
    -----
    Sum of squares against the shift, on a grid of half minutes; place and sd of the minimum from the parabola through
    the best three, correlated residuals counted once.
    """
    if day.mash is None:
        return None
    shifts = np.arange(-FARTHEST, FARTHEST + 1, STEP)
    best: Shift | None = None
    for channel, columns in CHANNELS.items():
        fits = [_again(day, fit, float(s), columns) for s in shifts]
        squares = np.array([np.inf if f is None else f.rms["pooled"] ** 2 for f in fits])
        k = int(np.argmin(squares))
        now = squares[shifts.size // 2]
        found = fits[k]
        if found is None or not np.isfinite(now) or k in (0, shifts.size - 1):
            continue
        low, mid, high = squares[k - 1 : k + 2]
        bend = (low - 2 * mid + high) / STEP**2
        if not np.isfinite(bend) or bend <= 0:
            continue
        at = float(shifts[k] + (low - high) / (2 * bend * STEP))
        rows = sum(int(np.isfinite(r).sum()) for r in found.residuals)
        sd = float(np.sqrt(2 * mid * found.inflation / (rows * bend)))
        if channel == "bed":
            sd = float(np.hypot(sd, BED_SD))
        shift = Shift(channel, at, sd, float(mid / now))
        if best is None or shift.left < 0.9 * best.left:
            best = shift
    return best


def _again(day: DayFit, fit: RigFit, shift: float, columns: tuple[int, ...]) -> ModelFit | None:
    assert day.mash is not None
    moved = [_moved(s, shift, columns) for s in day.mash.series]
    guess = {**day.mash.constants, "probe_lag": fit["probe_lag"]}
    guess["bed_part"] = guess.pop("mash_heat_capacity") / guess["heat_capacity"]
    guess = {n: v for n, v in guess.items() if n not in ("heat_capacity", "base_heat_capacity") and np.isfinite(v)}
    try:
        return fit_mash(
            moved, fit.model, day.inventory, day.day.room_sd, guess, ("probe_lag",), day.day.power is not None
        )
    except (ValueError, np.linalg.LinAlgError):
        return None


def _moved(series: Series, shift: float, columns: tuple[int, ...]) -> Series:
    """The series with some readings moved `shift` seconds earlier; missing ones stay missing."""
    readings = series.readings.copy()
    t = series.elapsed
    for i in columns:
        good = np.isfinite(readings[:, i])
        if good.sum() < 2:
            continue
        at = t + shift
        value = np.interp(at, t[good], readings[good, i], left=np.nan, right=np.nan)
        row = np.clip(np.searchsorted(t, at), 0, t.size - 1)
        readings[:, i] = np.where(good[row], value, np.nan)
    return replace(series, readings=readings)
