"""Cells of a channel to numbers in its canonical unit, and what of them cannot be."""

from __future__ import annotations

from statistics import median

import numpy as np
import pandas as pd

from brewlog.logbook import values
from brewlog.logbook.cell_units import not_celsius, number_and_unit
from brewlog.logbook.channels import Found
from brewlog.logbook.headers import Header, shown
from brewlog.logbook.layout import CHANNELS, Column
from brewlog.logbook.records import Rig
from brewlog.logbook.series import MOST_TEXTS, tell_bad, tell_groups, to_numbers
from brewlog.logbook.telling import Teller
from brewlog.quantities import Scale, parse_unit, two_sizes

_SWITCH = {
    "on": "1", "off": "0", "true": "1", "false": "0", "yes": "1", "no": "0", "open": "1", "closed": "0",
}  # fmt: skip
_HOT = ("mash_temp", "base_temp", "set_temp")
COLD = 33.0
"""A mash whose hottest reading is colder was no mash. [degC]"""
_PLAINLY_WATT, _FEW = 0.02, 5
"""Share of the values of a power, and how many, that are too large for per cent, from which none of them is. [1]"""
_PLAINLY_KILOWATT, _ENOUGH = 8.0, 20
"""A power that never rises above so many per cent, in so many rows or more, heats no kettle (no source)."""
_UNIT_ENDS = frozenset("CFKcfkWwn%")
"""Last signs of the units of channels."""


def read_channel(
    found: Found, cells: pd.Series, lines: np.ndarray, line: int, comma: bool | None, rig: Rig | None, tell: Teller
) -> tuple[str, np.ndarray] | None:
    """Name and canonical values of a channel; None where its unit is not clear.

    Parameters
    ----------
    found : Found
    cells : pandas.Series
        Numbers, or text.
    lines : numpy.ndarray of int
        Line of each cell.
    line : int
        Of the header.
    comma : bool or None
        Whether the file writes a decimal comma.
    rig : Rig or None
        Its nameplate power turns watts to per cent.
    tell : Teller

    Returns
    -------
    tuple of str and numpy.ndarray, or None
        `power_watt` where the rig's power is not known.
    """
    column, header, unit = CHANNELS[found.channel], found.header, found.unit
    target, scale = _scale(column, unit)
    if scale is None:
        cost = "this column is left out until its unit is clear"
        tell.problem(line, header.written, f"unit {unit}", f"a unit that converts to {column.unit}", cost)
        return None
    if unit is not None and (sizes := two_sizes(unit)):
        tell.note(line, header.written, f"unit {unit}", sizes[1], f"read as {sizes[0]}")
    if column.name in ("heater", "pump"):
        cells = _switched(cells)
    cells = _without_units(cells, lines, header, scale, "W" if target == "power_watt" else column.unit, comma, tell)
    numbers = to_numbers(cells, comma)
    known = numbers[np.isfinite(numbers)]
    if not len(known) and not len(numbers):
        return target, numbers
    if _unclear(column, unit, scale, target, known, header, line, tell):
        return None
    wish = "a number" if scale.unit == "1" else f"a number in {scale.unit}"
    tell_groups(header, cells, numbers, lines, comma, tell)
    tell_bad(header, cells, numbers, lines, wish, "this cell is left out", tell)
    top = float(known.max()) if len(known) else 0.0
    if column.unit == "%" and target == column.name and scale.unit == "%" and 0 < top <= 1.0:
        if column.name == "power" or not np.isin(known, (0.0, 1.0)).all():
            tell.note(line, header.written, f"values up to {top:.3g}", "per cent", "read as shares of one")
        numbers = numbers * 100.0
    if column.name == "heater" and top <= 100.0 and unit is None and np.median([1.0, *known[known > 0]]) > 1.0:
        tell.note(line, header.written, f"values up to {top:.3g}", "0 or 1", "read as per cent")
        numbers = numbers / 100.0
    result = np.asarray(scale(numbers), dtype=float)
    if target == "power_watt" and rig is not None and rig.heater_power:
        return "power", 100.0 * result / rig.heater_power
    if target == "power_watt":
        wish, cost = "heater_power of the rig in rigs.csv", "kept in W, not as a share of nameplate power"
        tell.note(line, header.written, f"power in {scale.unit}", wish, cost)
    return target, result


