"""A logbook: one folder of CSV files, read to records."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from time import monotonic
from typing import Any

import pandas as pd

from brewlog.logbook import layout, values
from brewlog.logbook.folder import can_be_a_file, find_traces, list_folder, tell_unread
from brewlog.logbook.headers import shown
from brewlog.logbook.labels import Labelled
from brewlog.logbook.layout import FileLayout
from brewlog.logbook.moments import moments
from brewlog.logbook.problems import Problem
from brewlog.logbook.readings import make_reading
from brewlog.logbook.records import Addition, Brew, Event, Malt, Rest, Rig, TraceFault, WaterTest
from brewlog.logbook.tables import Row, TableReader
from brewlog.logbook.text import Unreadable, decode, read_bytes
from brewlog.logbook.traces import TraceData, TraceSource, load_trace

_PAIR = re.compile(r"(\d{1,6})\s*(tight|loose)", re.IGNORECASE)
LONGEST_CHECK = 10.0
"""After so long no further trace is read for the list of problems. [s]"""
MANY = 20
"""Brews lacking the same that are reported one by one; more are reported together."""
MOST_HINTS = 200
"""Unknown labels of one file for which the nearest known one is looked for."""
LONGEST_LABEL = 200
"""Longest label of a brew, a rig or a water test. [characters]"""
MOST_ALIKE = 40
"""Problems of one column that are told one by one; the rest is counted."""
ROWS_KEPT = 4_000_000
"""Rows of traces that are remembered; a longer trace is read again when it is asked for again."""
Loaded = tuple[pd.DataFrame | None, tuple[TraceFault, ...], tuple[Event, ...]]


@dataclass(frozen=True)
class Logbook:
    """What a brewer's folder holds: records by label, and everything that could not be read."""

    path: Path
    """The folder."""
    rigs: Labelled[Rig]
    brews: Labelled[Brew]
    """In order of date; brews without a date stand where the file has them."""
    water_tests: Labelled[WaterTest]
    table_problems: tuple[Problem, ...] = field(repr=False)
    """Of all files but the traces."""
    trace_loaders: Mapping[str, Callable[[], tuple[TraceData, tuple[Event, ...], tuple[Problem, ...]]]] = field(
        repr=False
    )

    @cached_property
    def problems(self) -> tuple[Problem, ...]:
        """Problems and notes of all files, in reading order; loads every trace."""
        found = list(self.table_problems)
        started = monotonic()
        for place, load in enumerate(self.trace_loaders.values()):
            if monotonic() - started > LONGEST_CHECK:
                rest = f"{len(self.trace_loaders) - place} more traces after {LONGEST_CHECK:.0f} s of reading"
                wish = "smaller traces"
                found.append(Problem(layout.TRACE_FOLDER, None, None, rest, wish, "they are not checked"))
                break
            found += load()[2]
        return tuple(sorted(found, key=_reading_order))

    def rig_of(self, brew: Brew) -> Rig | None:
        """The rig of a brew; None where it is not known."""
        return None if brew.rig is None else self.rigs.get(brew.rig)

    def brews_of(self, rig: str | Rig) -> tuple[Brew, ...]:
        """Brews made on a rig, in order of date.

        Raises
        ------
        KeyError
            If there is no such rig; the nearest label is named.
        """
        label = rig.label if isinstance(rig, Rig) else self.rigs[rig].label
        return tuple(brew for brew in self.brews.values() if brew.rig == label)

    def problems_of(self, label: str) -> list[Problem]:
        """Problems and notes in the trace of a brew or of a water test."""
        load = self.trace_loaders.get(label)
        return [] if load is None else list(load()[2])

    def __repr__(self) -> str:
        counts = f"{len(self.brews)} brews, {len(self.rigs)} rigs, {len(self.water_tests)} water tests"
        return f"Logbook({str(self.path)!r}: {counts})"


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
    ValueError
        If `brews.csv` cannot be read at all.
    """
    root = Path(path)
    if not root.exists():
        raise FileNotFoundError(f"there is no folder {str(path)!r}; expected the folder of a logbook.")
    if not root.is_dir():
        raise NotADirectoryError(f"{str(path)!r} is a file; expected the folder of a logbook.")
    try:
        present = list_folder(root)
    except OSError as error:
        raise PermissionError(f"the folder {str(path)!r} cannot be read ({error.strerror}).") from error
    if "brews.csv" not in present:
        raise FileNotFoundError(
            f"{str(path)!r} has no brews.csv; expected one row per brew day in it ('brewlog new' makes one)."
        )
    return _Reader(root, present).read()


def new_logbook(path: str | Path) -> Path:
    """Make an empty logbook: every file with its header, and a folder for traces.

    Parameters
    ----------
    path : str or Path
        A folder that does not exist yet, or is empty.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    FileExistsError
        If the folder holds anything, or is a file.
    """
    root = Path(path)
    if root.exists() and (not root.is_dir() or any(root.iterdir())):
        raise FileExistsError(f"{str(path)!r} exists and is not an empty folder; nothing was written.")
    (root / layout.TRACE_FOLDER).mkdir(parents=True, exist_ok=True)
    for file in layout.FILES:
        text = ",".join(column.header for column in file.columns) + "\n"
        (root / file.name).write_text(text, encoding="utf-8", newline="")
    return root


def _reading_order(problem: Problem) -> tuple[int, str, int]:
    """Tables in the order in which they are read, then traces by name; lines in order."""
    name = problem.file.casefold().removesuffix(".gz")
    rank = next((k for k, file in enumerate(layout.FILES) if file.name == name), len(layout.FILES))
    return rank + problem.file.startswith(f"{layout.TRACE_FOLDER}/"), problem.file, problem.line or 0


class _Remembered:
    """Loads traces; remembers them up to a number of rows."""

    def __init__(self) -> None:
        self.kept: dict[str, Any] = {}
        self.rows = 0

    def __call__(self, label: str, load: Callable[[], Any]) -> Any:
        """What `load` gives, remembered for `label` while there is room."""
        if label not in self.kept:
            result = load()
            rows = 0 if result[0].frame is None else len(result[0].frame)
            if self.rows + rows > ROWS_KEPT:
                return result
            self.rows += rows
            self.kept[label] = result
        return self.kept[label]


class _Reader:
    """Reads one folder."""

    def __init__(self, root: Path, present: Mapping[str, Path]) -> None:
        self.root, self.present = root, present
        self.problems: list[Problem] = []
        self.hints: dict[str, dict[str, str]] = {}
        self.said: Counter[tuple[Any, ...]] = Counter()
        self.more: dict[tuple[Any, ...], Problem] = {}

    def say(self, problem: Problem) -> None:
        """Keep a problem; of many alike in one column, the first ones and a count."""
        kind = (problem.file, problem.column, problem.severity)
        self.said[kind] += 1
        if self.said[kind] <= MOST_ALIKE:
            self.problems.append(problem)
        else:
            self.more.setdefault(kind, problem)

    def counted(self) -> tuple[Problem, ...]:
        """All problems, those that were only counted at the end."""
        rest = [
            replace(first, found=f"{self.said[kind] - MOST_ALIKE} more in this column", cost="each costs the same")
            for kind, first in self.more.items()
        ]
        return (*self.problems, *rest)

    def hint(self, label: str, known: Collection[str], file: str) -> str:
        """The nearest known label, for the first labels of a file that are not known."""
        hints = self.hints.setdefault(file, {})
        if label not in hints:
            near = values.nearest(label, known) if len(hints) < MOST_HINTS else None
            hints[label] = f" (perhaps {near!r})" if near else ""
        return hints[label]

    def complain(
        self,
        file: str,
        line: int | None,
        column: str | None,
        found: str,
        expected: str,
        cost: str,
        severity: Any = "problem",
    ) -> None:
        self.say(Problem(file, line, column, shown(found), expected, cost, severity))

    def rows(self, file: FileLayout) -> list[Row]:
        path = self.present.get(file.name) or self.present.get(f"{file.name}.gz")
        if path is None:
            return []
        try:
            decoded = decode(read_bytes(path, self.root))
        except Unreadable as error:
            self.complain(path.name, None, None, error.found, error.expected, "nothing of this file could be read")
            if file is layout.BREWS:
                raise ValueError(
                    f"{path.name}: found {error.found}, expected {error.expected}; nothing could be read."
                ) from error
            return []
        return TableReader(file, path.name, self.say).read(decoded)

    def read(self) -> Logbook:
        brew_rows = self.unique(layout.BREWS, self.rows(layout.BREWS), "label of its own")
        if not brew_rows:
            self.complain(
                "brews.csv",
                None,
                None,
                "no row that could be read",
                "one row per brew day",
                "there is nothing to work on",
            )
            # rows of the other files belong to brews: each would be reported for want of its own
            return self.nothing()
        rig_rows = self.unique(layout.RIGS, self.rows(layout.RIGS), "label of its own")
        rigs = {row.values["label"]: self.rig(row) for row in rig_rows}
        tell_unread(self.present, self.say)
        per_brew = {
            file.name: self.by_brew(file, brew_rows)
            for file in (layout.GRIST, layout.ADDITIONS, layout.RESTS, layout.READINGS, layout.EVENTS_FILE)
        }
        channels = self.channels(self.rows(layout.CHANNELS_FILE), rigs)
        test_rows = self.unique(layout.WATER_TESTS, self.rows(layout.WATER_TESTS), "label of its own")
        test_rows = [row for row in test_rows if self.own_name(row, brew_rows)]
        if not rigs:
            rigs = self.assumed_rigs(brew_rows)
        traces = self.trace_files([row.values["brew"] for row in brew_rows], [row.values["label"] for row in test_rows])
        self.tell_missing(brew_rows, per_brew, traces)
        loaders: dict[str, Any] = {}
        remembered = _Remembered()

        def loader(label: str, rig: str | None, events: list[Row]) -> Callable[[], Loaded] | None:
            files = traces.get(label, ())
            if not files and not events:
                return None
            source = TraceSource(
                self.root, tuple(files), rigs.get(rig) if rig else None, channels.get(rig, {}) | channels.get(None, {})
            )

            def load() -> tuple[TraceData, tuple[Event, ...], tuple[Problem, ...]]:
                return remembered(label, lambda: self.load(source, label, events))

            loaders[label] = load

            def loaded() -> Loaded:
                data, moments, _ = load()
                return data.frame, data.faults, moments

            return loaded

        brews = {}
        for row in brew_rows:
            label = row.values["brew"]
            brew = self.brew(row, rigs, per_brew)
            brews[label] = replace(brew, load_trace=loader(label, brew.rig, per_brew["events.csv"].get(label, [])))
        tests = {}
        for row in test_rows:
            rig = self.known_rig(layout.WATER_TESTS, row, rigs)
            record = WaterTest(**{k: v for k, v in row.values.items() if k != "rig"}, rig=rig)
            tests[record.label] = replace(record, load_trace=loader(record.label, rig, []))
            if record.label not in traces:
                self.complain(
                    "water_tests.csv",
                    row.line,
                    "test",
                    record.label,
                    f"a trace traces/{record.label}.csv",
                    "this test tells nothing",
                    "note",
                )
        if all(brew.date is not None for brew in brews.values()):
            brews = dict(sorted(brews.items(), key=lambda item: item[1].date))  # type: ignore[arg-type, return-value]
        return Logbook(
            self.root,
            Labelled("rig", "rigs.csv", rigs),
            Labelled("brew", "brews.csv", brews),
            Labelled("water test", "water_tests.csv", tests),
            self.counted(),
            loaders,
        )

    def nothing(self) -> Logbook:
        """A logbook without brews."""
        empty: dict[str, Any] = {}
        return Logbook(
            self.root, Labelled("rig", "rigs.csv", empty), Labelled("brew", "brews.csv", empty),
            Labelled("water test", "water_tests.csv", empty), self.counted(), {},
        )  # fmt: skip

    # -- relations between files

    def unique(self, file: FileLayout, rows: list[Row], wish: str) -> list[Row]:
        """Rows with a label that no earlier row has."""
        key = file.columns[0].target
        seen: dict[str, tuple[str, int]] = {}
        kept = []
        for row in rows:
            label = row.values[key]
            if len(label) > LONGEST_LABEL:
                wish = f"a label of at most {LONGEST_LABEL} characters"
                self.complain(file.name, row.line, file.columns[0].name, label, wish, "this row is left out")
                continue
            if file is not layout.RIGS and not can_be_a_file(label):
                wish = "a label that can be a file's name, without / and \\"
                self.complain(file.name, row.line, file.columns[0].name, label, wish, "it can have no trace")
            before = seen.get(label.casefold())
            if before:
                like = f"{label} (line {before[1]} has {before[0]!r})"
                self.complain(file.name, row.line, file.columns[0].name, like, f"a {wish}", "this row is left out")
                continue
            seen[label.casefold()] = (label, row.line)
            kept.append(row)
        return kept

    def own_name(self, row: Row, brew_rows: list[Row]) -> bool:
        """False where a water test has the name of a brew."""
        label = row.values["label"]
        clash = next((b for b in brew_rows if b.values["brew"].casefold() == label.casefold()), None)
        if clash is not None:
            self.complain(
                "water_tests.csv",
                row.line,
                "test",
                label,
                f"a label that no brew has (brews.csv, line {clash.line})",
                "this test is left out",
            )
        return clash is None

    def by_brew(self, file: FileLayout, brew_rows: list[Row]) -> dict[str, list[Row]]:
        """Rows of a file by brew; rows of unknown brews are reported."""
        labels = {row.values["brew"]: None for row in brew_rows}
        folded = {label.casefold(): label for label in labels}
        found: dict[str, list[Row]] = {}
        lines: dict[tuple[str, ...], int] = {}
        for row in self.rows(file):
            label = row.values["brew"]
            if label not in labels:
                other = folded.get(label.casefold())
                if other is not None:
                    self.complain(
                        file.name, row.line, "brew", label, "a brew in brews.csv", f"read as {other!r}", "note"
                    )
                    label = other
                else:
                    wish = f"a brew in brews.csv{self.hint(label, labels, file.name)}"
                    self.complain(file.name, row.line, "brew", label, wish, "this row is left out")
                    continue
            owned = found.setdefault(label, [])
            before = lines.setdefault(tuple(row.cells.values()), row.line)
            if before != row.line and file in (layout.GRIST, layout.ADDITIONS, layout.EVENTS_FILE):
                self.complain(
                    file.name, row.line, None, f"the same as line {before}", "every row once", "both count", "note"
                )
            owned.append(row)
        return found

    def known_rig(self, file: FileLayout, row: Row, rigs: Mapping[str, Rig]) -> str | None:
        label = row.values.get("rig")
        if label is None:
            if len(rigs) > 1:
                wish = f"one of {', '.join(list(rigs)[:5])}"
                self.complain(file.name, row.line, "rig", "no rig", wish, "its rig is not known", "note")
            return next(iter(rigs)) if len(rigs) == 1 else None
        if label in rigs:
            return str(label)
        folded = {known.casefold(): known for known in rigs}
        if label.casefold() in folded:
            self.complain(
                file.name, row.line, "rig", label, "a rig in rigs.csv", f"read as {folded[label.casefold()]!r}", "note"
            )
            return folded[label.casefold()]
        hint = self.hint(label, rigs, file.name)
        cost = "this row is left out" if file is layout.CHANNELS_FILE else "the rig of this row is not known"
        self.complain(file.name, row.line, "rig", label, f"a rig in rigs.csv{hint}", cost)
        return None

    def assumed_rigs(self, brew_rows: list[Row]) -> dict[str, Rig]:
        """Rigs named in brews.csv where rigs.csv has none; one rig where nothing is named."""
        named = list(dict.fromkeys(str(row.values["rig"]) for row in brew_rows if row.values.get("rig")))
        return {label: Rig(label) for label in named or ["rig"]} if brew_rows else {}

    def channels(
        self, rows: list[Row], rigs: Mapping[str, Rig]
    ) -> dict[str | None, dict[str, tuple[str, str | None, str]]]:
        known = {values.plain(name): name for name in (*layout.CHANNELS, "time", "elapsed")}
        found: dict[str | None, dict[str, tuple[str, str | None, str]]] = {}
        for row in rows:
            channel = known.get(values.plain(row.values["channel"]))
            if channel is None:
                near = values.nearest(row.values["channel"], known.values())
                wish = f"one of {', '.join(known.values())}" + (f" (perhaps {near!r})" if near else "")
                self.complain("channels.csv", row.line, "channel", row.values["channel"], wish, "this row is left out")
                continue
            rig = self.known_rig(layout.CHANNELS_FILE, row, rigs) if row.values.get("rig") else None
            if rig is None and row.values.get("rig"):
                continue
            column = row.values["column"]
            found.setdefault(rig, {})[values.plain(column)] = (channel, row.values.get("unit"), column)
        return found

    # -- traces

    def trace_files(self, brews: Iterable[str], tests: Iterable[str]) -> dict[str, list[Path]]:
        """Files of each trace, by label of brew or test."""
        folder = self.present.get(layout.TRACE_FOLDER)
        return {} if folder is None else find_traces(folder, brews, tests, self.say)

    def tell_missing(self, brew_rows: list[Row], per_brew: Mapping[str, Any], traces: Mapping[str, Any]) -> None:
        """Note what a brew lacks of the files that this logbook has."""
        kinds = [
            (file.name, per_brew[file.name], f"no row of it in {file.name}", cost)
            for file, cost in (
                (layout.GRIST, "its efficiency cannot be known"),
                (layout.READINGS, "its extract cannot be known"),
            )
        ]
        if traces:
            kinds.append((layout.TRACE_FOLDER, traces, "no trace of it", "how its rests were held cannot be known"))
        for name, owned, found, cost in kinds:
            if name not in self.present and f"{name}.gz" not in self.present:
                continue
            if any(p.severity == "problem" and p.file.startswith(name) for p in self.problems):
                continue  # what is missing here may be what could not be read there
            lacking = [row for row in brew_rows if row.values["brew"] not in owned]
            if name == layout.TRACE_FOLDER:
                lacking = [row for row in lacking if can_be_a_file(row.values["brew"])]
            for row in lacking[:MANY]:
                label = shown(row.values["brew"])
                wish = f"a trace traces/{label}.csv" if name == layout.TRACE_FOLDER else f"rows of brew {label!r}"
                self.complain("brews.csv", row.line, "brew", found, wish, cost, "note")
            if len(lacking) > MANY:
                found = f"{len(lacking) - MANY} more brews with {found}"
                self.complain("brews.csv", lacking[MANY].line, "brew", found, "one for each", cost, "note")

    def load(
        self, source: TraceSource, label: str, events: list[Row]
    ) -> tuple[TraceData, tuple[Event, ...], tuple[Problem, ...]]:
        said: list[Problem] = []
        data = load_trace(source, said.append) if source.files else TraceData(None, (), None)
        return data, moments(events, label, data, said.append), tuple(said)

    # -- records

    def rig(self, row: Row) -> Rig:
        kept = {name: value for name, value in row.values.items() if value is not None}
        return Rig(**kept, own=row.own)

    def brew(self, row: Row, rigs: Mapping[str, Rig], per_brew: Mapping[str, dict[str, list[Row]]]) -> Brew:
        cells = dict(row.values)
        label = cells.pop("brew")
        cells["rig"] = self.known_rig(layout.BREWS, row, rigs)
        cells["pair"] = self.pair(row)
        malts = tuple(Malt(**(r.values | {"malt": self.malt(r)})) for r in per_brew["grist.csv"].get(label, ()))
        rests = self.rests(per_brew["rests.csv"].get(label, []))
        readings = [
            make_reading(r.values | {"brew": label}, r, self.say) for r in per_brew["readings.csv"].get(label, ())
        ]
        for extra in per_brew["additions.csv"].get(label, ()):
            self.amounts(extra)
        additions = tuple(Addition(**(r.values | {"brew": label})) for r in per_brew["additions.csv"].get(label, ()))
        return Brew(
            label=label,
            **cells,
            malts=tuple(replace(malt, brew=label) for malt in malts),
            additions=additions,
            rests=rests,
            readings=tuple(reading for reading in readings if reading is not None),
            own=row.own,
        )

    def malt(self, row: Row) -> str:
        """Type of a malt; a malt without a name still counts."""
        name = row.values.get("malt")
        if name is None:
            self.complain("grist.csv", row.line, "malt", "an empty cell", "type of the malt", "read as 'malt'", "note")
        return name or "malt"

    def pair(self, row: Row) -> str | None:
        """Number and word of a random pair."""
        text = row.values.get("pair")
        found = _PAIR.fullmatch(text) if text else None
        if text and found is None:
            wish = "the number of a pair and `tight` or `loose`, such as `3 tight`"
            self.complain("brews.csv", row.line, "pair", text, wish, "this cell is left out")
        return f"{found[1]} {found[2].casefold()}" if found else None

    def amounts(self, row: Row) -> None:
        """Report an addition of which nothing is known that could be counted."""
        if row.values.get("mass") is None and row.values.get("volume") is None:
            self.complain(
                "additions.csv", row.line, None, "neither mass nor volume", "one of them", "it cannot be counted"
            )

    def rests(self, rows: list[Row]) -> tuple[Rest, ...]:
        found: dict[int, Rest] = {}
        for row in rows:
            number = row.values["rest"]
            if number in found:
                self.complain(
                    "rests.csv", row.line, "rest", str(number), "every rest of a brew once", "this row is left out"
                )
                continue
            found[number] = Rest(**row.values)
        return tuple(found[number] for number in sorted(found))
