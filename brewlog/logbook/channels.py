"""Columns of a trace file to channels: which is which, and in which unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from brewlog.logbook import values
from brewlog.logbook.headers import Header, split_suffix
from brewlog.logbook.layout import CHANNELS, COMMON_WORDS
from brewlog.logbook.problems import MANY
from brewlog.logbook.tables import OWN_COLUMN
from brewlog.logbook.telling import Teller
from brewlog.quantities import parse_unit


class Named(NamedTuple):
    """A row of channels.csv."""

    channel: str
    unit: str | None
    written: str
    """Header of the logger as written in channels.csv."""
    line: int


Names = Mapping[str, Named]
"""What channels.csv says, by the plain header of the logger."""
DATE = "date"
"""A column of dates beside one of times of day."""
DATES = ("date", "day", "logdate", "datestamp", "datum", "fecha", "giorno", "jour", "dag")
"""Its names, without case, blanks and underscores."""


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


def channel_of(header: Header, names: Names) -> str | None:
    """Channel, or kind of times, that a header alone names; None where it names none."""
    listed = names.get(values.plain(header.written)) or names.get(values.plain(header.name))
    if not header.name or listed:
        return listed.channel if header.name and listed else None
    own = {values.plain(name): name for name in (*CHANNELS, "time", "elapsed")}.get(values.plain(header.name))
    guess = None if own else _guess(header)
    return own or (guess.channel if guess else None)


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
    spare: set[int] = set()
    own = {values.plain(name): name for name in (*CHANNELS, "time", "elapsed")}
    # what the brewer said comes first, then plain names, guesses last
    for header in headers:
        listed = names.get(values.plain(header.written)) or names.get(values.plain(header.name))
        if header.name and listed and listed.channel not in taken:
            found[header.place] = Found(header, listed.channel, listed.unit or header.unit)
            taken[listed.channel] = header
            _tell_two_units(header, listed, line, tell)
        elif header.name and listed:
            wish = f"one column for {listed.channel} (channels.csv, line {listed.line})"
            tell.note(line, header.written, header.written, wish, OWN_COLUMN)
            spare.add(header.place)
    for header in headers:
        channel = own.get(values.plain(header.name))
        if header.name and header.place not in found and channel and channel not in taken:
            found[header.place] = Found(header, channel, header.unit)
            taken[channel] = header
    unknown: list[Header] = []
    for header in headers:
        if not header.name or header.place in found or header.place in spare:
            continue
        guess = _guess(header)
        if guess is not None and guess.channel not in taken:
            found[header.place] = guess
            taken[guess.channel] = header
            unit = guess.unit or (CHANNELS[guess.channel].unit if guess.channel in CHANNELS else "s")
            unit = (
                ""
                if (guess.unit and guess.unit == header.unit) or unit == "1" or guess.channel == "time"
                else f" [{unit}]"
            )
            wish = f"the name of a channel, such as {guess.channel!r}"
            tell.note(line, header.written, header.written, wish, f"read as {guess.channel}{unit}")
        elif guess is not None:
            tell.note(line, header.written, header.written, f"one column for {guess.channel}", OWN_COLUMN)
        elif values.plain(header.name) in DATES and DATE not in taken:
            found[header.place] = Found(header, DATE, header.unit)
            taken[DATE] = header
        else:
            unknown.append(header)
    usable = bool(set(taken) & {"time", "elapsed", DATE}) and bool(set(taken) & set(CHANNELS))
    _tell_unknown(unknown, [name for name in own.values() if name not in taken], usable, line, tell)
    return [found[place] for place in sorted(found)]


def _tell_two_units(header: Header, listed: Named, line: int, tell: Teller) -> None:
    """Note a header whose unit is another than that of channels.csv."""
    if header.unit is None or listed.unit is None or listed.channel == "time":
        return
    canonical = "s" if listed.channel == "elapsed" else CHANNELS[listed.channel].unit
    try:
        same = parse_unit(header.unit, canonical)[1:] == parse_unit(listed.unit, canonical)[1:]
    except ValueError:
        same = values.plain(header.unit) == values.plain(listed.unit)
    if not same:
        wish = f"the unit of channels.csv, line {listed.line}: {listed.unit}"
        tell.note(line, header.written, f"unit {header.unit}", wish, f"read in {listed.unit}")


def _tell_unknown(unknown: Sequence[Header], free: Sequence[str], usable: bool, line: int, tell: Teller) -> None:
    """Note columns that name no channel; of a trace that cannot be used nothing is kept."""
    names = "channels.csv can name its channel"
    for header in unknown[:MANY]:
        near = values.nearest(header.name, free)
        hint = f" (perhaps {near!r})" if near else ""
        cost = f"{OWN_COLUMN}; {names}" if usable else names
        tell.note(line, header.written, header.written, f"the name of a channel{hint}", cost)
    if len(unknown) > MANY:
        count = len(unknown) - MANY
        found = f"{count} more unknown {'columns' if count > 1 else 'column'}"
        cost = OWN_COLUMN.replace("a column", "columns") if usable else "channels.csv can name their channels"
        tell.note(line, None, found, "names of channels", cost)


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
