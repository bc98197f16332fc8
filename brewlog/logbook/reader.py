"""A logbook's folder read from end to end."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from brewlog.logbook import layout
from brewlog.logbook.book import Logbook
from brewlog.logbook.complaints import Complaints
from brewlog.logbook.folder import find_traces, list_folder, tell_unread
from brewlog.logbook.labels import Labelled
from brewlog.logbook.layout import FileLayout
from brewlog.logbook.loading import TraceLoaders
from brewlog.logbook.making import make_brew, make_rig, make_test
from brewlog.logbook.naming import channel_names
from brewlog.logbook.readings import tell_sizes, tell_unitless
from brewlog.logbook.relations import (
    assumed_rigs,
    by_brew,
    known_rig,
    own_name,
    tell_half_boils,
    tell_missing,
    tell_traceless,
    unique,
)
from brewlog.logbook.rows import Row
from brewlog.logbook.tables import TableReader
from brewlog.logbook.text import Unreadable, decode, read_bytes, tell_pack

LONGEST_PATH = 1000
"""Longest path of a folder that a message repeats. [characters]"""
_OF_BREWS = (layout.GRIST, layout.ADDITIONS, layout.RESTS, layout.READINGS, layout.EVENTS_FILE)


def read_logbook(path: str | Path) -> Logbook:
    """Read a logbook. Nothing in the folder is changed.

    Parameters
    ----------
    path : str or Path
        The folder; `brews.csv` in it is needed, every other file adds to it.

    Returns
    -------
    Logbook
        Cells, rows and files that could not be read are in `.problems`; traces are read when asked for.

    Raises
    ------
    FileNotFoundError
        If there is no such folder, or no `brews.csv` in it.
    NotADirectoryError
        If `path` is a file.
    PermissionError
        If the folder cannot be listed, for whatever reason.
    ValueError
        If `brews.csv` cannot be read at all.
    """
    root, shown_path = Path(path), repr(str(path)[:LONGEST_PATH])
    try:
        if not str(path) or not root.exists():
            raise FileNotFoundError(f"there is no folder {shown_path}; expected the folder of a logbook.")
        if not root.is_dir():
            raise NotADirectoryError(f"{shown_path} is a file; expected the folder of a logbook.")
        present = list_folder(root)
    except OSError as error:
        if error.strerror is None:
            raise
        raise PermissionError(f"the folder {shown_path} cannot be read ({error.strerror}).") from error
    if "brews.csv" not in present and "brews.csv.gz" not in present:
        inner = next((file.name for file in present.values() if (file / "brews.csv").is_file()), None)
        hint = f"the folder {inner!r} in it has one" if inner else "'brewlog new' makes one"
        raise FileNotFoundError(f"{shown_path} has no brews.csv; expected one row per brew day in it ({hint}).")
    return _read(root, present)


def _read(root: Path, present: Mapping[str, Path]) -> Logbook:
    told = Complaints()

    def rows(file: FileLayout) -> list[Row]:
        return _rows(file, root, present, told)

    brew_rows = unique(layout.BREWS, rows(layout.BREWS), told)
    if not brew_rows:
        # rows of the other files belong to brews: each would be reported for want of its own
        if told.lost() or _anything(root, present):
            wish, cost = "one row per brew day", "there is nothing to work on"
            told.complain("brews.csv", None, None, "no row that could be read", wish, cost)
        else:
            wish = "one row per brew day: its label and date, then what you know of it"
            told.complain("brews.csv", None, None, "no brew yet", wish, "the logbook is read as empty", "note")
        return _logbook(root, {}, {}, {}, told, None)
    rigs = {row.values["label"]: make_rig(row) for row in unique(layout.RIGS, rows(layout.RIGS), told)}
    tables = {file.name: rows(file) for file in _OF_BREWS}
    per_brew = {file.name: by_brew(file, tables[file.name], brew_rows, told) for file in _OF_BREWS}
    tell_sizes(tables[layout.READINGS.name], told.say)
    names = channel_names(rows(layout.CHANNELS_FILE), rigs, told)
    test_rows = unique(layout.WATER_TESTS, rows(layout.WATER_TESTS), told)
    test_rows = [row for row in test_rows if own_name(row, brew_rows, told)]
    rigs = rigs or assumed_rigs(brew_rows)
    folder = present.get(layout.TRACE_FOLDER)
    labels = [row.values["brew"] for row in brew_rows], [row.values["label"] for row in test_rows]
    tell_unread(present, [*labels[0], *labels[1]], told.say)
    traces = {} if folder is None else find_traces(folder, *labels, told.say)
    tell_missing(brew_rows, per_brew, traces, present, told)
    tell_half_boils(per_brew[layout.EVENTS_FILE.name], told)
    loaders = TraceLoaders(root, traces, rigs, names)
    brews = {}
    for row in brew_rows:
        label = row.values["brew"]
        rig = known_rig(layout.BREWS, row, rigs, told)
        loads = loaders.add(label, rig, row, per_brew["events.csv"].get(label, []))
        kettle = rigs[rig].kettle_volume if rig is not None else None
        brews[label] = make_brew(row, rig, kettle, per_brew, loads, told)
    kept = {reading.line for brew in brews.values() for reading in brew.readings}
    tell_unitless([row for row in tables[layout.READINGS.name] if row.line in kept], told.say)
    tests = {}
    for row in test_rows:
        label = row.values["label"]
        rig = known_rig(layout.WATER_TESTS, row, rigs, told)
        tests[label] = make_test(row, rig, loaders.add(label, rig, row, []))
        tell_traceless(row, traces, told)
    if all(brew.date is not None for brew in brews.values()):
        brews = dict(sorted(brews.items(), key=lambda item: item[1].date))  # type: ignore[arg-type, return-value]
    return _logbook(root, rigs, brews, tests, told, loaders)


def _rows(file: FileLayout, root: Path, present: Mapping[str, Path], told: Complaints) -> list[Row]:
    """Rows of one table; none where it is not there or cannot be read."""
    path = present.get(file.name) or present.get(f"{file.name}.gz")
    if path is None:
        return []
    try:
        content = read_bytes(path, root)
        decoded = decode(content.data)
    except Unreadable as error:
        if file is layout.BREWS:
            text = f"{path.name}: found {error.found}, expected {error.expected}; nothing could be read."
            raise ValueError(text) from error
        told.complain(path.name, None, None, error.found, error.expected, "nothing of this file could be read")
        return []
    tell_pack(path.name, content.packed, told.say)
    return TableReader(file, path.name, told.say).read(decoded)


def _anything(root: Path, present: Mapping[str, Path]) -> bool:
    """True where a table other than brews.csv holds a row, or the folder of traces a file."""
    aside = Complaints()
    if any(_rows(file, root, present, aside) for file in layout.FILES if file is not layout.BREWS):
        return True
    folder = present.get(layout.TRACE_FOLDER)
    return folder is not None and bool(find_traces(folder, (), (), aside.say) or aside.problems)


def _logbook(
    root: Path,
    rigs: Mapping[str, Any],
    brews: Mapping[str, Any],
    tests: Mapping[str, Any],
    told: Complaints,
    loaders: TraceLoaders | None,
) -> Logbook:
    return Logbook(
        root,
        Labelled("rig", "rigs.csv", rigs),
        Labelled("brew", "brews.csv", brews),
        Labelled("water test", "water_tests.csv", tests),
        told.counted(),
        loaders.by_label if loaders else {},
        loaders.late if loaders else tuple,
    )
