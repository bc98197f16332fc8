"""Trace files of one brew day to one frame of channels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from brewlog.logbook import faults
from brewlog.logbook.channels import (
    Found,
    Names,
    filled_among,
    is_filled,
    known_words,
    match_channels,
    read_channel,
    tell_bad,
    to_numbers,
)
from brewlog.logbook.clocks import Clock, read_clock
from brewlog.logbook.headers import find_header, read_headers, units_row
from brewlog.logbook.layout import CHANNELS
from brewlog.logbook.merging import Part, merge_parts
from brewlog.logbook.order import Told, drop_strays, in_order, summer_time, usual_step
from brewlog.logbook.problems import Say
from brewlog.logbook.records import Rig, TraceFault
from brewlog.logbook.sheets import Lines, Teller, columns_of, read_lines
from brewlog.logbook.tables import MANY, decimal_comma
from brewlog.logbook.text import SEPARATORS, Decoded, Unreadable, decode, find_separator, read_bytes
from brewlog.quantities import parse_unit

AGREE = 5.0
"""How far clock and elapsed time of one row may differ over a file. [s]"""
MOST_FAULTS = 5
"""Faults of one kind in one channel that are told one by one."""
_SENSORS = ("mash_temp", "base_temp")


@dataclass(frozen=True)
class TraceSource:
    """Where the trace of a brew stands, and what its rig's logger calls its channels."""

    root: Path
    files: tuple[Path, ...]
    rig: Rig | None
    names: Names
    """Plain header of the logger to (channel, unit, header as written in channels.csv)."""


@dataclass(frozen=True)
class TraceData:
    """A trace as read."""

    frame: pd.DataFrame | None
    """Columns `elapsed` [s], `time` where a clock was logged, then channels."""
    faults: tuple[TraceFault, ...]
    zero: float | None
    """Clock time of the first row since 1970, None where no clock was logged. [s]"""
    zoned: bool = False
    offset: float | None = None
    """Local time minus UTC, where it was logged. [s]"""
    elapsed_zero: float = 0.0
    """The file's own elapsed time of the first row. [s]"""


def load_trace(source: TraceSource, say: Say) -> TraceData:
    """Read, clean and merge the files of one trace.

    Parameters
    ----------
    source : TraceSource
    say : callable
        Takes each `Problem`.

    Returns
    -------
    TraceData
    """
    told: list[tuple[Teller, Told]] = []
    parts = []
    for file in source.files:
        tell = Teller(file.relative_to(source.root).as_posix(), say)
        part = _read_part(source, file, tell, told)
        if part is not None:
            parts.append(part)
    if not parts:
        return TraceData(None, (), None)
    whole = merge_parts([_marked(part, number) for number, part in enumerate(parts)])
    frame, key = whole.frame, whole.key
    zero = float(frame[key].iloc[0])
    lines, owner = frame["line"].to_numpy(dtype=int), frame["part"].to_numpy(dtype=int)
    frame = frame.drop(columns=["line", "part"])
    elapsed_zero = whole.elapsed_zero
    if key == "clock":
        frame.insert(0, "elapsed", frame["clock"] - zero)
        if whole.dated:
            frame.insert(1, "time", _clock_column(frame["clock"], whole))
        frame = frame.drop(columns="clock")
    else:
        elapsed_zero = zero
        frame["elapsed"] -= zero
    elapsed = frame["elapsed"].to_numpy(dtype=float)
    for fault in _clean(frame):
        row = min(int(np.searchsorted(elapsed, fault.start)), len(elapsed) - 1)
        part = parts[owner[row]]
        written = part.written.get(fault.channel or "", fault.channel)
        told.append((part.tell, Told(fault, int(lines[row]), fault.action == "left out", written)))
    _tell_faults(told)
    frame.attrs["units"] = {"elapsed": "s"} | {n: c.unit for n, c in CHANNELS.items() if n in frame}
    if "power_watt" in frame:
        frame.attrs["units"]["power_watt"] = "W"
    found = tuple(sorted((one.fault for _, one in told), key=lambda fault: fault.start))
    clock = zero if key == "clock" and whole.dated else None
    return TraceData(frame, found, clock, whole.zoned, whole.offset, elapsed_zero)


def _marked(part: Part, number: int) -> Part:
    return replace(part, frame=part.frame.assign(part=number))


def _clock_column(seconds: pd.Series, whole: Part) -> pd.Series:
    return pd.to_datetime((seconds * 1000).round().astype("int64"), unit="ms", utc=whole.zoned)


