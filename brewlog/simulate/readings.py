"""What the brewer reads on a simulated day: gravities and volumes with the errors of real instruments."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brewlog.logbook.records import Reading
from brewlog.simulate.plan import BrewPlan
from brewlog.simulate.rigs import SimulatedRig
from brewlog.wort.gravity import correct_hydrometer
from brewlog.wort.properties import sg_from_extract, wort_density
from brewlog.wort.volume import volume_at_20


@dataclass(frozen=True, slots=True)
class Kettle:
    """Water and extract somewhere, and their temperature."""

    water: float
    """[kg]"""
    extract: float
    """[kg]"""
    temp: float = 20.0
    """[degC]"""

    @property
    def fraction(self) -> float:
        """Mass fraction of extract. [1]"""
        return self.extract / (self.water + self.extract)

    @property
    def volume(self) -> float:
        """At 20 degC. [L]

        Examples
        --------
        >>> round(Kettle(24.0, 3.0).volume, 3)  # 11.11 %: 1042.7 kg/m3
        25.894
        """
        return float((self.water + self.extract) / wort_density(self.fraction, 20.0) * 1000)

    @property
    def gravity(self) -> float:
        """Specific gravity 20/20. [1]"""
        return float(sg_from_extract(self.fraction))

    def without(self, volume: float) -> Kettle:
        """What is left when `volume` [L at 20 degC] stays behind."""
        part = 1 - volume / self.volume
        return Kettle(self.water * part, self.extract * part, self.temp)


@dataclass(frozen=True, slots=True)
class Instruments:
    """The instruments of a rig and their errors."""

    gravity_offset: float
    gravity_noise: float
    volume_offset: float
    volume_noise: float
    volume_step: float
    vessel: str
    brix_factor: float = 1.04
    """What a refractometer shows over the true extract. [1]"""

    @classmethod
    def of(cls, rig: SimulatedRig) -> Instruments:
        """Instruments of a rig."""
        return cls(
            rig.gravity_offset,
            rig.gravity_noise,
            rig.volume_offset,
            rig.volume_noise,
            rig.volume_step,
            rig.vessel_material,
        )


def hydrometer_reading(gravity: float, temp: float) -> float:
    """What a hydrometer made for 20 degC shows in wort of this true gravity at `temp`. [1]

    Examples
    --------
    >>> shown = hydrometer_reading(1.050, 30.0)
    >>> round(float(correct_hydrometer(shown, 30.0)), 5)
    1.05
    """
    shown = gravity
    for _ in range(6):
        shown += gravity - float(correct_hydrometer(shown, temp))
    return shown


def mark_reading(volume: float, temp: float, fraction: float, vessel: str) -> float:
    """What the marks of a vessel show for wort of `volume` [L at 20 degC] that stands there at `temp`. [L]"""
    return volume / float(volume_at_20(1.0, temp, fraction, vessel))


def take_readings(
    plan: BrewPlan,
    instruments: Instruments,
    first: Kettle,
    pre: Kettle,
    post: Kettle,
    fermenter: Kettle,
    rng: np.random.Generator,
) -> tuple[Reading, ...]:
    """Readings of one day, in the order in which they were taken.

    Every reading draws its errors whether the plan asks for it or not, so that plans do not shift one another's luck.
    """
    taken: list[Reading] = []
    for stage, kettle, marks in (
        ("first wort", first, False),
        ("pre-boil", pre, True),
        ("post-boil", post, True),
        ("fermenter", fermenter, False),
    ):
        errors = rng.standard_normal(5)
        if stage not in plan.reads:
            continue
        if stage != "first wort" or plan.refractometer:
            taken += _gravity(plan, stage, kettle, instruments, errors)
        if stage != "first wort":
            taken.append(_volume(plan, stage, kettle, marks, instruments, errors))
    return tuple(taken)


def _gravity(plan: BrewPlan, stage: str, kettle: Kettle, instruments: Instruments, errors: np.ndarray) -> list[Reading]:
    if plan.refractometer and stage in ("first wort", "pre-boil"):
        brix = 100 * kettle.fraction * instruments.brix_factor + 0.1 * errors[0]
        return [Reading(plan.brew, stage, "gravity", round(brix / 0.2) * 0.2, "Brix", 20.0, "refractometer")]
    temp = round(float(np.clip(22.0 + 3.0 * errors[1], 17.0, 32.0)), 0)
    if stage == "pre-boil" and plan.hot_samples:
        temp = round(38.0 + 5.0 * float(np.clip(errors[1], -2.0, 2.0)), 0)
    shown = hydrometer_reading(kettle.gravity, temp) + instruments.gravity_offset
    shown = round((shown + instruments.gravity_noise * errors[0]) / 0.0005) * 0.0005
    return [Reading(plan.brew, stage, "gravity", round(shown, 4), "SG", temp, "hydrometer")]


def _volume(
    plan: BrewPlan, stage: str, kettle: Kettle, marks: bool, instruments: Instruments, errors: np.ndarray
) -> Reading:
    temp = round(kettle.temp - 1.0) if marks else round(kettle.temp, 0)
    vessel = instruments.vessel if marks else None
    shown = kettle.volume / float(volume_at_20(1.0, kettle.temp, kettle.fraction, vessel))
    noise = instruments.volume_noise if marks else 0.6 * instruments.volume_noise
    offset = instruments.volume_offset if marks else 0.0
    step = instruments.volume_step
    shown = round((shown + offset + noise * errors[2]) / step) * step
    return Reading(plan.brew, stage, "volume", round(shown, 3), "L", float(temp), "sight glass" if marks else "marks")
