"""The controller of a simulated rig: from sensor readings to heater power."""

from __future__ import annotations

import math

from brewlog.simulate.rigs import Controller


class Regulator:
    """A controller at work: keeps its integral and its switch between calls.

    On the base sensor it holds the base at the rest temperature. On the bed it lets the base lead the rest
    temperature by what the bed still lacks, but never by more than the headroom.

    Parameters
    ----------
    settings : Controller
    seconds : float
        Time between two calls. [s]

    Examples
    --------
    >>> regulator = Regulator(Controller(), 5.0)
    >>> regulator.demand(65.0, base=60.0, bed=60.0, follows="mash", headroom=6.0, limit=0.8)
    0.8
    """

    def __init__(self, settings: Controller, seconds: float) -> None:
        self.settings = settings
        self.seconds = seconds
        self.integral = 0.0
        self.on = False
        self.blind = 0.0
        self.acting = "base"
        """Sensor that was acted on last: under mash control `base` after the bed was out of touch for too long."""
        self.last_bed = math.nan
        self.target = math.nan

    def _choose(self, bed: float, follows: str) -> str:
        self.blind = 0.0 if bed == bed else self.blind + self.seconds
        if bed == bed:
            self.last_bed = bed
        return "base" if follows == "base" or self.blind > self.settings.patience else "mash"

    def demand(self, target: float, base: float, bed: float, follows: str, headroom: float, limit: float) -> float:
        """Share of full power that is asked for, 0 to `limit`.

        Parameters
        ----------
        target : float
            Rest temperature. [degC]
        base, bed : float
            Readings; NaN where there is none. [degC]
        follows : str
            `base` or `mash`.
        headroom : float
            Under mash control the base may run this far above `target`. [K]
        limit : float
            Limit of power, 0 to 1. [1]
        """
        self.acting = sensor = self._choose(bed, follows)
        if limit <= 0:
            return 0.0
        if target != self.target:  # what holding the last rest took is no measure of this one
            self.target, self.integral = target, min(self.integral, 0.5)
        goal = target + (self._base_lead(target - self.last_bed, headroom) if sensor == "mash" else 0.0)
        if sensor == "base" and follows == "base":
            goal += self.settings.base_margin
        share = self._switch(goal - base) if self.settings.kind == "on-off" else (goal - base) / self.settings.band
        return min(max(share, 0.0), limit)

    def _base_lead(self, error: float, headroom: float) -> float:
        """How far above the rest temperature the base shall run to bring the bed there. [K]"""
        settings = self.settings
        if abs(error) < 1.0:  # far away the integral would only wind up
            self.integral += error * self.seconds / settings.integral_time
            self.integral = min(max(self.integral, 0.0), 2.5)
        return min(max(settings.gain * error + self.integral, -1.0), headroom)

    def _switch(self, error: float) -> float:
        if abs(error) > self.settings.band / 2:
            self.on = error > 0
        return float(self.on)


def on_share(demand: float, time: float, window: float, seconds: float) -> float:
    """Share of the next `seconds` in which a time-proportioned heater is on.

    Within each window the heater is on first, for `demand` of its length; without a window it follows the demand.

    Examples
    --------
    >>> [on_share(0.3, time, 20.0, 5.0) for time in (0.0, 5.0, 10.0, 15.0)]
    [1.0, 0.2, 0.0, 0.0]
    """
    if window <= 0:
        return demand
    left = demand * window - time % window
    return min(max(left / seconds, 0.0), 1.0)
