"""Trace files of one brew day to one frame of channels."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from brewlog.logbook import faults, values
from brewlog.logbook.clocks import Clock, read_clock
from brewlog.logbook.headers import Header, read_headers, shown
from brewlog.logbook.layout import CHANNELS, COMMON_WORDS, Column
from brewlog.logbook.problems import Problem, Say
from brewlog.logbook.records import Rig, TraceFault
from brewlog.logbook.tables import decimal_comma
from brewlog.logbook.text import SEPARATORS, Unreadable, decode, find_separator, read_bytes, rows_of
from brewlog.quantities import parse_unit

MAX_ROWS = 5_000_000
MANY = 3
"""Cells of one column that are reported one by one; more are reported together."""


@dataclass(frozen=True)
class TraceSource:
    """Where the trace of a brew stands, and what its rig's logger calls its channels."""

    root: Path
    files: tuple[Path, ...]
    rig: Rig | None
    names: Mapping[str, tuple[str, str | None, str]]
    """Plain header of the logger to (channel, unit, header as written in channels.csv)."""


@dataclass(frozen=True)
class TraceData:
    """A trace as read."""

    frame: pd.DataFrame | None
    """Columns `elapsed` [s], `time` where a clock was logged, then channels."""
    faults: tuple[TraceFault, ...]
    zero: float | None
    """Clock time of the first row, since 1970. [s]"""
    zoned: bool = False


@dataclass(frozen=True)
class Part:
    """One file of a trace."""

    frame: pd.DataFrame
    """`elapsed` or `clock` [s], then channels."""
    zoned: bool
    dated: bool


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
    found: list[TraceFault] = []
    parts = [part for file in source.files if (part := _read_part(source, file, say, found)) is not None]
    if not parts:
        return TraceData(None, tuple(found), None)
    if len(parts) > 1 and len({("clock" in p.frame, p.zoned) for p in parts}) > 1:
        first = parts[0]
        for file in source.files[1:]:
            say(
                Problem(
                    _name(source, file),
                    None,
                    None,
                    "times of another kind than the day's first file",
                    "the same kind of times",
                    "this file is left out",
                )
            )
        parts = [first]
    frame = pd.concat([part.frame for part in parts], ignore_index=True)
    clock = "clock" in frame
    key = "clock" if clock else "elapsed"
    if len(parts) > 1:
        frame = frame.sort_values(key, kind="stable").groupby(key, as_index=False).first()
    zero = float(frame[key].iloc[0])
    if clock:
        frame.insert(0, "elapsed", frame["clock"] - zero)
        if parts[0].dated:
            frame.insert(1, "time", pd.to_datetime(frame["clock"], unit="s", utc=parts[0].zoned))
        frame = frame.drop(columns="clock")
    else:
        frame["elapsed"] -= zero  # elapsed time of events is kept in the same way
    _clean(frame, found)
    frame.attrs["units"] = {"elapsed": "s"} | {n: c.unit for n, c in CHANNELS.items() if n in frame}
    if "power_watt" in frame:
        frame.attrs["units"]["power_watt"] = "W"
    return TraceData(frame, tuple(sorted(found, key=lambda f: f.start)), zero, parts[0].zoned)


def _name(source: TraceSource, file: Path) -> str:
    return file.relative_to(source.root).as_posix()


def _clean(frame: pd.DataFrame, found: list[TraceFault]) -> None:
    elapsed = frame["elapsed"].to_numpy(dtype=float)
    found += faults.find_gaps(elapsed)
    for name, column in CHANNELS.items():
        if name in frame:
            kept, faulty = faults.clean_channel(elapsed, frame[name].to_numpy(dtype=float), column)
            frame[name] = kept
            found += faulty
    sensors = {
        n: frame[n].to_numpy(dtype=float) for n in ("mash_temp", "base_temp", "wort_temp", "ambient_temp") if n in frame
    }
    moved, stuck = faults.find_stuck(elapsed, sensors, CHANNELS)
    found += stuck
    for name, series in moved.items():
        frame[name] = series
        found += faults.find_absent(elapsed, series, CHANNELS[name])


