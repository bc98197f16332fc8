"""One file of a trace: its text, its header, its times and its channels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date as Date
from hashlib import sha256
from pathlib import Path

import numpy as np
import pandas as pd

from brewlog.logbook import values
from brewlog.logbook.channel_values import read_channel
from brewlog.logbook.channels import DATE, Found, Names, known_words, match_channels
from brewlog.logbook.clock_forms import Order
from brewlog.logbook.headers import Header, find_header, read_headers, shown, units_row
from brewlog.logbook.layout import CHANNELS
from brewlog.logbook.merging import Part
from brewlog.logbook.order import OWN, Told, drop_strays, in_order, summer_time
from brewlog.logbook.records import Rig
from brewlog.logbook.resets import half_days, join_resets
from brewlog.logbook.rows import decimal_comma
from brewlog.logbook.separators import SEPARATORS, find_separator
from brewlog.logbook.series import is_filled
from brewlog.logbook.sheets import Lines, columns_of, read_lines
from brewlog.logbook.telling import Teller
from brewlog.logbook.text import Unreadable, decode, read_bytes, tell_pack, tell_text
from brewlog.logbook.time_columns import times_by_content
from brewlog.logbook.times import TIMES, read_times


@dataclass(frozen=True)
class TraceSource:
    """Where the trace of a brew stands, and what its rig's logger calls its channels."""

    root: Path
    files: tuple[Path, ...]
    rig: Rig | None
    names: Names
    """What channels.csv says of its logger."""
    follows: str | None = None
    """Sensor that the controller follows as the brewer says."""
    date: Date | None = None
    """Day of the brew as the brewer says."""
    seen: set[str] = field(default_factory=set, compare=False)
    """Plain headers of all files of the rig that were read."""
    digests: dict[bytes, Path] = field(default_factory=dict, compare=False)
    """Files of all traces that were read, by their content."""
    own: bool = False
    """Columns of the brewer's own are read, too."""
    test: bool = False
    """True for a water test, which may be short."""
    order: Order | None = field(default=None, compare=False)
    """Tells which comes first in the logbook's other dates, day or month."""


def read_part(source: TraceSource, file: Path, tell: Teller, told: list[tuple[Teller, Told]]) -> Part | None:
    """One file; None, and a problem, where nothing of it can be used."""
    try:
        content = read_bytes(file, source.root)
        decoded = decode(content.data)
    except Unreadable as error:
        tell.problem(None, None, error.found, error.expected, "this trace is left out")
        return None
    tell_pack(tell.file, content.packed, tell.say)
    twin = source.digests.setdefault(sha256(content.data).digest(), file)
    if twin not in source.files:
        found, wish = f"the very same file as {shown(twin.name)}", "a day of its own for each brew"
        tell.note(None, None, found, wish, "both are kept")
    separator = find_separator(decoded.text)
    lines = read_lines(decoded.text, separator, tell)
    if not lines.rows:
        tell.problem(None, None, "an empty file", "a row of column names and rows of times", "this trace is left out")
        return None
    top = [(lines.numbers[k], lines.cells(k)) for k in range(min(len(lines.rows), 45))]
    place = find_header(top, known_words(source.names))
    line, cells = top[place]
    if place:
        found = f"{place} {'rows' if place > 1 else 'row'} above the column names"
        tell.note(top[0][0], None, found, "column names first", "not read")
    headers = read_headers(cells, line, tell.file, tell.say)
    source.seen.update(values.plain(text) for header in headers for text in (header.written, header.name))
    names = times_by_content(headers, source.names, lines.below(place), line, tell)
    matched = match_channels(headers, names | dict(source.names), line, tell)
    if source.own:
        known = {found.header.place for found in matched if found.channel != DATE}
        matched += [Found(h, OWN, None) for h in headers if h.name and h.place not in known]
    lines, again = lines.below(place).without(lines.rows[place])
    if again:
        times = "once" if len(again) == 1 else f"{len(again)} times"
        tell.note(again[0], None, f"the column names again, {times}", "rows of numbers", "they are not read")
    if lines.rows and (units := units_row([(f.header, _possible_units(f)) for f in matched], lines.cells(0))):
        tell.note(lines.numbers[0], None, "a row of units", "units behind the column names", "it was read as such")
        matched = [Found(f.header, f.channel, f.unit or units.get(f.header.place)) for f in matched]
        lines = lines.below(0)
    if not lines.rows:
        tell.problem(None, None, "no row under the header", "rows of times", "this trace is left out")
        return None
    comma = _tell_separator(separator, lines, tell)
    tell_text(tell.file, decoded, tell.say)
    return _to_part(source, lines, headers, matched, line, comma, tell, told)


def _possible_units(found: Found) -> list[str]:
    if found.channel == "elapsed":
        return ["s"]
    return [CHANNELS[found.channel].unit, "W"] if found.channel in CHANNELS else []


