"""The reader's choice of units: metric as computed, or US customary for figures, notebooks and pages."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from brewlog.figures.decimals import decimals
from brewlog.quantities import ureg

SYSTEMS = ("metric", "us")
_US = {
    "degC": "degF",
    "K": "delta_degF",
    "K/min": "delta_degF/min",
    "W/K": "W/delta_degF",
    "J/K": "J/delta_degF",
    "L": "gal",
    "L/h": "gal/h",
    "L/min": "gal/min",
    "L/kg": "gal/lb",
    "kg": "lb",
}
UNIT_SIGNS = {
    "degC": "°C",
    "degF": "°F",
    "delta_degF": "°F",
    "1": "",
    "SG": "",
    "delta_degF/min": "°F/min",
    "W/delta_degF": "W/°F",
    "J/delta_degF": "J/°F",
}
_IN_TEXT = {"°C": "degC", "degC": "degC", "kelvin": "K"} | {unit: unit for unit in _US if unit != "degC"}
_NUMBER = r"[-−+]?\d+(?:\.\d+)?"
_BETWEEN = r"(?: ?(?:to|and|or|instead of|±|\+-|\()){1,2} ?"
_QUANTITY = re.compile(
    rf"(?<![\w.])(?<!SG )(?P<numbers>\(?{_NUMBER}\)?(?:{_BETWEEN}\(?{_NUMBER}\)?)*) "
    rf"(?P<unit>{'|'.join(sorted(map(re.escape, _IN_TEXT), key=len, reverse=True))})(?![\w/°])"
)


def unit_sign(unit: str) -> str:
    """How a unit is written for readers; unknown units as they are.

    Examples
    --------
    >>> unit_sign("degC"), unit_sign("W/K"), unit_sign("1")
    ('°C', 'W/K', '')
    """
    return UNIT_SIGNS.get(unit, unit)


@dataclass(frozen=True, slots=True)
class UnitChoice:
    """Units in which readers see quantities; everything is computed in the canonical ones."""

    system: str = "metric"
    """`metric` (the canonical units) or `us`."""

    def __post_init__(self) -> None:
        if self.system not in SYSTEMS:
            raise ValueError(f"units is {self.system!r}; expected one of {', '.join(SYSTEMS)}.")

    def shown(self, unit: str) -> str:
        """Unit in which a quantity of canonical `unit` is shown.

        Examples
        --------
        >>> UnitChoice("us").shown("degC"), UnitChoice("us").shown("mm"), UnitChoice().shown("degC")
        ('degF', 'mm', 'degC')
        """
        return _US.get(unit, unit) if self.system == "us" else unit

    def sign(self, unit: str) -> str:
        """How the unit shown for canonical `unit` is written.

        Examples
        --------
        >>> UnitChoice("us").sign("K"), UnitChoice().sign("K")
        ('°F', 'K')
        """
        return unit_sign(self.shown(unit))

    def values(self, values: Any, unit: str) -> np.ndarray:
        """An array of canonical `unit` in the unit shown; `K` is a difference and has no offset.

        Examples
        --------
        >>> UnitChoice("us").values([0.0, 100.0], "degC")
        array([ 32., 212.])
        """
        array = np.asarray(values, dtype=float)
        if self.shown(unit) == unit:
            return array
        source = unit.replace("K", "delta_degC") if "K" in unit else unit
        return np.asarray(ureg.Quantity(array, source).to(self.shown(unit)).magnitude)

    def convert(self, value: float | None, unit: str) -> float | None:
        """`value` of canonical `unit` in the unit shown; None stays None.

        Examples
        --------
        >>> round(UnitChoice("us").convert(100.0, "degC"), 6)
        212.0
        >>> round(UnitChoice("us").convert(1.0, "K"), 6)
        1.8
        """
        return value if value is None or self.shown(unit) == unit else float(self.values(value, unit))

    def scale(self, sd: float | None, unit: str) -> float | None:
        """A standard deviation or difference of canonical `unit` in the unit shown (no offset between zeros)."""
        return self.convert(sd, "K" if unit == "degC" else unit)

    def in_words(self, text: str) -> str:
        """A sentence whose quantities stand in canonical units, with them in the units shown.

        Numbers keep their decimals, with more where they would say less than before; signs, ranges and everything else
        stay as they are.

        Parameters
        ----------
        text : str
            Made by brewlog; a brewer's own words should not be handed in.

        Examples
        --------
        >>> UnitChoice("us").in_words("held at about 0.5 K instead of 1.5 K, mashed with 20.0 L at 67 °C")
        'held at about 0.9 °F instead of 2.7 °F, mashed with 5.28 gal at 153 °F'
        >>> UnitChoice().in_words("0.5 K")
        '0.5 K'
        """
        return text if self.system == "metric" else _QUANTITY.sub(self._converted, text)

    def _converted(self, found: re.Match[str]) -> str:
        unit, numbers = _IN_TEXT[found["unit"]], found["numbers"]
        values = []
        for one in re.finditer(_NUMBER, numbers):
            # what follows ± is a difference, also of temperatures
            spread = numbers[: one.start()].rstrip(" (").endswith(("±", "+-"))
            old = float(one[0].replace("−", "-"))
            new = self.scale(old, unit) if spread else self.convert(old, unit)
            assert new is not None
            values.append((one[0], old, new))
        more = max(_more_decimals(text, old, new) for text, old, new in values)
        shown = iter(_written(text, new, more) for text, _, new in values)
        return f"{re.sub(_NUMBER, lambda _: next(shown), numbers)} {self.sign(unit)}"

    def series(self, series: pd.Series, units: Mapping[str, str], decimals: int = 3) -> pd.DataFrame:
        """Named values as a table with the units shown: columns `value` and `unit`.

        Parameters
        ----------
        series : pandas.Series
            Numbers and words by name.
        units : mapping
            Canonical unit of each name.
        decimals : int
            Numbers are rounded to so many decimals.

        Examples
        --------
        >>> UnitChoice("us").series(pd.Series({"lead": 5.0}), {"lead": "K"}).loc["lead"].tolist()
        [9.0, '°F']
        """
        values = {
            name: round(float(self.values(value, units.get(str(name), ""))), decimals)
            if isinstance(value, float | int)
            else value
            for name, value in series.items()
        }
        signs = {name: self.sign(units.get(str(name), "")) for name in series.index}
        return pd.DataFrame({"value": pd.Series(values, dtype=object), "unit": signs})

    def frame(
        self,
        frame: pd.DataFrame,
        units: Mapping[str, str] | None = None,
        decimals: int | None = None,
        rounded: bool = False,
    ) -> pd.DataFrame:
        """A copy of a result's table in the units shown, each unit behind its column's name.

        A table with a column `unit` (one unit per row) has its `estimate`, `sd`, `low` and `high` converted row by row.

        Parameters
        ----------
        frame : pandas.DataFrame
        units : mapping, optional
            Canonical unit of each column; those of the table's `attrs["units"]` when None. A column `x_sd` has that of
            `x`.
        decimals : int, optional
            Numbers are rounded to so many decimals; not rounded when None.
        rounded : bool
            The numbers of a table with a unit per row as text, with two figures of what the interval leaves open.

        Examples
        --------
        >>> rests = pd.DataFrame({"temp": [64.0], "seen": [1.0]})
        >>> rests.attrs["units"] = {"temp": "degC", "seen": "1"}
        >>> UnitChoice("us").frame(rests, decimals=1).to_dict("list")
        {'temp [°F]': [147.2], 'seen': [1.0]}
        """
        new = frame.copy()
        if "unit" in frame:
            for name in ("estimate", "sd", "low", "high"):
                if name in frame:
                    change = self.scale if name == "sd" else self.convert
                    new[name] = [
                        change(float(value), str(unit)) for value, unit in zip(frame[name], frame["unit"], strict=True)
                    ]
            new["unit"] = [self.sign(str(unit)) or "1" for unit in frame["unit"]]
            return rounded_rows(new) if rounded else new
        units = dict(frame.attrs.get("units", {}) if units is None else units)
        titles = {}
        for name in frame.columns:
            unit = units.get(str(name), units.get(str(name).removesuffix("_sd"), ""))
            if self.shown(unit) != unit and pd.api.types.is_numeric_dtype(frame[name]):
                sd = str(name).endswith("_sd") and unit == "degC"
                new[name] = self.values(frame[name], "K" if sd else unit)
            if self.sign(unit):
                titles[name] = f"{name} [{self.sign(unit)}]"
        new.attrs.pop("units", None)
        if decimals is not None:
            numbers = new.select_dtypes("number").columns
            new[numbers] = new[numbers].round(decimals)
        return new.rename(columns=titles)


def rounded_rows(frame: pd.DataFrame) -> pd.DataFrame:
    """Estimates with sd, low and high as text, with two figures of a quarter of the interval; a dash where missing.

    Examples
    --------
    >>> one = pd.DataFrame({"estimate": [8.0861], "low": [7.2041], "high": [8.9681]})
    >>> rounded_rows(one).iloc[0].tolist()
    ['8.09', '7.20', '8.97']
    """
    new = frame.copy()
    quarter = (frame["high"].astype(float) - frame["low"].astype(float)) / 4
    places = [decimals(one, value, 2) for one, value in zip(quarter, frame["estimate"].astype(float), strict=True)]
    for name in ("estimate", "sd", "low", "high"):
        if name in frame:
            new[name] = [
                f"{value:.{count}f}" if math.isfinite(value) else "–"
                for value, count in zip(frame[name].astype(float), places, strict=True)
            ]
    return new


def _places(text: str) -> int:
    return len(text.partition(".")[2])


def _more_decimals(text: str, old: float, new: float) -> int:
    """Decimals to add so that a number says as much in its new unit: none is rounded by more than 3 %."""
    more = int(abs(new) <= abs(old) / 3)
    while abs(round(new, _places(text) + more) - new) > 0.03 * abs(new) and more < 3:
        more += 1
    return more


def _written(text: str, new: float, more: int) -> str:
    sign = "+" if text[0] == "+" and new >= 0 else ""
    return f"{sign}{new:.{_places(text) + more}f}".replace("-", "−" if "−" in text else "-")
