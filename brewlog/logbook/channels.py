"""Columns of a trace file to channels: which is which, in which unit, and what of it cannot be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median

import numpy as np
import pandas as pd

from brewlog.logbook import values
from brewlog.logbook.cells import not_celsius, number_and_unit
from brewlog.logbook.clocks import floats_of
from brewlog.logbook.headers import Header, shown, split_suffix
from brewlog.logbook.layout import CHANNELS, COMMON_WORDS, Column
from brewlog.logbook.records import Rig
from brewlog.logbook.sheets import Teller
from brewlog.logbook.tables import MANY
from brewlog.quantities import Scale, parse_unit

_SWITCH = {
    "on": "1", "off": "0", "true": "1", "false": "0", "yes": "1", "no": "0", "open": "1", "closed": "0",
}  # fmt: skip
_HOT = ("mash_temp", "base_temp", "set_temp")
COLD = 33.0
"""A mash whose hottest reading is colder was no mash. [degC]"""
_PLAINLY_WATT = 130.0
"""A power without unit whose middle value lies above this is no per cent."""
_UNIT_ENDS = frozenset("CFKcfkWwn%")
"""Last signs of the units of channels."""
MOST_TEXTS = 100_000
"""Distinct cells of a column that are looked at one by one where they are no plain numbers."""
Names = Mapping[str, tuple[str, str | None, str]]
"""Plain header of the logger to (channel, unit, header as written in channels.csv)."""


@dataclass(frozen=True)
class Found:
    """A column of a file that is a channel or a time."""

    header: Header
    channel: str
    unit: str | None
    """As written; None where nothing names it."""


def known_words(names: Names) -> set[str]:
    """Headers that a trace file may have, without case, blanks and underscores."""
    common = {values.plain(word) for words in COMMON_WORDS.values() for word in words}
    return common | set(names) | {values.plain(name) for name in (*CHANNELS, "time", "elapsed")}


def match_channels(headers: Sequence[Header], names: Names, line: int, tell: Teller) -> list[Found]:
    """Channel and unit of each header: by channels.csv, by its own name, by a common word.

    Parameters
    ----------
    headers : sequence of Header
    names : mapping
        What channels.csv says of this rig.
    line : int
        Of the header.
    tell : Teller

    Returns
    -------
    list of Found
        In order of the columns; headers that name nothing known are noted.
    """
    found: dict[int, Found] = {}
    taken: dict[str, Header] = {}
    own = {values.plain(name): name for name in (*CHANNELS, "time", "elapsed")}
    # what the brewer said comes first, then plain names, guesses last
    for header in headers:
        listed = names.get(values.plain(header.written)) or names.get(values.plain(header.name))
        if header.name and listed and listed[0] not in taken:
            found[header.place] = Found(header, listed[0], listed[1] or header.unit)
            taken[listed[0]] = header
    for header in headers:
        channel = own.get(values.plain(header.name))
        if header.name and header.place not in found and channel and channel not in taken:
            found[header.place] = Found(header, channel, header.unit)
            taken[channel] = header
    unknown = 0
    for header in headers:
        if not header.name or header.place in found:
            continue
        guess = _guess(header)
        if guess is not None and guess.channel not in taken:
            found[header.place] = guess
            taken[guess.channel] = header
            unit = "" if guess.unit == header.unit else f" [{guess.unit}]"
            wish = f"the name of a channel, such as {guess.channel!r}"
            tell.note(line, header.written, header.written, wish, f"read as {guess.channel}{unit}")
        elif guess is not None:
            tell.note(
                line, header.written, header.written, f"one column for {guess.channel}", "this column is not used"
            )
        else:
            unknown += 1
            if unknown <= MANY:
                near = values.nearest(header.name, [name for name in own.values() if name not in taken])
                hint = f" (perhaps {near!r})" if near else ""
                cost = "this column is not used; channels.csv can name it"
                tell.note(line, header.written, header.written, f"the name of a channel{hint}", cost)
    if unknown > MANY:
        tell.note(line, None, f"{unknown - MANY} more unknown columns", "names of channels", "they are not used")
    return [found[place] for place in sorted(found)]


def _guess(header: Header) -> Found | None:
    """Channel of a header by a common word, its unit perhaps behind the name without brackets."""
    words = {values.plain(word): channel for channel, common in COMMON_WORDS.items() for word in common}
    key = values.plain(header.name)
    if key in words:
        unit = (
            {"minutes": "min", "mins": "min", "elapsedminutes": "min", "hours": "h"}.get(key, header.unit)
            if header.unit is None
            else header.unit
        )
        return Found(header, words[key], unit)
    for channel, common in COMMON_WORDS.items() if header.unit is None else ():
        canonical = "s" if channel == "elapsed" else CHANNELS[channel].unit if channel in CHANNELS else ""
        for unit in (canonical, "W") if channel == "power" else (canonical,):
            pair = split_suffix(header.name, unit)
            if pair and values.plain(pair[0]) in {values.plain(word) for word in common}:
                return Found(replace(header, unit=pair[1]), channel, pair[1])
    return None


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
    if not comma and not pd.api.types.is_numeric_dtype(cells):
        like = next((k for k, cell in enumerate(cells) if isinstance(cell, str) and "," in cell), None)
        if like is not None and np.isfinite(numbers[like]):
            cost = f"read as {numbers[like]:.6g}, and so on in this column"
            tell.note(int(lines[like]), header.written, str(cells.iloc[like]), "a decimal point", cost)
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
    if target == "power" and scale.unit == "%" and len(on) and float(np.median(on)) > _PLAINLY_WATT:
        wish = f"per cent of nameplate, or the unit in the header: {column.name} [W]"
        tell.problem(line, header.written, f"numbers around {np.median(on):.4g} {said}", wish, cost)
        return True
    return False


def to_numbers(cells: pd.Series, comma: bool | None) -> np.ndarray:
    """Numbers of some cells; NaN for those that are missing or none."""
    if pd.api.types.is_numeric_dtype(cells):
        return cells.to_numpy(dtype=float).copy()
    numbers = floats_of(cells)
    odd = np.flatnonzero(~np.isfinite(numbers))
    # each distinct text is looked at once: a column may hold a million of one kind
    codes, texts = pd.factorize(cells.iloc[odd])
    read = np.full(len(texts) + 1, np.nan)
    for k, text in enumerate(texts[:MOST_TEXTS]):
        found = [] if not isinstance(text, str) or values.is_missing(text) else values.parse_number(text, comma)
        read[k] = found[0] if len(found) == 1 else np.nan
    numbers[odd] = read[codes]
    return numbers


def tell_bad(
    header: Header, cells: pd.Series, numbers: np.ndarray, lines: np.ndarray, wish: str, cost: str, tell: Teller
) -> None:
    """Report cells that hold something, but no number."""
    places = filled_among(cells, np.flatnonzero(~np.isfinite(numbers)))
    for k in places[:MANY]:
        tell.problem(int(lines[k]), header.written, str(cells.iloc[k]), wish, cost)
    if len(places) > MANY:
        found = f"{len(places) - MANY} more such cells"
        tell.problem(int(lines[places[MANY]]), header.written, found, wish, cost.replace("this", "each such"))


def filled_among(cells: pd.Series, places: np.ndarray) -> np.ndarray:
    """Those of some places whose cells say anything else than "not recorded"."""
    if not len(places):
        return places
    codes, texts = pd.factorize(cells.iloc[places])
    filled = np.array([*(k >= MOST_TEXTS or is_filled(text) for k, text in enumerate(texts)), False], dtype=bool)
    return places[filled[codes]]


def is_filled(cell: object) -> bool:
    """True for a cell that says anything else than "not recorded"."""
    if isinstance(cell, float):
        return bool(np.isinf(cell))
    return isinstance(cell, str) and not values.is_missing(cell)