def _read_part(source: TraceSource, file: Path, say: Say, found: list[TraceFault]) -> Part | None:
    name = _name(source, file)

    def problem(line: int | None, column: str | None, text: str, expected: str, cost: str) -> None:
        say(Problem(name, line, column, shown(text), expected, cost))

    def note(line: int | None, column: str | None, text: str, expected: str, cost: str) -> None:
        say(Problem(name, line, column, shown(text), expected, cost, "note"))

    try:
        decoded = decode(read_bytes(file, source.root))
    except Unreadable as error:
        problem(None, None, error.found, error.expected, "this trace is left out")
        return None
    separator = find_separator(decoded.text)
    first = next(rows_of(decoded.text, separator), None)
    if first is None:
        problem(None, None, "an empty file", "a row of column names and rows of times", "this trace is left out")
        return None
    headers = read_headers(first[1], first[0], name, say)
    body, lines = _body(decoded.text, separator, first[0], len(first[1]), problem, note)
    if not len(body):
        problem(None, None, "no row under the header", "rows of times", "this trace is left out")
        return None
    comma = decimal_comma((cell for place in body.columns for cell in body[place].head(200)), separator)
    if separator != "," or comma:
        note(
            None,
            None,
            f"{SEPARATORS[separator]} between columns{', decimal comma' if comma else ''}",
            "comma and decimal point",
            "it was read as such",
        )
    if decoded.guessed:
        note(None, None, f"text in {decoded.encoding}", "UTF-8", "it was read as such")
    matched = _match(source, headers, first[0], note)
    times = _times(matched, body, lines, comma, problem, note)
    if times is None:
        return None
    key, seconds, clock = times
    frame = pd.DataFrame({key: seconds})
    for header, channel, unit in matched:
        if channel in CHANNELS:
            series = _channel(
                source.rig, header, CHANNELS[channel], unit, body[header.place], lines, comma, problem, note
            )
            if series is not None:
                frame[series[0]] = series[1]
    frame = frame[np.isfinite(seconds)]
    if frame.empty or len(frame.columns) < 2:
        problem(
            None,
            None,
            "no channel that is known",
            f"one of {', '.join(CHANNELS)}",
            "this trace is left out; channels.csv can name them",
        )
        return None
    return Part(_in_order(frame, key, found), clock is not None and clock.zoned, clock is None or clock.dated)


def _body(text: str, separator: str, header_line: int, width: int, problem, note) -> tuple[pd.DataFrame, np.ndarray]:
    """Cells below the header as text, with the line of each row; rows of other width are reported and kept."""
    rows: list[list[str]] = []
    lines: list[int] = []
    long: list[tuple[int, int]] = []
    short: list[tuple[int, int]] = []
    for line, cells in rows_of(text, separator):
        if line <= header_line:
            continue
        if len(rows) >= MAX_ROWS:
            problem(line, None, f"more than {MAX_ROWS} rows", f"at most {MAX_ROWS} rows", "the rest is left out")
            break
        if len(cells) != width:
            if len(cells) > width and any(cell.strip() for cell in cells[width:]):
                long.append((line, len(cells)))
            elif len(cells) < width:
                short.append((line, len(cells)))
            cells = (cells + [""] * (width - len(cells)))[:width]
        rows.append(cells)
        lines.append(line)
    for places, tell, cost in (
        (long, problem, "the cells beyond are left out"),
        (short, note, "the others count as not recorded"),
    ):
        for line, count in places[:MANY]:
            tell(line, None, f"{count} cells", f"{width}, as in the first row", cost)
        if len(places) > MANY:
            tell(places[MANY][0], None, f"{len(places) - MANY} more rows of another width", f"{width} cells", cost)
    return pd.DataFrame(rows, columns=range(width), dtype=str), np.array(lines, dtype=int)


