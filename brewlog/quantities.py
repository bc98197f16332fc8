"""Units: the one pint registry, and the door between quantities with units and plain floats.

Inside brewlog every number is a float in the canonical unit of its name (see ``names.csv``). Quantities with units
are turned into floats here and nowhere deeper.
"""

from __future__ import annotations

import csv
import re
from functools import cache, lru_cache
from importlib import resources
from typing import Any, NamedTuple

import numpy as np
import pint

from brewlog.unit_spellings import DIFFERENCES, SHARED, SPELLINGS, TEMPERATURES, UNCLEAR

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
    >>> round(float(to_float(ureg.Quantity(68.0, "degF"), "degC")), 9)
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


MAX_UNIT_LENGTH = 40
"""Longest unit that is looked at, in characters."""

# pint evaluates arithmetic inside a unit, so only this small grammar ever reaches it: names, small whole powers,
# products and quotients.
_NAME = r"[A-Za-z%][A-Za-z_]{0,23}"
_POWER = r"(?:(?:\*\*|\^)-?[1-4]|[2-4])?"  # a bare 1 behind a unit is a slip of the hand
_GRAMMAR = re.compile(rf"{_NAME}{_POWER}(?:(?:\*|/| per | ){_NAME}{_POWER}){{0,4}}")
_ASIDE = re.compile(r"([a-z][a-z ]{0,20})\((us|uk|imp|s)\)")
"""What of a unit may stand in brackets: `gallons (US)`, `litre(s)`."""
_SIGNS = str.maketrans(
    {
        "Δ": "delta ",
        "∆": "delta ",
        "µ": "u",
        "μ": "u",
        "²": "2",
        "³": "3",
        "·": "*",
        "×": "*",
        "\u00a0": " ",
        "\u202f": " ",
        "_": "_",
    }
)


class Scale(NamedTuple):
    """How numbers in some unit become canonical: ``canonical = factor * number + offset``."""

    unit: str
    """The unit as pint knows it."""
    factor: float
    offset: float

    def __call__(self, number: Any) -> Any:
        """Bring a number or an array to the canonical unit."""
        return number * self.factor + self.offset

    def back(self, number: Any) -> Any:
        """Bring a canonical number to this unit."""
        return (number - self.offset) / self.factor


def parse_unit(text: str, unit: str) -> Scale:
    """Scale that brings numbers in the unit `text`, as a person writes it, to the canonical `unit`.

    Case, plural and the degree sign do not matter where only one reading fits; `C` and `F` are temperatures. Where
    `unit` is `K` a difference of temperatures is meant, so `degF` there is `delta_degF`.

    Parameters
    ----------
    text : str
        Unit as written, at most 40 characters: names with small whole powers, joined by `*`, `/`, blank or `per`.
    unit : str
        Canonical unit, as in ``names.csv``.

    Returns
    -------
    Scale
        Factor and offset; linear for every accepted unit.

    Raises
    ------
    ValueError
        If `text` is no unit, or is a unit of something else.

    Examples
    --------
    >>> round(parse_unit("lb", "kg").factor, 12)
    0.45359237
    >>> round(parse_unit("°F", "degC")(68.0), 9)
    20.0
    >>> round(parse_unit("degF", "K")(9.0), 9)
    5.0
    """
    wish = f"a unit that converts to {'a number without unit' if unit == '1' else unit}"
    if len(text) > MAX_UNIT_LENGTH:
        raise ValueError(
            f"found a unit of {len(text)} characters, expected {wish}, at most {MAX_UNIT_LENGTH} characters."
        )
    scale = _find(text, unit)
    if scale is None:
        raise ValueError(f"found the unit {text!r}, expected {wish}.")
    return scale


def two_sizes(text: str) -> tuple[str, str] | None:
    """How a unit is read that has two sizes, and the ways to write which of them is meant; None for other units.

    Parameters
    ----------
    text : str
        Unit as written. Without `US` or `imp` the size of the United States is taken.

    Returns
    -------
    tuple of str and str, or None

    Examples
    --------
    >>> two_sizes("gal"), two_sizes("gal/min"), two_sizes("imp gal")
    (('US gal', 'US gal (3.785 L) or imp gal (4.546 L)'), ('US gal', 'US gal (3.785 L) or imp gal (4.546 L)'), None)
    """
    if len(text) > MAX_UNIT_LENGTH:
        return None
    low = " ".join(text.casefold().replace("_", " ").split()).rstrip(".")
    name = next((SHARED[part] for part in (low, *re.split(r" ?/ ?| per ", low)) if part in SHARED), None)
    if name is None:
        return None
    us, imperial = (parse_unit(f"{kind} {name}", "L").factor for kind in ("US", "imp"))
    return f"US {name}", f"US {name} ({us:.4g} L) or imp {name} ({imperial:.4g} L)"


@lru_cache(maxsize=4096)
def _find(text: str, unit: str) -> Scale | None:
    """Scale of the first way to read a unit that fits; what fits nothing is remembered, too."""
    return next((scale for name in _readings(text, unit) if (scale := _linear(name, unit)) is not None), None)


def _readings(text: str, unit: str) -> list[str]:
    """Every way to read a unit, likeliest first."""
    plain = " ".join(text.translate(_SIGNS).replace("°", "deg ").replace("º", "deg ").replace("˚", "deg ").split())
    plain = plain.replace("℃", "degC").replace("℉", "degF")
    low = plain.casefold().rstrip(".")
    if aside := _ASIDE.fullmatch(low):
        plain = low = f"{aside[1].strip()}{'' if aside[2] == 's' else ' '}{aside[2]}"
    found: list[str] = []
    if unit in ("degC", "K"):
        name = TEMPERATURES.get(low) or TEMPERATURES.get(low.replace("delta_", "").replace("delta ", ""))
        if name is not None:
            delta = unit == "K"
            if low.startswith("delta") and not delta:
                return []  # a difference where a temperature is wanted
            return [DIFFERENCES[name] if delta else name]
    if low in UNCLEAR:
        return []
    if low in SPELLINGS:
        found.append(SPELLINGS[low])
    if low in ("1", "-") and unit in ("1", "%"):
        found.append("1")
    return [*found, plain, low]


def _linear(name: str, unit: str) -> Scale | None:
    """Scale from `name` to `unit`, or None where pint knows none."""
    if name == unit:
        return Scale(name, 1.0, 0.0)
    if name != "1" and _GRAMMAR.fullmatch(name) is None:
        return None
    wish = "" if unit == "1" else unit
    written = "" if name == "1" else re.sub(r"(?<=[A-Za-z])(?=[1-4])", "**", name)
    try:
        start, half, full = (float(ureg.Quantity(x, written).to(wish).magnitude) for x in (0.0, 500.0, 1000.0))
    except Exception:  # pint raises assertion, token and recursion errors too on odd signs
        return None
    factor = (full - start) / 1000
    straight = np.isfinite([start, half, full]).all() and factor > 0 and np.isclose(2 * half, start + full, rtol=1e-9)
    # pint leaves rounding in the last digit: 0.4535923700000001
    return Scale(name, float(f"{factor:.14g}"), float(f"{start:.14g}")) if straight else None
