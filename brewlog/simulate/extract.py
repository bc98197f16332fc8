"""Extract of a simulated brew: from the true bed temperatures to what is dissolved, rinsed out and left behind."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brewlog.simulate.plan import BrewPlan
from brewlog.simulate.rigs import SimulatedRig

GAS = 8.314462618
READY = 0.14
"""Part of the potential that is soluble in the malt already. [1]"""
GRIT_SHARE = 0.30
"""Part of the starch in coarse grits at a mill gap of 1.1 mm. [1]"""
GRITS_PER_MM = 0.75
"""Growth of that part with the gap. [1/mm]"""
FLOUR_RATE, GRIT_RATE = 1 / 360, 1 / 1350
"""Conversion of swollen starch at 68 degC, 3.5 L/kg, fresh enzyme. [1/s]"""
FLOUR_SWELLS, GRITS_SWELL = 61.0, 63.5
"""Half of the starch is swollen at this temperature: malted barley begins at 54 to 57 degC and is fully swollen at
61 to 65 degC (Foods 10(8) 1733, 2021); the cores of grits swell later. [degC]"""
SWELLING_WIDTH = 1.2
"""[K]"""
SWELLING_TIME = 150.0
"""[s]"""
WARMTH = 85.0e3
"""Activation energy of conversion. [J/mol]"""
DECAY, DECAY_WARMTH = 6.9e30, 224.2e3
"""Inactivation of alpha-amylase, first order, [1/s] and [J/mol]: Brandam et al., Biochem. Eng. J. 13, 43 (2003),
after Koljonen et al., J. Food Eng. 26, 329 (1995)."""


def decay_rate(temp: np.ndarray) -> np.ndarray:
    """Rate at which alpha-amylase is lost. [1/s]

    Examples
    --------
    >>> float(decay_rate(np.array(70.0))).__format__(".3e")  # half-life 22 min
    '5.147e-04'
    """
    return DECAY * np.exp(-DECAY_WARMTH / GAS / (np.asarray(temp) + 273.15))


def conversion(
    temps: np.ndarray, seconds: float, mill_gap: float, thickness: float, ready: float = READY
) -> np.ndarray:
    """Part of the potential that is dissolved at the end of the mash, layer by layer.

    Parameters
    ----------
    temps : numpy.ndarray, shape (steps, layers)
        True temperatures from mash-in to the lift. [degC]
    seconds : float
        Length of a step. [s]
    mill_gap : float
        [mm]
    thickness : float
        Mash water per mass of grist. [L/kg]
    ready : float
        Part that dissolves at once. [1]

    Returns
    -------
    numpy.ndarray, shape (layers,)
        0 to 1. [1]

    Notes
    -----
    Starch of flour and of grits swells towards the part that swells at the present temperature (a logistic curve),
    and swollen starch dissolves at a rate that grows with temperature and with the enzyme that is left; the enzyme is
    lost by first order. Thinner mashes dissolve a little faster. Rates are constant within a step.

    Examples
    --------
    >>> hour = np.full((720, 1), 66.0)
    >>> [round(float(conversion(hour, 5.0, gap, 3.5)[0]), 3) for gap in (0.9, 1.1, 1.3)]
    [0.946, 0.908, 0.871]
    """
    enzyme = np.exp(-np.cumsum(decay_rate(temps), axis=0) * seconds)
    warmth = np.exp(-WARMTH / GAS * (1 / (temps + 273.15) - 1 / 341.15))
    pace = enzyme * warmth * (thickness / 3.5) ** 0.3
    grits = np.clip(GRIT_SHARE + GRITS_PER_MM * (mill_gap - 1.1), 0.02, 0.9)
    flour_left = _left(temps, seconds, FLOUR_SWELLS, FLOUR_RATE * pace)
    grits_left = _left(temps, seconds, GRITS_SWELL, GRIT_RATE * pace)
    return 1 - (1 - ready) * (grits * grits_left + (1 - grits) * flour_left)


def _left(temps: np.ndarray, seconds: float, swells: float, rate: np.ndarray) -> np.ndarray:
    """Part of one kind of starch that is not dissolved at the end."""
    swollen_at = 1 / (1 + np.exp(-(temps - swells) / SWELLING_WIDTH))
    catch_up = 1 - np.exp(-seconds / SWELLING_TIME)
    raw = np.ones(temps.shape[1])
    swollen = np.zeros(temps.shape[1])
    stays = np.exp(-rate * seconds)
    for k in range(len(temps)):
        swells_now = np.maximum(raw - (1 - swollen_at[k]), 0.0) * catch_up
        raw = raw - swells_now
        swollen = (swollen + swells_now) * stays[k]
    return raw + swollen


def planned_temperatures(plan: BrewPlan, seconds: float) -> np.ndarray:
    """Bed temperatures of a mash that follows the plan exactly, shape (steps, 1). [degC]"""
    steps = [np.full(round(rest.time * 60 / seconds), rest.temp) for rest in plan.rests]
    return np.concatenate(steps)[:, None]


def true_conversion(temps: np.ndarray, seconds: float, plan: BrewPlan, disturbance: float) -> float:
    """Mean conversion of the bed with the plan's settings of what is real.

    Parameters
    ----------
    temps : numpy.ndarray, shape (steps, layers)
        [degC]
    seconds : float
        [s]
    plan : BrewPlan
    disturbance : float
        What nobody knows of, in points. [%]
    """
    gap = 1.1 + plan.gap_effect * (plan.mill_gap - 1.1)
    real = float(conversion(temps, seconds, gap, plan.thickness).mean())
    ideal = float(conversion(planned_temperatures(plan, seconds), seconds, gap, plan.thickness).mean())
    mixed = ideal + plan.hold_effect * (real - ideal) + disturbance / 100
    return float(np.clip(mixed, 0.3, 0.995))


@dataclass(frozen=True, slots=True)
class Drained:
    """What the lift and the rinse leave in the kettle and in the grain."""

    extract: float
    """Extract in the kettle. [kg]"""
    retained_extract: float
    """Extract that stays in the grain. [kg]"""
    retained_water: float
    """Water that stays in the grain. [kg]"""


def drain(
    rig: SimulatedRig, plan: BrewPlan, dissolved: float, water: float, mash_out: float, disturbance: float
) -> Drained:
    """Lift the grain and rinse it.

    Parameters
    ----------
    rig : SimulatedRig
    plan : BrewPlan
    dissolved : float
        Extract dissolved in the mash. [kg]
    water : float
        Water in the mash, that of the malt included. [kg]
    mash_out : float
        How far the mash-out was reached, 0 to 1: hot wort drains better. [1]
    disturbance : float
        What nobody knows of, in points of lauter. [%]

    Notes
    -----
    The grain keeps `absorption` litres of wort per kilogram, as strong as the mash. Rinsing with n volumes of that
    liquid washes it like a chain of two stirred tanks, of which the rig reaches the part `rinse`; thin beds rinse
    better than thick ones.
    """
    held = rig.absorption * plan.grist * (1.05 - 0.05 * mash_out)
    held = min(held, 0.6 * water)
    strength = dissolved / water
    depth = plan.grist / (rig.kettle_volume / 7)  # 1 for a full bed
    reach = np.clip((rig.rinse + plan.rinse_skill) * (1 - 0.25 * (depth - 1)) * (0.94 + 0.06 * mash_out), 0.05, 0.95)
    washed = plan.sparge_water / held
    two_tanks = 1 - (1 + 2 * washed) * np.exp(-2 * washed) if washed > 0 else 0.0
    left = held * strength * (1 - reach * two_tanks) - disturbance / 100 * dissolved
    left = float(np.clip(left, 0.0, 0.6 * dissolved))
    return Drained(dissolved - left, left, held)