def _match(source: TraceSource, headers: Sequence[Header], line: int, note) -> list[tuple[Header, str, str | None]]:
    """Channel and unit of each header: by channels.csv, by its own name, by a common word."""
    words = {
        values.plain(word): (channel, word) for channel, common in COMMON_WORDS.items() for word in reversed(common)
    }
    own = {values.plain(name): name for name in (*CHANNELS, "time", "elapsed")}
    taken: set[str] = set()
    matched: list[tuple[Header, str, str | None]] = []
    for header in headers:
        if not header.name:
            continue
        listed = source.names.get(values.plain(header.written)) or source.names.get(values.plain(header.name))
        key = values.plain(header.name)
        if listed:
            matched.append((header, listed[0], header.unit or listed[1]))
            taken.add(listed[0])
        elif key in own:
            matched.append((header, own[key], header.unit))
            taken.add(own[key])
    named = {header.place for header, _, _ in matched}
    for header in headers:
        if not header.name or header.place in named:
            continue
        guess = words.get(values.plain(header.name))
        if guess and guess[0] not in taken:
            taken.add(guess[0])
            matched.append((header, guess[0], header.unit))
            note(
                line,
                header.written,
                header.written,
                f"the name of a channel, such as {guess[0]!r}",
                f"read as {guess[0]}",
            )
        elif not guess:
            note(
                line,
                header.written,
                header.written,
                "the name of a channel",
                "this column is not used; channels.csv can name it",
            )
        else:
            note(line, header.written, header.written, f"one column for {guess[0]}", "this column is not used")
    return matched


def _times(matched, body, lines, comma, problem, note) -> tuple[str, np.ndarray, Clock | None] | None:
    for header, channel, unit in matched:
        if channel != "elapsed":
            continue
        try:
            scale = parse_unit(unit or "s", "s")
        except ValueError:
            problem(1, header.written, f"unit {unit}", "a unit that converts to s", "this trace is left out")
            return None
        numbers = _to_numbers(body[header.place], comma)
        _report_bad(header, body[header.place], numbers, lines, "a number of seconds", "this row is left out", problem)
        if np.isfinite(numbers).any():
            return "elapsed", scale(numbers), None
    for header, channel, _ in matched:
        if channel != "time":
            continue
        clock = read_clock(body[header.place])
        if clock is None:
            problem(
                int(lines[0]),
                header.written,
                body[header.place].iloc[0],
                "times such as 2024-05-31T09:30:00",
                "this trace is left out",
            )
            return None
        if clock.read_as:
            note(
                int(lines[0]),
                header.written,
                body[header.place].iloc[0],
                "an ISO 8601 time",
                f"read as {clock.read_as}",
            )
        _report_bad(
            header,
            body[header.place],
            clock.seconds,
            lines,
            "a time such as 2024-05-31T09:30:00",
            "this row is left out",
            problem,
        )
        return "clock", _unfold(clock, lines, header, note), clock
    problem(1, None, "no column of times", "a column 'time' or 'elapsed'", "this trace is left out")
    return None


def _unfold(clock: Clock, lines: np.ndarray, header: Header, note) -> np.ndarray:
    """Wall-clock times across a change to or from summer time, made to run on evenly."""
    seconds = clock.seconds.copy()
    if clock.zoned or len(seconds) < 3:
        return seconds
    usual = float(np.nanmedian(np.abs(np.diff(seconds))))
    for k in np.flatnonzero(np.abs(np.diff(seconds) + 3600.0 - usual) < max(2.0, usual)) + 1:
        seconds[k:] += 3600.0
        note(
            int(lines[k]),
            header.written,
            "a clock set back by one hour",
            "times that run on",
            "read as the end of summer time",
        )
    return seconds


