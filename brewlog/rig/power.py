"""Electrical power from each row to the next, from what was logged: watts, per cent, or on and off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from brewlog.logbook.records import Rest, Rig

WINDOWS = (2, 3, 4, 5, 6)
"""Rows after which a time-proportioned heater may meet the log again in the same part of its window."""
LEAST_SWING = 0.05
"""Part by which the highest phase must exceed the mean to count. [1]"""
CLEAR_SWING = 2.5
"""And by how many of its standard errors. [1]"""
ITSELF = 0.25
"""A phase below this part of the highest one: what is logged is the heater itself, not what was asked of it. [1]"""
LEFT_OF_SWING = 1 / 3
"""Part of the swing that stays as sd of the power at rest. [1]"""
SHORT, LONG = 0.125, 0.375
"""A pulse up to the first part of its window is decided by the demand before it; from the second on, what was asked
for while it lasted has fallen as low as the mean. Between them in proportion. [1]"""
LOCKED_SD = 0.3
"""Relative sd of the power at rest where on and off are logged in step with the heater's window. [1]"""


@dataclass(frozen=True)
class Power:
    """Power of one trace."""

    watts: np.ndarray | None
    """From each row to the next; None where nothing tells it. [W]"""
    how: str
    """How it was had, in words; the reason where it is None."""
    sd: float = 0.0
    """Relative sd of the power at rest that comes with the way of logging. [1]"""
    switched: bool = False
    """Only on and off were logged."""


def power_of(trace: Any, rig: Rig | None) -> Power:
    """Electrical power from each row to the next, and how it was had.

    Per cent and 0/1 need the nameplate. Where a 0/1 channel flips nearly every row, the heater is time-proportioned
    and a row tells only one moment of its window: then a moving mean over two minutes stands for it, which keeps the
    energy. Where per cent swing in step with the rows, see `acting_demand`.

    Parameters
    ----------
    trace : pandas.DataFrame
    rig : Rig or None

    Returns
    -------
    Power
    """
    nameplate = rig.heater_power if rig is not None else None
    elapsed = trace["elapsed"].to_numpy(float)
    if "power_watt" in trace:
        watts = trace["power_watt"].to_numpy(float)
        most = max(float(np.nanmax(watts, initial=1.0)), 1.0)
        found = acting_demand(elapsed, watts / most)
        return Power(found.share * most, "logged in watts" + found.words, found.sd)
    if "power" in trace and trace["power"].notna().any():
        if nameplate is None:
            return Power(None, "power is logged in % but heater_power is not recorded in rigs.csv")
        share = trace["power"].to_numpy(float) / 100
        found = acting_demand(elapsed, share)
        return Power(found.share * nameplate, "logged in % of nameplate" + found.words, found.sd)
    if "heater" in trace and trace["heater"].notna().any():
        if nameplate is None:
            return Power(None, "heater is logged as 0/1 but heater_power is not recorded in rigs.csv")
        duty = trace["heater"].to_numpy(float)
        if flips(duty) > 0.15:
            mean = moving_mean(elapsed, duty, 120.0) * nameplate
            if in_step(elapsed, duty):
                return Power(mean, "0/1 logged in step with the heater's window: its mean is not told", LOCKED_SD, True)
            return Power(mean, "0/1 of a time-proportioned heater, as a mean over 2 min", 0.0, True)
        return Power(duty * nameplate, "0/1 times nameplate", 0.0, True)
    return Power(None, "no power is logged")


def limited(power: Power, trace: Any, rests: Sequence[Rest], span: tuple[float, float]) -> Power:
    """The power with the limits that were set for the rests, where only on and off were logged.

    Parameters
    ----------
    power : Power
    trace : pandas.DataFrame
        Its `set_temp` tells which rest a row belongs to.
    rests : sequence of Rest
        Their `power` is the limit. [%]
    span : (float, float)
        From mash-in to the lift. [s]

    Returns
    -------
    Power
        As given where no limit was set; without set temperature only with a wider sd.
    """
    limits = [(rest.temp, rest.power / 100) for rest in rests if rest.power is not None and rest.power < 100]
    if not power.switched or power.watts is None or not limits:
        return power
    if "set_temp" not in trace or not trace["set_temp"].notna().any():
        words = power.how + "; the power of a rest was limited, but no set_temp tells when"
        return replace(power, how=words, sd=max(power.sd, (1 - min(limit for _, limit in limits)) / 2))
    goal, t = trace["set_temp"].to_numpy(float), trace["elapsed"].to_numpy(float)
    watts = power.watts.copy()
    for temp, limit in limits:
        if temp is not None:
            watts[(np.abs(goal - temp) < 0.3) & (t >= span[0]) & (t <= span[1])] *= limit
    return replace(power, watts=watts, how=power.how + ", with the limits of the rests")


@dataclass(frozen=True)
class Demand:
    """Demand as it acts."""

    share: np.ndarray
    """Part of full power from each row to the next. [1]"""
    words: str
    sd: float
    """Relative, at rest. [1]"""