def _tell_separator(separator: str, lines: Lines, tell: Teller) -> bool | None:
    comma = decimal_comma((cell for k in range(min(200, len(lines.rows))) for cell in lines.cells(k)), separator)
    if separator != "," or comma:
        found = f"{SEPARATORS[separator]} between columns{', decimal comma' if comma else ''}"
        tell.note(None, None, found, "comma and decimal point", "it was read as such")
    return comma


def _wanted_times(source: TraceSource, headers: Sequence[Header], matched: list[Found]) -> str:
    """What a trace without times lacks, and how channels.csv would name it."""
    taken = {found.header.place for found in matched}
    free = next(
        (shown(h.name) for h in headers if h.name and h.place not in taken and not set(h.name) & set(',;"')), "Zeit"
    )
    rig = "" if source.rig is None or source.rig == Rig(source.rig.label) else source.rig.label
    return f"a column 'time' or 'elapsed', or a row in channels.csv, such as {f'{rig},time,{free}'!r}"


def _to_part(
    source: TraceSource, lines: Lines, headers: Sequence, matched: list[Found], line: int, comma: bool | None,
    tell: Teller, told: list[tuple[Teller, Told]],
) -> Part | None:  # fmt: skip
    width = max((header.place for header in headers), default=-1) + 1
    least = max((header.place for header in headers if header.name), default=-1) + 1
    times = [f for f in matched if f.channel in TIMES]
    if not times:
        tell.problem(
            line, None, "no column of times", _wanted_times(source, headers, matched), "this trace is left out"
        )
        return None
    if not any(f.channel in CHANNELS for f in matched):
        wish = f"one of {', '.join(CHANNELS)}"
        tell.problem(line, None, "no channel that is known", wish, "this trace is left out; channels.csv can name them")
        return None
    nameless = [header.place for header in headers if not header.name and not header.written]
    body = columns_of(
        lines, width, {f.header.place for f in matched} | set(nameless),
        {f.header.place for f in times if f.channel != "elapsed"}, least, tell, bool(comma),
    )  # fmt: skip
    numbers = np.array(lines.numbers, dtype=int)
    for place in nameless:
        filled = body[place].dropna().head(1000)
        if pd.api.types.is_numeric_dtype(filled) and place == 0 and (np.diff(filled) == 1).all() and len(filled) > 1:
            tell.note(line, None, "row numbers without a name", "a column name", "that column is not used")
        elif (pd.api.types.is_numeric_dtype(filled) and len(filled)) or any(is_filled(cell) for cell in filled):
            tell.problem(line, None, f"no name over column {place + 1}", "a column name", "that column is left out")
    read = read_times(times, body, numbers, line, comma, source.date, tell, source.order)
    if read is None:
        return None
    key, seconds, clock, elapsed_zero = read
    named = {f.channel: f.header.written for f in times}
    column = named.get("time" if key == "clock" else "elapsed", times[0].header.written)
    good = drop_strays(seconds, numbers, column, tell)
    frame = pd.DataFrame({key: seconds, "line": numbers})
    for found in matched:
        if found.channel in CHANNELS:
            series = read_channel(
                found, body[found.header.place], numbers, line, comma, source.rig, tell
            )  # fmt: skip
            if series is not None:
                frame[series[0]] = series[1]
        elif found.channel == OWN:
            frame[f"{OWN}{found.header.name}"] = body[found.header.place].to_numpy()
    frame = frame[good].reset_index(drop=True)
    if frame.empty or len(frame.columns) < 3:
        found_text = "no row with a time" if frame.empty else "no channel that could be read"
        tell.problem(None, None, found_text, "times and temperatures", "this trace is left out")
        return None
    wall = frame[key].to_numpy(dtype=float)
    kept = frame["line"].to_numpy(dtype=int)
    if key == "clock" and clock is not None and not clock.zoned:
        wall = half_days(wall, kept, column, tell)
    dated = key == "clock" and clock is not None and clock.dated
    noon = None if source.date is None or not dated else pd.Timestamp(source.date).timestamp() + 43200.0
    wall, resets = join_resets(wall, kept, dated, noon)
    told += [(tell, one) for one in resets]
    frame[key] = wall
    if key == "clock" and clock is not None and not clock.zoned and clock.dated:
        frame[key], zones = summer_time(wall, frame["line"].to_numpy(dtype=int), column, tell)
        clock = replace(clock, zones=zones)
    frame, faulty = in_order(frame, key)
    told += [(tell, one) for one in faulty]
    written = {found.channel: found.header.written for found in matched}
    return Part(
        frame, tell, bool(clock and clock.zoned), clock is None or clock.dated, clock.offset if clock else None,
        elapsed_zero if key == "clock" else 0.0, written, clock.zones if clock else (), bool(clock and clock.utc),
        elapsed_zero if key == "elapsed" and clock is not None else None,
    )  # fmt: skip