def _in_order(frame: pd.DataFrame, key: str, found: list[TraceFault]) -> pd.DataFrame:
    """Rows in order of time: restarts follow on, stray rows are put in place, repeated times keep their first row."""
    t = frame[key].to_numpy(dtype=float).copy()
    steps = np.diff(t)
    usual = float(np.median(np.abs(steps))) if len(steps) else 0.0
    if key == "elapsed":
        for k in np.flatnonzero(steps < -60.0) + 1:
            if t[k] <= t[0] + 10 * max(usual, 1.0) and len(t) - k > 3:
                shift = t[k - 1] + usual - t[k]
                t[k:] += shift
                found.append(
                    TraceFault(
                        "restart",
                        None,
                        float(t[k - 1] - t[0]),
                        float(t[k] - t[0]),
                        len(t) - int(k),
                        "taken to follow on",
                    )
                )
    frame = frame.assign(**{key: t})
    back = np.flatnonzero(np.diff(t) < 0) + 1
    if len(back):
        found.append(
            TraceFault(
                "out of order",
                None,
                float(t[back[0]] - t.min()),
                float(t[back[-1]] - t.min()),
                len(back),
                "put in order",
            )
        )
        frame = frame.sort_values(key, kind="stable")
    again = frame[key].duplicated()
    if again.any():
        places = frame.loc[again, key]
        found.append(
            TraceFault(
                "duplicate time",
                None,
                float(places.min() - t.min()),
                float(places.max() - t.min()),
                int(again.sum()),
                "first row kept",
            )
        )
        frame = frame.groupby(key, as_index=False, sort=True).first()
    return frame.reset_index(drop=True)


def _to_numbers(cells: pd.Series, comma: bool | None) -> np.ndarray:
    texts = cells.str.strip()
    if comma:
        texts = texts.str.replace(",", ".", regex=False)
    numbers = pd.to_numeric(texts, errors="coerce").to_numpy(dtype=float).copy()
    for k in np.flatnonzero(np.isnan(numbers) & (texts != "").to_numpy()):
        cell = texts.iloc[k]
        found = [] if values.is_missing(cell) else values.parse_number(cell, comma)
        if len(found) == 1:
            numbers[k] = found[0]
    return numbers


def _report_bad(header, cells, numbers, lines, expected, cost, problem) -> None:
    bad = [
        k
        for k in np.flatnonzero(~np.isfinite(numbers))
        if not values.is_missing(cells.iloc[k]) or cost == "this row is left out"
    ]
    for k in bad[:MANY]:
        problem(int(lines[k]), header.written, cells.iloc[k], expected, cost)
    if len(bad) > MANY:
        problem(
            int(lines[bad[MANY]]),
            header.written,
            f"{len(bad) - MANY} more such cells",
            expected,
            cost.replace("this", "each such"),
        )


_SWITCH = {"on": 1.0, "off": 0.0, "true": 1.0, "false": 0.0, "yes": 1.0, "no": 0.0}


def _channel(rig, header, column: Column, unit, cells, lines, comma, problem, note) -> tuple[str, np.ndarray] | None:
    """Name and canonical values of a channel, or None where its unit does not fit."""
    target, canonical = column.name, column.unit
    if column.name == "power" and unit is not None:
        try:
            parse_unit(unit, "%")
        except ValueError:
            target, canonical = "power_watt", "W"
    try:
        scale = parse_unit(unit or canonical, canonical)
    except ValueError:
        problem(1, header.written, f"unit {unit}", f"a unit that converts to {column.unit}", "this column is left out")
        return None
    if column.name in ("heater", "pump") and cells.str.strip().str.casefold().isin(_SWITCH).any():
        switched = cells.str.strip().str.casefold().map(_SWITCH)
        cells = cells.where(switched.isna(), switched.map(str))
    numbers = _to_numbers(cells, comma)
    _report_bad(header, cells, numbers, lines, f"a number in {scale.unit}", "this cell is left out", problem)
    known = numbers[np.isfinite(numbers)]
    if unit is None and canonical == "degC" and len(known) and np.median(known) > column.hot:
        problem(
            1,
            header.written,
            f"temperatures around {np.median(known):.4g} without a unit",
            f"degC, or the unit in the header: {header.name} [degF]",
            "this column is left out until its unit is written",
        )
        return None
    if unit is None and column.name in ("pump", "power") and len(known) and known.max() <= 1.0 and known.max() > 0:
        note(1, header.written, f"values up to {known.max():.3g}", "per cent", "read as shares of one")
        numbers = numbers * 100.0
    result = np.asarray(scale(numbers), dtype=float)
    if target == "power_watt" and rig is not None and rig.heater_power:
        return "power", 100.0 * result / rig.heater_power
    return target, result
