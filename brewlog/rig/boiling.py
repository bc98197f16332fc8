"""What the way to the boil and the boil itself tell: vapour on the way, and the heater's share once more."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brewlog.logbook.records import Brew, Rig
from brewlog.rig.capacity import vessel_from_records
from brewlog.rig.day import Day
from brewlog.rig.fitting import fit_model
from brewlog.rig.model import one_node
from brewlog.rig.series import make_series
from brewlog.rig.volumes import StageVolumes, poured
from brewlog.wort.account import WATER_20
from brewlog.wort.properties import specific_heat, wort_density
from brewlog.wort.water import boiling_point, latent_heat

LID_OFF_LOSS = (0.5, 0.25)
"""What the walls alone lose, as part of the mash's loss, and its relative sd (common practice, no source): no lid, no
bed. [1]"""
WAY = (8.0, 1.5)
"""The way to the boil is taken from so far below the boil until so far below it: by then the rinse is over, and nothing
boils yet. [K]"""
LONG_WAY = 14.0
"""Rinse water that ran in to the end shows better on a way that begins so far below the boil. [K]"""
QUICKENS = 0.2
"""The wort may warm so much faster at the end of the way than at its beginning, as part of its mean rate: noise alone;
where the rinse ended on the way, 0.3 to 1.1. [1]"""
SLOWS = 0.2
"""And so much slower; vapour alone makes 0.02 to 0.05. [1]"""
SLOWS_LONG = 0.15
"""The same on the long way, which tells more; rinse water that runs in to the end makes 0.2 to 0.4. [1]"""
SHORTEST_BOIL = 20.0
"""[min]"""
ROOM_VAPOUR = 1.2
"""Vapour pressure in a room of 20 degC, half moist. [kPa]"""


@dataclass(frozen=True, slots=True)
class Told:
    """One number told by one stretch of one day."""

    estimate: float
    sd: float


def vapour_pressure(temp: np.ndarray) -> np.ndarray:
    """Vapour pressure of water between 82 and 102 degC, the inverse of its boiling point. [kPa]

    Parameters
    ----------
    temp : array_like
        [degC]

    Examples
    --------
    >>> vapour_pressure(np.array([99.974])).round(2)
    array([101.32])
    """
    pressure = np.linspace(50.0, 110.0, 241)
    return np.interp(temp, boiling_point(pressure=pressure), pressure)


def boil_share(brew: Brew, day: Day, stages: StageVolumes, heat_loss: float) -> Told:
    """Heater's share from what the boil took away as steam, against the power that went in.

    Parameters
    ----------
    brew : Brew
    day : Day
    stages : StageVolumes
    heat_loss : float
        Of the mash; the walls lose about half of it. [W/K]

    Returns
    -------
    Told
        [1]

    Raises
    ------
    ValueError
        With a plain reason where the boil cannot be used.

    Notes
    -----
    share x power x time = evaporated mass x latent heat + loss of the walls x (boil - room) x time. Volumes of two
    readings make this 5 to 15 % wide for one brew; it counts by that width.
    """
    if day.power is None:
        raise ValueError("no power is known for the boil")
    lacking = [words for name, words in (("boil", "start"), ("boil end", "end")) if name not in day.events]
    if lacking:
        verb = "is" if len(lacking) == 1 else "are"
        raise ValueError(f"{' and '.join(lacking)} of the boil {verb} neither recorded nor found")
    start, end = day.events["boil"], day.events["boil end"]
    rows = (day.elapsed >= start) & (day.elapsed < end) & np.isfinite(day.power)
    minutes = (end - start) / 60
    if minutes < SHORTEST_BOIL or rows.sum() < 10:
        raise ValueError(f"only {minutes:.0f} min of boil were logged; {SHORTEST_BOIL:.0f} are needed")
    gone, gone_sd = boiled_off(brew, stages)
    power = float(np.mean(day.power[rows]))
    if gone <= 0 or power <= 0:
        raise ValueError("volumes or power of the boil make no sense")
    hot = float(np.nanmedian(day.base[rows])) if np.isfinite(day.base[rows]).any() else 100.0
    steam = gone * WATER_20 * float(latent_heat(100.0)) / (end - start)
    walls = LID_OFF_LOSS[0] * heat_loss * (hot - float(np.nanmean(day.room)))
    sd = float(np.hypot(steam * gone_sd / gone, walls * LID_OFF_LOSS[1])) / power
    return Told((steam + walls) / power, sd)


def boiled_off(brew: Brew, stages: StageVolumes) -> tuple[float, float]:
    """Water that left in the boil and its sd. [L]

    Raises
    ------
    ValueError
        With the reason where it cannot be had.
    """
    pre, post, added = stages.volume.get("pre-boil"), stages.volume.get("post-boil"), poured(brew)
    if pre is None or post is None:
        raise ValueError("pre-boil or post-boil volume was not read")
    if added is None:
        raise ValueError("what joined in the boil is not fully recorded")
    return pre - post + added, float(np.hypot(stages.sd.get("pre-boil", 0.4), stages.sd.get("post-boil", 0.4)))


def vapour_on_the_way(
    day: Day, rig: Rig | None, stages: StageVolumes, share: Told, heat_loss: float, vessel: float | None = None
) -> Told:
    """Heat carried off by vapour on the last kelvins before the boil, per vapour pressure above the room's.

    Linear models end where vapour takes over (82 degC); what is missing there against heater and loss is the vapour.
    Share and vapour cannot be had both from this stretch: the share is that of the same day's other stretches.
    A small difference of large numbers: 1 % of heater share or litres moves it by 10 to 20 %, and what lid and walls
    lose beside it is only assumed. On 20 simulated rigs of 6 brews the mean of a rig came out 9 % high with 27 %
    scatter, single brews with some 40 %: it tells a lid that is on from one that is off, and little more. Days on which
    rinse water still ran in are refused; it needs as much heat as ten times the vapour.

    Parameters
    ----------
    day : Day
    rig : Rig or None
    stages : StageVolumes
    share : Told
        Heater share of the day.
    heat_loss : float
        Of the mash. [W/K]
    vessel : float, optional
        Heat capacity of the empty vessel; from the records if None. [J/K]

    Returns
    -------
    Told
        [W/kPa]

    Raises
    ------
    ValueError
        With a plain reason where the stretch cannot be used.
    """
    volume, extract = stages.volume.get("pre-boil"), stages.extract.get("pre-boil")
    if day.power is None or volume is None or extract is None:
        raise ValueError("power, pre-boil volume and gravity are needed for the way to the boil")
    rows = _way(day)
    temps, power = day.base[rows], day.power[rows]
    _steady(day, rows)
    mean = float(np.nanmean(temps))
    kettle = vessel_from_records(rig)[0] if vessel is None else vessel
    mass = volume * float(wort_density(extract, 20.0)) / 1000
    heat = mass * float(specific_heat(extract, mean)) + kettle
    series = make_series(
        day.elapsed[rows], power, base_temp=temps, ambient_temp=day.room[rows],
        vapour=vapour_pressure(np.nan_to_num(temps, nan=mean)) - ROOM_VAPOUR, label=day.label,
    )  # fmt: skip
    walls = LID_OFF_LOSS[0] * heat_loss
    start = {"heat_share": share.estimate, "base_heat_capacity": heat, "heat_loss": walls, "vapour_loss": 1.5}
    fixed = ("heat_share", "base_heat_capacity", "heat_loss", "probe_offset", "room_shift")
    fit = fit_model(one_node(evaporation=True), series, start, fixed=fixed)
    pressure = float(np.mean(series.vapour))
    watts = float(np.nanmean(power)) * share.estimate
    # litres stand behind the share, too, so that their error lifts both sides and all but cancels
    sd = np.hypot(watts * share.sd / share.estimate, walls * LID_OFF_LOSS[1] * (mean - 20.0)) / pressure
    return Told(fit.constants["vapour_loss"], float(np.hypot(sd, fit.sd["vapour_loss"])))


def _steady(day: Day, rows: np.ndarray) -> None:
    """Refuse a rise that quickens, or slows more than vapour can make it: rinse water still ran in."""
    bend = _bend(day.elapsed[rows], day.base[rows])
    if bend > QUICKENS:
        raise ValueError("the wort warmed faster and faster before the boil: rinse water still ran in")
    longer = _heated(day, LONG_WAY)
    longer = longer[longer <= rows[-1]]
    if bend < -SLOWS or _bend(day.elapsed[longer], day.base[longer]) < -SLOWS_LONG:
        raise ValueError(
            "the wort warmed slower and slower before the boil: rinse water seems to have run in to the end"
        )


def _bend(elapsed: np.ndarray, temps: np.ndarray) -> float:
    """Change of the rate from the first row to the last over its mean, by a parabola. [1]"""
    good = np.isfinite(temps)
    t, x = elapsed[good], temps[good]
    at = (t - t.mean()) / (t[-1] - t[0])
    bend, rate, _ = np.polyfit(at, x, 2)
    return float(2 * bend / rate)


def _way(day: Day) -> np.ndarray:
    """Rows of the last kelvins on the way to the boil."""
    rows = _heated(day, WAY[0])
    if rows.size < 6 or np.diff(rows).max(initial=0) > 3:
        raise ValueError("the last kelvins before the boil were not heated in one go, or not logged")
    return np.arange(rows[0], rows[-1] + 1)


def _heated(day: Day, below: float) -> np.ndarray:
    """Rows with the heater on between `below` kelvins below the boil and the end of the way."""
    if "boil" not in day.events:
        raise ValueError("start of the boil is neither recorded nor found")
    begin, end = day.events.get("lift", -np.inf), day.events["boil"]
    after = (day.elapsed >= end) & (day.elapsed < end + 900) & np.isfinite(day.base)
    if not after.any():
        raise ValueError("base_temp is not logged in the boil")
    top = float(np.median(day.base[after]))
    assert day.power is not None
    on = (day.elapsed > begin) & (day.elapsed < end) & (np.nan_to_num(day.power) > 0)
    return np.flatnonzero(on & (day.base > top - below) & (day.base < top - WAY[1]))