def _clean(frame: pd.DataFrame) -> list[TraceFault]:
    """Leave out of the frame what is no measurement; what was found."""
    elapsed = frame["elapsed"].to_numpy(dtype=float)
    found = faults.find_gaps(elapsed)
    for name, column in CHANNELS.items():
        if name in frame:
            kept, faulty = faults.clean_channel(elapsed, frame[name].to_numpy(dtype=float), column)
            frame[name] = kept
            found += faulty
    sensors = {name: frame[name].to_numpy(dtype=float) for name in _SENSORS if name in frame}
    more = faults.find_stuck(elapsed, sensors)
    if "mash_temp" in sensors:
        more += faults.find_probe_out(elapsed, sensors["mash_temp"], "mash_temp")
    for fault in more:
        where = (elapsed >= fault.start) & (elapsed <= fault.end)
        frame.loc[where, str(fault.channel)] = np.nan
    found += more
    for name in ("mash_temp", "base_temp", "wort_temp", "ambient_temp"):
        if name in frame:
            absent = faults.find_absent(elapsed, frame[name].to_numpy(dtype=float), CHANNELS[name])
            found += [fault for fault in absent if not _known_already(fault, found)]
    if {"mash_temp", "base_temp", "set_temp"} <= set(frame.columns):
        found += faults.find_fallback(
            elapsed, *(frame[name].to_numpy(dtype=float) for name in ("mash_temp", "base_temp", "set_temp"))
        )
    return found


def _known_already(absent: TraceFault, found: list[TraceFault]) -> bool:
    """True where a stretch without values is one that was left out."""
    rows = sum(
        fault.rows
        for fault in found
        if fault.channel == absent.channel and fault.action == "left out"
        and absent.start <= fault.start and fault.end <= absent.end
    )  # fmt: skip
    return rows > 0.8 * absent.rows


def _tell_faults(told: list[tuple[Teller, Told]]) -> None:
    """Say each fault at its line; many of one kind together."""
    kinds: dict[tuple[str, str, str | None, bool], list[tuple[Teller, Told]]] = {}
    for tell, one in told:
        kinds.setdefault((tell.file, one.fault.kind, one.fault.channel, one.lost), []).append((tell, one))
    for members in kinds.values():
        for tell, one in members[:MOST_FAULTS]:
            fault = one.fault
            rows = f"{fault.rows} {'row' if fault.rows == 1 else 'rows'}, " if fault.rows else ""
            found = f"{fault.kind}, {rows}{fault.start / 60:.1f} to {fault.end / 60:.1f} min"
            say = tell.problem if one.lost else tell.note
            say(one.line, one.written, found, _WISHES.get(fault.kind, "values that follow the day"), fault.action)
        if len(members) > MOST_FAULTS:
            tell, one = members[MOST_FAULTS]
            more = sum(other.fault.rows for _, other in members[MOST_FAULTS:])
            found = f"{one.fault.kind}, {len(members) - MOST_FAULTS} more stretches, {more} rows"
            say = tell.problem if one.lost else tell.note
            say(
                one.line,
                one.written,
                found,
                _WISHES.get(one.fault.kind, "values that follow the day"),
                one.fault.action,
            )


_WISHES = {
    "gap": "rows at most 5 min apart",
    "dropout": "values at most 5 min apart",
    "out of order": "times that rise",
    "restart": "times that rise",
    "duplicate time": "each time once",
    "coarse clock": "each time once",
    "control fallback": "the bed probe's values",
}


def _read_part(source: TraceSource, file: Path, tell: Teller, told: list[tuple[Teller, Told]]) -> Part | None:
    """One file; None, and a problem, where nothing of it can be used."""
    try:
        decoded = decode(read_bytes(file, source.root))
    except Unreadable as error:
        tell.problem(None, None, error.found, error.expected, "this trace is left out")
        return None
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
        tell.note(top[0][0], None, found, "column names first", "they are not read")
    headers = read_headers(cells, line, tell.file, tell.say)
    matched = match_channels(headers, source.names, line, tell)
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
    comma = _tell_text(decoded, separator, lines, tell)
    return _to_part(source, lines, headers, matched, line, comma, tell, told)


def _possible_units(found: Found) -> list[str]:
    if found.channel == "elapsed":
        return ["s"]
    return [CHANNELS[found.channel].unit, "W"] if found.channel in CHANNELS else []


def _tell_text(decoded: Decoded, separator: str, lines: Lines, tell: Teller) -> bool | None:
    comma = decimal_comma((cell for k in range(min(200, len(lines.rows))) for cell in lines.cells(k)), separator)
    if separator != "," or comma:
        found = f"{SEPARATORS[separator]} between columns{', decimal comma' if comma else ''}"
        tell.note(None, None, found, "comma and decimal point", "it was read as such")
    if decoded.guessed:
        tell.note(None, None, f"text in {decoded.encoding}", "UTF-8", "it was read as such")
    for number in decoded.damaged[:MANY]:
        tell.problem(number, None, "bytes that are no text", "text in UTF-8", "they are left out")
    if len(decoded.damaged) > MANY:
        found = f"{len(decoded.damaged) - MANY} more lines with bytes that are no text"
        tell.problem(decoded.damaged[MANY], None, found, "text in UTF-8", "they are left out")
    return comma


