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
_POWER = r"(?:(?:\*\*|\^)-?[1-4]|[1-4])?"
_GRAMMAR = re.compile(rf"{_NAME}{_POWER}(?:(?:\*|/| per | ){_NAME}{_POWER}){{0,4}}")
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

_SPELLINGS = {
    "l": "L",
    "lt": "L",
    "ltr": "L",
    "liters": "L",
    "litres": "L",
    "litre": "L",
    "ml": "mL",
    "hl": "hL",
    "us gal": "US_liquid_gallon",
    "usgal": "US_liquid_gallon",
    "us gallon": "US_liquid_gallon",
    "us gallons": "US_liquid_gallon",
    "gal us": "US_liquid_gallon",
    "gals": "gallon",
    "imp gal": "imperial_gallon",
    "uk gal": "imperial_gallon",
    "uk gallon": "imperial_gallon",
    "imperial gallon": "imperial_gallon",
    "imperial gallons": "imperial_gallon",
    "imperial gal": "imperial_gallon",
    "gal imp": "imperial_gallon",
    "us qt": "US_liquid_quart",
    "qts": "quart",
    "us quart": "US_liquid_quart",
    "us quarts": "US_liquid_quart",
    "imp qt": "imperial_quart",
    "uk qt": "imperial_quart",
    "imperial quart": "imperial_quart",
    "imperial quarts": "imperial_quart",
    "pts": "pint",
    "us pt": "pint",
    "us pint": "pint",
    "us pints": "pint",
    "imp pt": "imperial_pint",
    "uk pt": "imperial_pint",
    "imp pint": "imperial_pint",
    "uk pint": "imperial_pint",
    "imperial pint": "imperial_pint",
    "imperial pints": "imperial_pint",
    "fl oz": "US_fluid_ounce",
    "fl. oz": "US_fluid_ounce",
    "us fl oz": "US_fluid_ounce",
    "fluid ounces": "US_fluid_ounce",
    "imp fl oz": "imperial_fluid_ounce",
    "uk fl oz": "imperial_fluid_ounce",
    "bbl": "beer_barrel",
    "bbls": "beer_barrel",
    "barrel": "beer_barrel",
    "barrels": "beer_barrel",
    "us bbl": "beer_barrel",
    "imp bbl": "imperial_barrel",
    "uk bbl": "imperial_barrel",
    "lbs": "lb",
    "kgs": "kg",
    "kilo": "kg",
    "kilos": "kg",
    "gram": "g",
    "grams": "g",
    "gr": "g",
    "oz": "oz",
    "kw": "kW",
    "w": "W",
    "sec": "s",
    "secs": "s",
    "seconds": "s",
    "mins": "min",
    "minutes": "min",
    "hr": "h",
    "hrs": "h",
    "hours": "h",
    "msec": "ms",
    "milliseconds": "ms",
    "pct": "%",
    "per cent": "%",
    "fraction": "1",
    "kg/kg": "1",
    "thou": "thou",
    "mil": "thou",
    "mils": "thou",
    "inches": "inch",
    "in": "inch",
    "feet": "ft",
    "masl": "m",
    "lpm": "L/min",
    "l/min": "L/min",
    "gpm": "gallon/min",
    "us gpm": "gallon/min",
    "gph": "gallon/h",
    "imp gpm": "imperial_gallon/min",
    "l/h": "L/h",
    "ltr/min": "L/min",
}
_TEMPERATURES = {
    "c": "degC",
    "degc": "degC",
    "deg c": "degC",
    "celsius": "degC",
    "deg celsius": "degC",
    "degrees c": "degC",
    "degrees celsius": "degC",
    "degree celsius": "degC",
    "centigrade": "degC",
    "cdeg": "degC",
    "oc": "degC",
    "grad c": "degC",
    "grad celsius": "degC",
    "f": "degF",
    "degf": "degF",
    "deg f": "degF",
    "fahrenheit": "degF",
    "deg fahrenheit": "degF",
    "degrees f": "degF",
    "degrees fahrenheit": "degF",
    "degree fahrenheit": "degF",
    "fdeg": "degF",
    "of": "degF",
    "k": "K",
    "kelvin": "K",
}
_UNCLEAR = frozenset({"cwt", "hundredweight", "hundredweights", "ton", "tons"})
"""Names of several masses, none of which is meant more often than the others."""
_DIFFERENCES = {"degC": "delta_degC", "degF": "delta_degF", "K": "K", "kelvin": "K"}


_SHARED = {
    "gal": "gal", "gals": "gal", "gallon": "gal", "gallons": "gal", "gpm": "gal", "gph": "gal",
    "qt": "qt", "qts": "qt", "quart": "qt", "quarts": "qt",
    "pt": "pint", "pts": "pint", "pint": "pint", "pints": "pint",
    "floz": "fl oz", "fl oz": "fl oz", "fl. oz": "fl oz", "fluid ounce": "fl oz", "fluid ounces": "fl oz",
    "bbl": "bbl", "bbls": "bbl", "barrel": "bbl", "barrels": "bbl",
}  # fmt: skip
"""Units that have one size in the United States and another in imperial measure, by the ways to write them."""


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
    name = next((_SHARED[part] for part in (low, *re.split(r" ?/ ?| per ", low)) if part in _SHARED), None)
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
    found: list[str] = []
    if unit in ("degC", "K"):
        name = _TEMPERATURES.get(low) or _TEMPERATURES.get(low.replace("delta_", "").replace("delta ", ""))
        if name is not None:
            delta = unit == "K"
            if low.startswith("delta") and not delta:
                return []  # a difference where a temperature is wanted
            return [_DIFFERENCES[name] if delta else name]
    if low in _UNCLEAR:
        return []
    if low in _SPELLINGS:
        found.append(_SPELLINGS[low])
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
