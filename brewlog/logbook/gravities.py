"""Units of a gravity that is not read off an instrument: a plan in degrees Plato is one in SG."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from brewlog.logbook.layout import GRAVITY_WORDS
from brewlog.logbook.values import plain
from brewlog.quantities import Scale, parse_unit
from brewlog.sucrose import (
    AIR_DENSITY,
    DENSITY_PER_SG,
    density_slope_float,
    extract_from_sg_float,
    sg_from_extract_float,
)

SG = Scale("SG", 1.0, 0.0)
THREE_DECIMALS = re.compile(r"^\s*[01][.,]\d{3}")
"""A gravity as it is written in SG, whatever the unit beside it says."""
USUAL_EXTRACT = 0.12
"""Extract at which a standard deviation in degP is one in SG; from 5 to 20 degP that moves it by 6 %. [1]"""


@dataclass(frozen=True, slots=True)
class Curve:
    """How numbers in some unit become canonical where no straight line leads there."""

    unit: str
    forth: Callable[[float], float]
    back: Callable[[float], float]
    """Bring a canonical number to this unit."""
    factor: float = float("nan")
    """No one factor does it."""

    def __call__(self, number: float) -> float:
        """Bring a number to the canonical unit."""
        return self.forth(number)


DEGP = Curve(
    "degP",
    lambda plato: float(sg_from_extract_float(np.array(plato / 100.0))),
    lambda sg: 100.0 * float(extract_from_sg_float(np.array(sg))),
)
"""Mass per cent of sugar to apparent specific gravity 20/20, and back."""


class ReadUnit(NamedTuple):
    """How numbers in some unit are read."""

    scale: Scale | Curve
    wish: str = ""
    """What would need no word."""
    read_as: str = ""
    """What was assumed; empty where nothing was."""


def gravity_unit(written: str, spread: bool = False) -> ReadUnit | None:
    """Scale that brings gravities in some unit to SG; None where it is no unit of a gravity.

    Parameters
    ----------
    written : str
        As the brewer wrote it.
    spread : bool
        True for a standard deviation, which has a slope in place of the curve.

    Returns
    -------
    ReadUnit or None

    Examples
    --------
    >>> round(gravity_unit("°P").scale(12.0), 4), round(gravity_unit("Brix").scale.back(1.0484), 2)
    (1.0484, 12.0)
    >>> round(gravity_unit("degP", spread=True).scale(0.25), 5), gravity_unit("kg")
    (0.00105, None)
    """
    word = GRAVITY_WORDS.get(plain(written))
    if word == "SG":
        return ReadUnit(SG)
    if word in ("degP", "Brix") and spread:
        per_plato = float(density_slope_float(np.array(USUAL_EXTRACT), 20.0)) / DENSITY_PER_SG / 100.0
        cost = f"1 {word} taken as {per_plato:.4f} in SG, as in wort of {100 * USUAL_EXTRACT:g} degP"
        return ReadUnit(Scale(word, per_plato, 0.0), "a standard deviation in SG", cost)
    if word == "Brix":
        return ReadUnit(DEGP, "SG or degP", "read as degP, sugar by weight, without a wort correction factor")
    if word == "degP":
        return ReadUnit(DEGP)
    try:
        own = parse_unit("kg/m^3" if word else written, "kg/m^3")
    except ValueError:
        return None
    air = 0.0 if spread else AIR_DENSITY
    scale = Scale(own.unit, own.factor / DENSITY_PER_SG, (own.offset - air) / DENSITY_PER_SG)
    return ReadUnit(scale, "SG, or degP", "" if spread else "read as the density at 20 degC")
