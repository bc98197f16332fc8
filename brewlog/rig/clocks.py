"""Two loggers whose clocks differ: temperatures later or earlier than the power, or one sensor than the rest."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from brewlog.logbook.records import Brew
from brewlog.rig.blocked import blocked_bed
from brewlog.rig.daily import DayFit
from brewlog.rig.flow import slopes_of
from brewlog.rig.notice import Finding
from brewlog.rig.restamped import Restamped
from brewlog.rig.rigfit import RigFit

CHANNELS = {"temperatures": (0, 1), "bed": (1,), "base": (0,)}
"""Readings that one logger may have stamped: both sensors, the bed probe alone, the base sensor alone."""
NAMES = {"temperatures": "temperatures run", "bed": "bed probe runs", "base": "base sensor runs"}
OTHERS = {"temperatures": "the power", "bed": "base sensor and power", "base": "bed probe and power"}
LEAST = {"temperatures": 45.0, "bed": 80.0, "base": 45.0}
"""Least shift that is reported. [s]"""
OPEN_SD = {"temperatures": 8.0, "bed": 15.0, "base": 8.0}
"""What half a row of the power's log, and the bed's own ways, leave open of a clock. [s]"""
OPEN_LAG = {"temperatures": 0.0, "bed": 0.35, "base": 0.0}
"""Part of the rig's probe lag that is open besides: a probe in a slow bed reads later where it stands deeper. Shifts
found on simulated brews whose clocks agree scatter so: by 15 s at a lag of 13 s, by 40 s at 125 s. [1]"""
BENT = {"temperatures": 0.0, "bed": 0.15, "base": 0.0}
"""Part of a shift that is open besides: a probe that is late on one brew bends the depth and the lag that all brews of
the rig share. [1]"""
EXPLAINS = {"temperatures": 0.6, "bed": 0.75, "base": 0.6}
"""A shift is believed where it leaves this part of the sum of squares or less. [1]"""
CLEARLY = 0.3
"""The same where the flow looks blocked as well: a bed that lets little through makes its probe late. [1]"""
SURE = 2.5
"""And where it is so many of its sd. [1]"""
FARTHEST = 600.0
"""[s]"""
REACH, STEP, FINE = 300.0, 60.0, 30.0
"""Shifts are tried so far either way and so far apart, farther only while the last one is the best; the best is then
placed by a parabola through three shifts so far apart. [s]"""
SUSPECT = 1.25
"""A brew whose residuals exceed the rig's usual ones by this factor is looked at. [1]"""
HINT = 0.15
"""So is one whose residuals go with the rates of the readings, so that a small shift would take away this part of their
squares. [1]"""
AKIN = 1.5
"""Both sensors and the base sensor alone are not told apart where neither leaves so many times the squares of the
other: the base tells most about the power. [1]"""


@dataclass(frozen=True, slots=True)
class Shift:
    """By how much the clock of some readings runs behind that of the rest."""

    channel: str
    """`temperatures` (both sensors), `bed` or `base`."""
    seconds: float
    """Positive: the readings were stamped too late. [s]"""
    sd: float
    """Scatter where the clocks agree, with what this mash leaves open. [s]"""
    left: float
    """Part of the sum of squares that remains once they are moved back. [1]"""
    akin: bool = False
    """Both sensors and the base sensor alone explain the mash about equally well."""


def clocks(brew: Brew, fit: RigFit) -> list[Finding]:
    """Disagreement between two clocks on one brew day; empty where none is seen or the brew was not fitted.

    Looked for on brews whose residuals are larger than the rig's usual ones or go with the rates of the readings: those
    of both sensors, or of one of them alone, are moved by up to ten minutes either way and the mash is fitted again.
    A clock that differs alike on most brews of a rig moves what is usual there and may go unnoticed; so may shifts of
    up to two minutes on a rig whose mashes the model leaves by half a kelvin and more.

    Parameters
    ----------
    brew : Brew
    fit : RigFit
    """
    day = fit.days.get(brew.label)
    if day is None or day.mash is None or day.sees != "base and bed":
        return []
    usual = [d.mash.rms["pooled"] for d in fit.days.values() if d.mash is not None and d.sees == "base and bed"]
    if len(usual) < 3:
        return []
    if day.mash.rms["pooled"] < SUSPECT * float(np.median(usual)) and max(hints(day).values()) < HINT:
        return []
    shift = clock_shift(day, fit)
    if shift is None or shift.left > EXPLAINS[shift.channel]:
        return []
    if abs(shift.seconds) < max(LEAST[shift.channel], SURE * shift.sd):
        return []
    if shift.left > CLEARLY and blocked_bed(brew, fit):
        return []
    half = 1.96 * float(np.hypot(shift.sd, BENT[shift.channel] * shift.seconds))
    low, high, sentence = shift.seconds - half, shift.seconds + half, _sentence(brew.label, shift, half)
    return [Finding("clocks differ", brew.label, None, None, shift.seconds, low, high, sentence)]


