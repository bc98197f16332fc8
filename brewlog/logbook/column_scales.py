"""Unit of a column, or of a cell in it, to the scale that brings its numbers to the canonical unit."""

from __future__ import annotations

import numpy as np

from brewlog.logbook.columns import Column
from brewlog.logbook.gravities import SG, Curve, ReadUnit, gravity_unit
from brewlog.quantities import Scale, parse_unit, two_sizes
from brewlog.sucrose import water_density_float

LITRES_PER_KG = 1000.0 / float(water_density_float(np.array(20.0)))
"""Volume of a kilogram of water at 20 degC. [L/kg]"""


def unit_of_column(column: Column, unit: str | None) -> ReadUnit | None:
    """Scale of a column whose header has some unit, and what that assumes; None where it is no unit of the column.

    Parameters
    ----------
    column : Column
    unit : str or None
        As the header has it; None where it has none.

    Returns
    -------
    ReadUnit or None
    """
    if column.written == "SG":
        return gravity_unit(unit or "", column.name.endswith("_sd"))
    try:
        scale = parse_unit(unit or column.written or column.unit, column.unit)
    except ValueError:
        weighed = _weighed(column, unit or "")
        cost = f"read as water at 20 degC, {1 / LITRES_PER_KG:.4f} kg a litre"
        return None if weighed is None else ReadUnit(weighed, column.unit, cost)
    sizes = two_sizes(unit) if unit is not None else None
    return ReadUnit(scale, sizes[1], f"read as {sizes[0]}") if sizes else ReadUnit(scale)


def wanted_unit(column: Column) -> str:
    """Units that a column may have, in words."""
    if column.written == "SG":
        return "SG, degP or kg/m^3"
    if column.unit == "1" and not column.written:
        return "a number without unit"
    return f"a unit that converts to {column.written or column.unit}"


def unit_in_cell(column: Column, unit: str, number: float) -> tuple[Scale | Curve, str] | None:
    """Scale of a cell such as `5.1 kg`, and as what it is read; None where it is no unit of the column."""
    if column.written == "SG":
        found = gravity_unit(unit, column.name.endswith("_sd"))
        if found is None:
            return None
        told = f" {unit}, SG {float(found.scale(number)):.4f}" if found.scale is not SG else ""
        return found.scale, f"read as {number:.6g}{told}"
    try:
        own = parse_unit(unit, column.unit)
    except ValueError:
        weighed = _weighed(column, unit)
        return None if weighed is None else (weighed, f"read as {number:.6g} {unit}, {weighed(number):.2f} L")
    sizes = two_sizes(unit)
    return own, f"read as {number:.6g} {sizes[0] if sizes else unit}"


def _weighed(column: Column, unit: str) -> Scale | None:
    """Scale that brings a mass of water to litres at 20 degC; None for anything else."""
    try:
        mass = parse_unit(unit, "kg") if column.of_water else None
    except ValueError:
        return None
    return None if mass is None else Scale(mass.unit, mass.factor * LITRES_PER_KG, 0.0)
