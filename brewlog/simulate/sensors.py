"""What sensors, mains and room do to a simulated day, drawn beforehand on the day's time grid.

Drawn beforehand and by the clock, the same day can be brewed again with another control sensor and meets the same
mains, the same room and the same noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from brewlog.simulate.rigs import Probe, SimulatedRig


def wander(sd: float, time: float, seconds: float, steps: int, rng: np.random.Generator) -> np.ndarray:
    """Slow random wander with standard deviation `sd` and correlation time `time`, one value a step.

    Examples
    --------
    >>> slow = wander(2.0, 100.0, 5.0, 200_000, np.random.default_rng(1))
    >>> round(float(slow.std()), 1), round(float(np.corrcoef(slow[:-20], slow[20:])[0, 1]), 1)
    (2.0, 0.4)
    """
    keep = np.exp(-seconds / time)
    kicks = sd * np.sqrt(1 - keep**2) * rng.standard_normal(steps)
    kicks[0] = sd * rng.standard_normal()
    return lfilter([1.0], [1.0, -keep], kicks)


def dropouts(per_hour: float, length: float, seconds: float, steps: int, rng: np.random.Generator) -> np.ndarray:
    """Steps at which a wireless sensor is out of touch: exponential stretches at random times."""
    lost = np.zeros(steps, dtype=bool)
    for _ in range(rng.poisson(per_hour * seconds * steps / 3600)):
        start = int(rng.integers(steps))
        lost[start : start + max(1, round(rng.exponential(length) / seconds))] = True
    return lost


@dataclass
class Reader:
    """A sensor during one day: turns the state behind its lag into what is displayed."""

    probe: Probe
    noise: np.ndarray
    lost: np.ndarray
    hold: int
    """Steps for which one reading is repeated."""
    depth: float
    last: float = np.nan

    @classmethod
    def draw(cls, probe: Probe, seconds: float, steps: int, rng: np.random.Generator) -> Reader:
        """Draw a day's noise, dropouts and place for a sensor."""
        noise = probe.offset + probe.noise * rng.standard_normal(steps)
        lost = dropouts(probe.dropouts, probe.dropout_length, seconds, steps, rng)
        depth = float(np.clip(probe.depth + probe.depth_sd * rng.standard_normal(), 0.05, 0.95))
        return cls(probe, noise, lost, max(1, round(probe.period / seconds)), depth)

    def read(self, step: int, value: float) -> float:
        """Reading at a step; NaN while out of touch."""
        if self.lost[step]:
            return np.nan
        if step % self.hold == 0 or self.last != self.last:
            self.last = round(round((value + self.noise[step]) / self.probe.step) * self.probe.step, 6)
        return self.last


@dataclass(frozen=True)
class Weather:
    """What the day brings from outside, on the time grid."""

    mains: np.ndarray
    """Mains voltage over its nominal value. [1]"""
    room: np.ndarray
    """Temperature of the room around its mean of the day. [K]"""

    @classmethod
    def draw(cls, rig: SimulatedRig, seconds: float, steps: int, rng: np.random.Generator) -> Weather:
        """Draw mains and room of a day."""
        mains = 1 + rig.mains_sd * rng.standard_normal() + wander(rig.mains_wander, 1800.0, seconds, steps, rng)
        hours = np.arange(steps) * seconds / 3600
        room = wander(0.5, 2400.0, seconds, steps, rng) + 1.5 * (1 - np.exp(-hours / 1.5)) - 0.7
        return cls(np.clip(mains, 0.9, 1.1), room)


def layer_weights(depth: float, layers: int) -> dict[str, float]:
    """Weights of the layers whose mean a probe at `depth` (0 top, 1 bottom) sees.

    Examples
    --------
    >>> layer_weights(0.5, 8)
    {'layer_4': 0.5, 'layer_5': 0.5}
    """
    place = min(max(depth * layers - 0.5, 0.0), layers - 1.0)
    upper = min(int(place), layers - 2) if layers > 1 else 0
    if layers == 1:
        return {"layer_1": 1.0}
    return {f"layer_{upper + 1}": 1 - (place - upper), f"layer_{upper + 2}": place - upper}
