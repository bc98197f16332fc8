"""Units: the one pint registry, and the door between quantities with units and plain floats.

Inside brewlog every number is a float in the canonical unit of its name (see ``names.csv``). Quantities with units
are turned into floats here and nowhere deeper.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources
from typing import Any, NamedTuple

import numpy as np
import pint

ureg: pint.UnitRegistry = pint.UnitRegistry()
"""The one registry of brewlog."""


class Name(NamedTuple):
    """One row of ``names.csv``: a name that users meet."""

    name: str
    unit: str
    """Canonical unit; `1` for numbers without unit, empty for words."""
    meaning: str


@cache
def names() -> dict[str, Name]:
    """Every name a user can meet, with its canonical unit and its meaning.

    Returns
    -------
    dict of str to Name
        In the order of ``names.csv``.

    Examples
    --------
    >>> names()["lateness"].unit
    'min'
    """
    text = resources.files("brewlog").joinpath("names.csv").read_text(encoding="utf-8")
    return {row["name"]: Name(row["name"], row["unit"], row["meaning"]) for row in csv.DictReader(text.splitlines())}


def unit_of(name: str) -> str:
    """Canonical unit of a name in ``names.csv``.

    Raises
    ------
    KeyError
        If the name is not in ``names.csv``.

    Examples
    --------
    >>> unit_of("hold_rms")
    'K'
    """
    return names()[name].unit


def to_float(value: Any, unit: str, what: str = "value") -> np.ndarray:
    """Float array in `unit` of a number or of a pint quantity.

    Numbers without unit are taken to be in `unit` already. Quantities of any pint registry are accepted.

    Parameters
    ----------
    value : array_like or pint.Quantity
    unit : str
        Canonical unit, as in ``names.csv``.
    what : str
        Name of the value, used in the error.

    Returns
    -------
    numpy.ndarray of float64
        Same shape as `value` (zero-dimensional for a scalar).

    Raises
    ------
    ValueError
        If the unit cannot be converted or the value is not a number.

    Examples
    --------
    >>> float(to_float(ureg.Quantity(68.0, "degF"), "degC"))
    20.0
    """
    if hasattr(value, "to") and hasattr(value, "magnitude"):
        try:
            value = value.to("" if unit == "1" else unit).magnitude
        except pint.PintError as error:
            raise ValueError(f"{what} is in {value.units}; expected a unit that converts to {unit}.") from error
    try:
        return np.asarray(value, dtype=float)
    except (TypeError, ValueError) as error:
        raise ValueError(f"{what} is {value!r}; expected a number in {unit}.") from error


def with_unit(value: Any, unit: str) -> Any:
    """Pint quantity of a number (or of an `uncertainties` value) in `unit`.

    Examples
    --------
    >>> str(with_unit(2.0, "K"))
    '2.0 kelvin'
    """
    return ureg.Quantity(value, "" if unit == "1" else unit)