def acting_demand(elapsed: np.ndarray, share: np.ndarray) -> Demand:
    """Demand that decides how long the heater is on: each row's own, unless it swings in step with the rows.

    A controller that switches its heater within short windows logs what it asks for at that moment. Each pulse warms
    the base a little, so that the demand falls after the pulse and rises before the next one: a swing that returns
    every two to six rows. What decides is the demand before the pulse is felt; the mean of all rows is too low (by 5 to
    45 % at rest on simulated rigs, and with it the loss).

    Parameters
    ----------
    elapsed : numpy.ndarray
        [s]
    share : numpy.ndarray
        Demand as part of full power. [1]

    Returns
    -------
    Demand
        The highest phase while little is asked for, the mean where pulses are long; a third of the swing stays as sd.

    Examples
    --------
    >>> t = 10.0 * np.arange(400)
    >>> steady = np.full(400, 0.2) + 0.01 * np.sin(t)
    >>> bool((acting_demand(t, steady).share == steady).all())
    True
    >>> swinging = np.where(np.arange(400) % 2 == 0, 0.20, 0.14)
    >>> acting_demand(t, swinging).share.mean().round(3)
    np.float64(0.195)
    """
    as_is = Demand(share, "", 0.0)
    first, last = longest_even(elapsed)
    phases = _phases(share[first:last])
    if phases is None:
        return as_is
    k, means, mean, error = phases
    top, high = float(means.max()), int(np.argmax(means))
    if top - mean < max(LEAST_SWING * mean, CLEAR_SWING * error) or means.min() < ITSELF * top:
        return as_is
    row = np.arange(last - first)
    decides = share[first:last][np.maximum((row - high) // k * k + high, 0)]
    share = share.copy()
    weight = np.clip((LONG - _running(share[first:last], 2 * k)) / (LONG - SHORT), 0.0, 1.0)
    share[first:last] = weight * decides + (1 - weight) * _running(share[first:last], k)
    words = f"; it swings every {k} rows as a time-proportioned heater does, and the highest of them count most"
    return Demand(share, words, LEFT_OF_SWING * (top - mean) / top)


def _running(values: np.ndarray, width: int) -> np.ndarray:
    """Running mean over `width` rows, shorter at the ends."""
    good = np.isfinite(values).astype(float)
    ones = np.ones(width)
    count = np.convolve(good, ones, "same")
    return np.convolve(np.nan_to_num(values), ones, "same") / np.maximum(count, 1.0)


def longest_even(elapsed: np.ndarray) -> tuple[int, int]:
    """First row of the longest stretch of equal steps, and the row after its last."""
    step = np.round(np.diff(elapsed), 1)
    if step.size == 0:
        return 0, elapsed.size
    edges = np.concatenate([[0], np.flatnonzero(np.diff(step) != 0) + 1, [step.size]])
    longest = int(np.argmax(np.diff(edges)))
    return int(edges[longest]), int(edges[longest + 1]) + 1


def _phases(share: np.ndarray) -> tuple[int, np.ndarray, float, float] | None:
    """Rows per swing, mean demand of each phase, mean of all and its standard error; at rest, without slow changes."""
    slow = _running(share, 12)
    partial = np.isfinite(share) & (slow > 0.02) & (slow < 0.5)
    if partial.sum() < 60:
        return None
    best = None
    for k in WINDOWS:
        slow = _running(share, 2 * k)
        rest = (share - slow)[partial]
        phase = np.arange(share.size)[partial] % k
        means = np.array([rest[phase == i].mean() if (phase == i).sum() > 8 else np.nan for i in range(k)])
        if not np.isfinite(means).all():
            continue
        after = rest - means[phase]
        explained = 1 - after.var() / max(rest.var(), 1e-12)
        if best is None or explained > best[0] + 0.05:
            best = explained, k, means, float(after.std() / np.sqrt(rest.size / k))
    if best is None:
        return None
    _, k, means, error = best
    mean = float(share[partial].mean())
    return k, means - means.mean() + mean, mean, error


def in_step(elapsed: np.ndarray, duty: np.ndarray) -> bool:
    """True where a 0/1 channel meets the heater's window always in the same part: some phase is nearly always on."""
    first, last = longest_even(elapsed)
    duty = duty[first:last]
    near = np.convolve(np.abs(np.diff(duty, prepend=duty[:1])) > 0.5, np.ones(15), "same") > 0
    rows = np.arange(duty.size)
    for k in WINDOWS:
        means = [float(np.nanmean(duty[near & (rows % k == i)])) for i in range(k) if (near & (rows % k == i)).any()]
        if len(means) == k and max(means) - min(means) > 0.6:
            return True
    return False


def flips(duty: np.ndarray) -> float:
    """Part of the steps at which a 0/1 channel changes, among the rows near which it works at all."""
    good = duty[np.isfinite(duty)]
    if good.size < 10:
        return 0.0
    change = np.abs(np.diff(good)) > 0.5
    near = np.convolve(change, np.ones(15), "same") > 0
    return float(change[near].mean()) if near.any() else 0.0


def moving_mean(elapsed: np.ndarray, values: np.ndarray, width: float) -> np.ndarray:
    """Mean over a window of `width` seconds about each row, each row weighing as long as it lasts; NaN are left out."""
    lasts = np.append(np.diff(elapsed), 0.0)
    good = np.isfinite(values)
    time = np.concatenate([[0.0], np.cumsum(np.where(good, lasts, 0.0))])
    area = np.concatenate([[0.0], np.cumsum(np.where(good, values, 0.0) * lasts)])
    first = np.searchsorted(elapsed, elapsed - width / 2)
    last = np.searchsorted(elapsed, elapsed + width / 2)
    long = time[last] - time[first]
    return np.where(long > 0, (area[last] - area[first]) / np.where(long > 0, long, 1.0), values)