def _to_part(
    source: TraceSource, lines: Lines, headers: Sequence, matched: list[Found], line: int, comma: bool | None,
    tell: Teller, told: list[tuple[Teller, Told]],
) -> Part | None:  # fmt: skip
    width = max((header.place for header in headers), default=-1) + 1
    least = max((header.place for header in headers if header.name), default=-1) + 1
    times = [f for f in matched if f.channel in ("elapsed", "time")]
    if not times:
        tell.problem(line, None, "no column of times", "a column 'time' or 'elapsed'", "this trace is left out")
        return None
    if len(times) == len(matched):
        wish = f"one of {', '.join(CHANNELS)}"
        tell.problem(line, None, "no channel that is known", wish, "this trace is left out; channels.csv can name them")
        return None
    nameless = [header.place for header in headers if not header.name]
    body = columns_of(
        lines, width, {f.header.place for f in matched} | set(nameless),
        {f.header.place for f in times if f.channel == "time"}, least, tell, bool(comma),
    )  # fmt: skip
    numbers = np.array(lines.numbers, dtype=int)
    for place in nameless:
        filled = body[place].dropna().head(1000)
        if pd.api.types.is_numeric_dtype(filled) and place == 0 and (np.diff(filled) == 1).all() and len(filled) > 1:
            tell.note(line, None, "row numbers without a name", "a column name", "that column is not used")
        elif (pd.api.types.is_numeric_dtype(filled) and len(filled)) or any(is_filled(cell) for cell in filled):
            tell.problem(line, None, f"no name over column {place + 1}", "a column name", "that column is left out")
    read = _times(times, body, numbers, line, comma, tell)
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
    frame = frame[good].reset_index(drop=True)
    if frame.empty or len(frame.columns) < 3:
        found_text = "no row with a time" if frame.empty else "no channel that could be read"
        tell.problem(None, None, found_text, "times and temperatures", "this trace is left out")
        return None
    if key == "clock" and clock is not None and not clock.zoned and clock.dated:
        naive = summer_time(frame[key].to_numpy(dtype=float), frame["line"].to_numpy(dtype=int), column, tell)
        frame[key] = naive
    frame, faulty = in_order(frame, key)
    told += [(tell, one) for one in faulty]
    written = {found.channel: found.header.written for found in matched}
    return Part(
        frame, tell, bool(clock and clock.zoned), clock is None or clock.dated, clock.offset if clock else None,
        elapsed_zero, written,
    )  # fmt: skip


def _times(
    times: list[Found], body: pd.DataFrame, lines: np.ndarray, line: int, comma: bool | None, tell: Teller
) -> tuple[str, np.ndarray, Clock | None, float] | None:
    """Kind of times, the times, the clock, and the elapsed time at the clock's first row."""
    elapsed = next((f for f in times if f.channel == "elapsed"), None)
    clock = next((f for f in times if f.channel == "time"), None)
    if elapsed is None and clock is not None and _runs_from_zero(body[clock.header.place], comma):
        elapsed, clock = Found(clock.header, "elapsed", clock.unit), None
        wish = "clock times, or the name 'elapsed'"
        cost = f"read as elapsed time in {elapsed.unit or 's'}"
        tell.note(line, elapsed.header.written, "numbers that begin near zero", wish, cost)
    runs = None if elapsed is None else _elapsed(elapsed, body[elapsed.header.place], lines, line, comma, tell, clock)
    read = None if clock is None else _clock(clock, body[clock.header.place], lines, comma, tell, runs is not None)
    if read is None:
        return None if runs is None else ("elapsed", runs, None, 0.0)
    if runs is None:
        return "clock", read.seconds, read, 0.0
    # both: the elapsed time knows nothing of summer time, the clock says when it began
    apart = read.seconds - runs
    known = apart[np.isfinite(apart)]
    if not len(known) or np.abs(known - np.median(known)).max() > AGREE or not read.dated:
        rises = len(known) and bool((np.diff(runs[np.isfinite(runs)]) >= 0).all())
        if rises or not read.dated:
            return "elapsed", runs, None, 0.0
        return "clock", read.seconds, read, 0.0
    zero = float(np.median(known))
    first = float(runs[np.isfinite(runs)].min())
    return "clock", np.where(np.isfinite(runs), runs + zero, read.seconds), read, first