def _scale(column: Column, unit: str | None) -> tuple[str, Scale | None]:
    target, canonical = column.name, column.unit
    if column.name == "power" and unit is not None:
        try:
            parse_unit(unit, "%")
        except ValueError:
            target, canonical = "power_watt", "W"
    if column.name == "pump" and unit is not None and values.plain(unit) in ("0/1", "on/off"):
        unit = None
    try:
        return target, parse_unit(unit or canonical, canonical)
    except ValueError:
        return target, None


def _switched(cells: pd.Series) -> pd.Series:
    if pd.api.types.is_numeric_dtype(cells):
        return cells
    plain = cells.astype(object).map(lambda cell: cell.strip().casefold() if isinstance(cell, str) else "")
    return plain.where(~plain.isin(_SWITCH), plain.map(_SWITCH)) if plain.isin(_SWITCH).any() else cells


def _without_units(
    cells: pd.Series, lines: np.ndarray, header: Header, scale: Scale, unit: str, comma: bool | None, tell: Teller
) -> pd.Series:
    """Cells such as `65.3 C` as numbers in the column's unit."""
    if pd.api.types.is_numeric_dtype(cells):
        return cells
    codes, texts = pd.factorize(cells)
    plain: dict[int, str] = {}
    for k, text in enumerate(texts[:MOST_TEXTS]):
        pair = number_and_unit(text, comma) if isinstance(text, str) and text[-1:].strip() in _UNIT_ENDS else None
        if pair is None or len(pair[0]) != 1:
            continue
        try:
            plain[k] = repr(float(scale.back(parse_unit(pair[1], unit)(pair[0][0]))))
        except ValueError:
            continue
    if not plain:
        return cells
    first = int(np.flatnonzero(np.isin(codes, list(plain)))[0])
    like = str(cells.iloc[first])
    cost = f"read as {float(plain[int(codes[first])]):.6g} {scale.unit}, and so on in this column"
    tell.note(int(lines[first]), header.written, like, "numbers, their unit in the header", cost)
    known = [plain.get(k, text) for k, text in enumerate(texts)]
    return pd.Series([known[code] if code >= 0 else np.nan for code in codes.tolist()], dtype=object)


def _unclear(
    column: Column,
    unit: str | None,
    scale: Scale,
    target: str,
    known: np.ndarray,
    header: Header,
    line: int,
    tell: Teller,
) -> bool:
    """True where the numbers are plainly in another unit than the one that is written or assumed."""
    said = "without a unit" if unit is None else f"in a column of {shown(unit)}"
    cost = "this column is left out until its unit is clear"
    if column.unit == "degC" and scale.unit == "degC":
        some = known[:: max(1, len(known) // 2000)].tolist()
        # numbers no sensor gives where a temperature is meant are faults, and say nothing about the unit
        some = [number for number in some if -40.0 < number < 400.0 and number != 0.0]
        other = not_celsius(some, column.hot)
        if other is not None:
            wish = f"degC, or the unit in the header: {column.name} [{other}]"
            tell.problem(line, header.written, f"temperatures around {median(some):.4g} {said}", wish, cost)
            return True
    if column.name in _HOT and scale.unit == "degF" and len(known) and float(scale(np.max(known))) < COLD:
        wish = f"temperatures of a mash in degF, or the unit in the header: {column.name} [degC]"
        tell.problem(line, header.written, f"temperatures up to {np.max(known):.4g} {said}", wish, cost)
        return True
    on = known[known > 0]
    if target == "power" and scale.unit == "%" and len(on):
        over = on > column.high
        other = "W" if over.sum() >= _FEW and over.mean() > _PLAINLY_WATT else None
        if len(known) >= _ENOUGH and 1.0 < float(on.max()) < _PLAINLY_KILOWATT:
            other = "kW"
        if other is not None:
            wish = f"per cent of nameplate, or the unit in the header: {column.name} [{other}]"
            tell.problem(line, header.written, f"numbers up to {on.max():.4g} {said}", wish, cost)
            return True
    return False
