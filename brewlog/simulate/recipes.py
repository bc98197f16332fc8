"""Invented recipes, and the plans that a simulated brewer makes of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from brewlog.simulate.plan import BrewPlan, PlannedMalt, PlannedRest
from brewlog.simulate.rigs import SimulatedRig

PLANNED_MASH = 0.79
"""Mash efficiency against the laboratory's potential that the brewer plans with. [1]"""

SHEETS = {
    "pale malt": (0.812, 0.042, 0.015),
    "pilsner malt": (0.816, 0.044, 0.014),
    "wheat malt": (0.838, 0.047, 0.016),
    "munich malt": (0.802, 0.041, 0.017),
    "caramel malt": (0.765, 0.058, None),
    "roasted malt": (0.705, 0.028, None),
    "flaked oats": (0.70, 0.09, None),
}
"""Extract (fine grind, dry basis), moisture and fine-coarse difference on the sheets. [1]"""


@dataclass(frozen=True, slots=True)
class Recipe:
    """A recipe without sizes."""

    name: str
    style: str
    gravity: float
    """Pre-boil, as the recipe has it. [SG]"""
    malts: dict[str, float]
    """Share of each malt by mass. [1]"""
    rests: tuple[tuple[float, float, str], ...]
    """Temperature [degC], time [min], purpose."""


_TWO = ((64.0, 40.0, "saccharification"), (71.0, 20.0, "saccharification"), (77.0, 8.0, "mash-out"))
_ONE = ((66.0, 60.0, "saccharification"), (77.0, 8.0, "mash-out"))

RECIPES = (
    Recipe("Millrace", "pale ale", 1.046, {"pale malt": 0.88, "wheat malt": 0.07, "caramel malt": 0.05}, _ONE),
    Recipe("Towpath", "pale ale", 1.043, {"pale malt": 0.92, "caramel malt": 0.08}, _TWO),
    Recipe("Hayloft", "wheat beer", 1.044, {"wheat malt": 0.55, "pilsner malt": 0.45}, _TWO),
    Recipe("Lantern", "lager", 1.045, {"pilsner malt": 0.93, "munich malt": 0.07}, _TWO),
    Recipe("Rookery", "brown ale", 1.048, {"pale malt": 0.82, "caramel malt": 0.12, "roasted malt": 0.06}, _ONE),
    Recipe(
        "Colliers",
        "stout",
        1.051,
        {"pale malt": 0.76, "flaked oats": 0.09, "roasted malt": 0.08, "caramel malt": 0.07},
        _ONE,
    ),
    Recipe("Harvest", "amber lager", 1.049, {"munich malt": 0.5, "pilsner malt": 0.45, "caramel malt": 0.05}, _TWO),
)


def potential_share(recipe: Recipe) -> float:
    """Potential extract per mass of grist. [1]"""
    return sum(share * SHEETS[malt][0] * (1 - SHEETS[malt][1]) for malt, share in recipe.malts.items())


def planned_grist(recipe: Recipe, volume: float) -> float:
    """Grist for a pre-boil volume at 20 degC of the recipe's gravity. [kg]

    Examples
    --------
    >>> round(planned_grist(RECIPES[0], 27.5), 2)
    5.36
    """
    # a kilogram of extract in a litre gives 385 points (sucrose, SPS-4)
    return (recipe.gravity - 1) * 1000 / 385.0 * volume / PLANNED_MASH / potential_share(recipe)


def draw_plan(rig: SimulatedRig, recipe: Recipe, brew: str, rng: np.random.Generator, **settings: Any) -> BrewPlan:
    """Make a plan of a recipe for a rig, with the small differences of one day to the next.

    Parameters
    ----------
    rig : SimulatedRig
    recipe : Recipe
    brew : str
        Label.
    rng : numpy.random.Generator
    **settings
        Fields of `BrewPlan` that are given.
    """
    draws = rng.standard_normal(8)
    volume = planned_volume(rig)
    grist = planned_grist(recipe, volume) * float(np.clip(1 + 0.05 * draws[0], 0.88, 1.12))
    step = 0.05 if rig.kettle_volume < 50 else 0.1
    malts = tuple(
        PlannedMalt(malt, max(round(round(share * grist / step) * step, 2), step), *SHEETS[malt])
        for malt, share in recipe.malts.items()
    )
    grist = sum(malt.mass for malt in malts)
    water = round(2 * grist * float(np.clip(3.75 + 0.25 * draws[1], 3.2, 4.4))) / 2
    # the grain holds some back, the extract itself takes room: 0.62 L/kg
    room_of_extract = 0.62 * (recipe.gravity - 1) * 1000 / 385.0 * volume
    sparge = round(2 * (volume + rig.absorption * grist + 0.02 * volume - room_of_extract - water)) / 2
    longer = float(rng.choice([0.0, 0.0, 0.0, 5.0, 10.0, 15.0]))
    rests = tuple(
        PlannedRest(
            temp,
            time + (longer if k == 0 else 0.0),
            purpose,
            headroom=8.0 if purpose == "mash-out" else 6.0,
            power=80.0 if k else 100.0,
        )
        for k, (temp, time, purpose) in enumerate(recipe.rests)
    )
    plan: dict[str, Any] = {
        "brew": brew,
        "malts": malts,
        "rests": rests,
        "mash_water": water,
        "sparge_water": max(sparge, 0.0),
        "sparge_temp": round(75.0 + 2.0 * draws[2]),
        "grain_temp": round(16.0 + 2.5 * draws[3], 1),
        "strike_lead": round(0.6 + 0.7 * draws[4], 1),
        "tap_temp": round(12.0 + 2.0 * draws[5], 1),
    }
    return BrewPlan(**(plan | settings))


def planned_volume(rig: SimulatedRig) -> float:
    """Pre-boil volume that the brewer plans for a rig. [L at 20 degC]"""
    return round(2 * 0.8 * rig.kettle_volume) / 2