def _runs_from_zero(cells: pd.Series, comma: bool | None) -> bool:
    """True for numbers that are no clock times of any kind but rise from the start of the day."""
    texts = cells.fillna("").astype(str)
    numbers = to_numbers(cells, comma)
    known = numbers[np.isfinite(numbers)]
    return len(known) > 0.5 * len(cells) and read_clock(texts) is None and bool(np.abs(known).max() < 1e7)


def _durations(cells: pd.Series) -> np.ndarray | None:
    """Seconds of elapsed times such as `1:02:30` or `62:30`; None where the cells are none."""
    parts = [str(cell).strip().split(":") for cell in cells.fillna("")]
    good = [len(one) in (2, 3) and all(part.replace(".", "", 1).isdecimal() for part in one) for one in parts]
    if sum(good) < 0.5 * len(parts):
        return None
    numbers = [[float(part) for part in one] if fine else [] for one, fine in zip(parts, good, strict=True)]
    three = np.array([3600 * n[0] + 60 * n[1] + n[2] if len(n) == 3 else np.nan for n in numbers])
    two = np.array([60 * n[0] + n[1] if len(n) == 2 else np.nan for n in numbers])
    # hours and minutes of a brew day would be hours apart if they were minutes and seconds, or the other way round
    if np.isfinite(two).any() and np.nanmax(two) < 24 * 60.0 and usual_step(two[np.isfinite(two)]) * 60 < 300:
        two = two * 60
    return np.where(np.isfinite(three), three, two)


def _elapsed(
    found: Found, cells: pd.Series, lines: np.ndarray, line: int, comma: bool | None, tell: Teller, clock: Found | None
) -> np.ndarray | None:
    try:
        scale = parse_unit(found.unit or "s", "s")
    except ValueError:
        cost = "the clock times are used" if clock else "this trace is left out"
        tell.problem(line, found.header.written, f"unit {found.unit}", "a unit that converts to s", cost)
        return None
    numbers = to_numbers(cells, comma)
    if not np.isfinite(numbers).any():
        durations = _durations(cells)
        if durations is not None:
            wish, last = f"a number in {scale.unit}", int(np.flatnonzero(np.isfinite(durations))[-1])
            cost = f"read as {durations[last]:g} s, and so on in this column"
            tell.note(int(lines[last]), found.header.written, str(cells.iloc[last]), wish, cost)
            return durations
        if clock is None:
            wish = f"a number in {scale.unit}"
            tell.problem(int(lines[0]), found.header.written, str(cells.iloc[0]), wish, "this trace is left out")
        return None
    if clock is None:
        _tell_timeless(found, cells, numbers, lines, f"a number in {scale.unit}", tell)
    return np.asarray(scale(numbers), dtype=float)


def _clock(
    found: Found, cells: pd.Series, lines: np.ndarray, comma: bool | None, tell: Teller, spare: bool
) -> Clock | None:
    texts = cells.fillna("").astype(str)
    if comma:
        texts = texts.str.replace(r"(?<=\d),(?=\d+$)", ".", regex=True)
    clock = read_clock(texts)
    first = next((k for k, text in enumerate(texts) if text.strip()), 0)
    wish = "times such as 2024-05-31T09:30:00"
    swapped = clock is not None and clock.read_as is not None and "swapped" in clock.read_as
    if clock is None or not np.isfinite(clock.seconds).any():
        if not spare:
            tell.problem(int(lines[first]), found.header.written, texts.iloc[first], wish, "this trace is left out")
        return None
    if clock.read_as:
        cost = f"read as {clock.read_as}"
        if swapped:
            cost = f"read as {clock.read_as.split(';')[0]}; day and month could be swapped, so the date is not used"
        tell.note(int(lines[first]), found.header.written, texts.iloc[first], "an ISO 8601 time", cost)
    if not spare:
        _tell_timeless(found, cells, clock.seconds, lines, "a time such as 2024-05-31T09:30:00", tell)
    return clock


def _tell_timeless(
    found: Found, cells: pd.Series, times: np.ndarray, lines: np.ndarray, wish: str, tell: Teller
) -> None:
    """Rows without a time that can be read."""
    cost = "this row is left out"
    tell_bad(found.header, cells, times, lines, wish, cost, tell)
    lacking = np.flatnonzero(~np.isfinite(times))
    empty = np.setdiff1d(lacking, filled_among(cells, lacking))
    for k in empty[:MANY]:
        tell.problem(int(lines[k]), found.header.written, "no time", wish, cost)
    if len(empty) > MANY:
        text = f"{len(empty) - MANY} more rows without a time"
        tell.problem(int(lines[empty[MANY]]), found.header.written, text, wish, "each such row is left out")