def _sentence(label: str, shift: Shift, half: float) -> str:
    later = "behind" if shift.seconds > 0 else "ahead of"
    text = (
        f"Brew {label}: the {NAMES[shift.channel]} about {abs(shift.seconds):.0f} s {later} {OTHERS[shift.channel]} "
        f"(±{half:.0f}). Two loggers whose clocks differ? Set both to one clock; constants of this brew "
        "lean on the wrong times. "
    )
    if shift.akin:
        text += "Whether both sensors or the base sensor alone were stamped so, these readings do not tell. "
    if shift.channel == "bed":
        return text + "A bed probe's own lag hides shifts below 80 s, and many below two and a half minutes."
    return text + "Shifts below 45 s are not seen, those that most brews share may not be."


def clock_shift(day: DayFit, fit: RigFit) -> Shift | None:
    """Shift of the readings that explains one mash best; None where the mash cannot be fitted again.

    Parameters
    ----------
    day : DayFit
    fit : RigFit
        Its other brews say what constants to expect: flow or lag would else do for the bed what a shift does.

    Notes
    -----
    Sum of squares against the shift, minute by minute; place and sd of the minimum from the parabola through the best
    three half minutes, correlated residuals counted once.
    """
    if day.mash is None:
        return None
    again = Restamped(day, fit)
    found = {name: shift for name, columns in CHANNELS.items() if (shift := _best(again, name, columns)) is not None}
    lag = fit["probe_lag"] if np.isfinite(fit["probe_lag"]) else 0.0
    found = {name: replace(s, sd=float(np.hypot(s.sd, OPEN_LAG[name] * lag))) for name, s in found.items()}
    if not found:
        return None
    best = min(found.values(), key=lambda shift: shift.left)
    other = found.get({"temperatures": "base", "base": "temperatures"}.get(best.channel, ""))
    if other is None or other.left > AKIN * best.left:
        return best
    sd = float(np.hypot(best.sd, (best.seconds - other.seconds) / 2))
    return replace(best, sd=sd, akin=True)


def _best(again: Restamped, channel: str, columns: tuple[int, ...]) -> Shift | None:
    """Shift of one channel at which the squares are least; None where they have no such place within reach."""

    def squares(shift: float) -> float:
        return again.squares(shift, columns)

    grid = np.arange(-REACH, REACH + 1, STEP).tolist()
    best = min(grid, key=squares)
    while abs(best) == max(map(abs, grid)) and abs(best) < FARTHEST:
        grid.append(best + np.sign(best) * STEP)
        best = min(grid, key=squares)
    best = min((best - FINE, best, best + FINE), key=squares)
    low, mid, high = squares(best - FINE), squares(best), squares(best + FINE)
    bend = (low - 2 * mid + high) / FINE**2
    now = squares(0.0)
    if not np.isfinite(bend) or not np.isfinite(now) or bend <= 0 or mid > min(low, high):
        return None
    at = float(best + (low - high) / (2 * bend * FINE))
    sd = float(np.sqrt(2 * mid / (again.counted(best, columns) * bend)))
    return Shift(channel, at, float(np.hypot(sd, OPEN_SD[channel])), float(mid / now))


def hints(day: DayFit) -> dict[str, float]:
    """Part of the squares of a mash that a small shift of each channel would take away, to first order. [1]

    Parameters
    ----------
    day : DayFit
        With a mash.

    Notes
    -----
    A reading stamped too late by s differs by -s times its rate. What the constants of the fit can mimic of it is left
    out.
    """
    assert day.mash is not None
    sums = {channel: np.zeros(3) for channel in CHANNELS}
    for index, series in enumerate(day.mash.series):
        rest, modelled = day.mash.residuals[index], day.mash.predict(index)
        good = np.isfinite(rest)
        basis, _ = np.linalg.qr(slopes_of(series, day.mash, index)[good])
        left = rest[good] - basis @ (basis.T @ rest[good])
        for channel, columns in CHANNELS.items():
            slope = np.zeros(rest.shape)
            for i in columns:
                slope[:, i] = -np.gradient(modelled[:, i], series.elapsed)
            own = slope[good] - basis @ (basis.T @ slope[good])
            sums[channel] += own @ left, own @ own, left @ left
    return {name: float(pull**2 / max(square * whole, 1e-12)) for name, (pull, square, whole) in sums.items()}
