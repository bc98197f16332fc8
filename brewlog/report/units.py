"""The reader's choice of units: metric as computed, or US customary for pages."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brewlog.quantities import ureg

SYSTEMS = ("metric", "us")
_US = {
    "degC": "degF",
    "K": "delta_degF",
    "K/min": "delta_degF/min",
    "L": "gal",
    "L/h": "gal/h",
    "L/min": "gal/min",
    "L/kg": "gal/lb",
    "kg": "lb",
}


@dataclass(frozen=True, slots=True)
class UnitChoice:
    """Units in which pages show quantities."""

    system: str = "metric"
    """`metric` (the canonical units) or `us`."""

    def __post_init__(self) -> None:
        if self.system not in SYSTEMS:
            raise ValueError(f"units is {self.system!r}; expected one of {', '.join(SYSTEMS)}.")

    def shown(self, unit: str) -> str:
        """Unit in which a quantity of canonical `unit` is shown.

        Examples
        --------
        >>> UnitChoice("us").shown("degC"), UnitChoice("us").shown("W/K"), UnitChoice().shown("degC")
        ('degF', 'W/K', 'degC')
        """
        return _US.get(unit, unit) if self.system == "us" else unit

    def convert(self, value: float | None, unit: str) -> float | None:
        """`value` of canonical `unit` in the unit shown; None stays None.

        Examples
        --------
        >>> round(UnitChoice("us").convert(100.0, "degC"), 6)
        212.0
        >>> round(UnitChoice("us").convert(1.0, "K"), 6)
        1.8
        """
        if value is None or self.shown(unit) == unit:
            return value
        source = unit.replace("K", "delta_degC") if unit.startswith("K") else unit
        return float(np.asarray(ureg.Quantity(value, source).to(self.shown(unit)).magnitude))

    def scale(self, sd: float | None, unit: str) -> float | None:
        """A standard deviation or difference of canonical `unit` in the unit shown (no offset between zeros)."""
        return self.convert(sd, "K" if unit == "degC" else unit)
