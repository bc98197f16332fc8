"""Traces read when they are asked for, and remembered."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date as Date
from functools import partial
from pathlib import Path
from typing import Any

import pandas as pd

from brewlog.logbook.channels import Names
from brewlog.logbook.moments import moments
from brewlog.logbook.naming import ByRig, unused_names
from brewlog.logbook.parts import TraceSource
from brewlog.logbook.problems import Problem
from brewlog.logbook.records import Event, Rig, TraceFault
from brewlog.logbook.rows import Row
from brewlog.logbook.trace_orders import heads, order_of
from brewlog.logbook.traces import TraceData, load_trace

ROWS_KEPT = 4_000_000
"""Rows of traces that are remembered; a longer trace is read again when it is asked for again."""
Loaded = tuple[pd.DataFrame | None, tuple[TraceFault, ...], tuple[Event, ...]]
Told = tuple[TraceData, tuple[Event, ...], tuple[Problem, ...]]


class TraceLoaders:
    """Loaders of traces by label; what was loaded is remembered up to a number of rows."""

    def __init__(
        self,
        root: Path,
        files: Mapping[str, Sequence[Path]],
        rigs: Mapping[str, Rig],
        names: ByRig,
    ) -> None:
        self.root, self.files, self.rigs, self.names = root, files, rigs, names
        self.by_label: dict[str, Callable[[], Told]] = {}
        self.kept: dict[str, Told] = {}
        self.rows = 0
        self.seen: dict[str | None, set[str]] = {}
        self.digests: dict[bytes, Path] = {}
        self.days: dict[str | None, list[tuple[Path, Date | None]]] = {}
        self.dates: list[tuple[str, None]] = []
        self.orders: dict[tuple[str | None, str], str | None] = {}

    def add(self, label: str, rig: str | None, row: Row, events: list[Row]) -> dict[str, Any]:
        """Fields of a record, made of a row, that load its trace; none where it has neither trace nor events."""
        files = tuple(self.files.get(label, ()))
        self.dates.append((row.cells.get("date", ""), None))
        if not files and not events:
            return {}
        names: Names = self.names.get(rig, {}) | self.names.get(None, {})
        follows, day = row.values.get("heater_follows"), row.values.get("date")
        seen = self.seen.setdefault(rig, set())
        owner = self.rigs.get(rig) if rig else None
        self.days.setdefault(rig, []).extend((file, day) for file in files)
        source = TraceSource(
            self.root, files, owner, names, follows, day, seen, self.digests, test="brew" not in row.values,
            order=partial(self._order, rig),
        )  # fmt: skip
        loader = TraceLoader(source, label, tuple(events), self)
        self.by_label[label] = loader.told
        return {"load_trace": loader}

    def _order(self, rig: str | None, sign: str) -> str | None:
        """Whether day or month comes first in the dates of a rig's traces, else in those of the tables."""
        if (rig, sign) not in self.orders:
            told = order_of(sign, heads(self.root, self.days.get(rig, ())))
            self.orders[rig, sign] = told or order_of(sign, self.dates)
        return self.orders[rig, sign]

    def late(self) -> list[Problem]:
        """What can be said only when all traces are read."""
        return unused_names(self.names, self.seen)

    def remembered(self, label: str, load: Callable[[], Told]) -> Told:
        """What `load` gives, kept for a label while there is room."""
        if label not in self.kept:
            result = load()
            rows = 0 if result[0].frame is None else len(result[0].frame)
            if self.rows + rows > ROWS_KEPT:
                return result
            self.rows += rows
            self.kept[label] = result
        return self.kept[label]


@dataclass(frozen=True)
class TraceLoader:
    """Loads the trace of one brew or water test."""

    source: TraceSource
    label: str
    events: tuple[Row, ...]
    all: TraceLoaders

    def __call__(self) -> Loaded:
        """Frame, faults and events."""
        data, found, _ = self.told()
        return data.frame, data.faults, found

    def told(self) -> Told:
        """The trace, the events and what is to be said of them."""
        return self.all.remembered(self.label, self._load)

    def own(self) -> pd.DataFrame | None:
        """Columns of the brewer's own beside `elapsed`; the files are read again."""
        if not self.source.files:
            return None
        return load_trace(replace(self.source, own=True), lambda problem: None).own

    def _load(self) -> Told:
        said: list[Problem] = []
        data = load_trace(self.source, said.append) if self.source.files else TraceData(None, (), None)
        return data, moments(self.events, self.label, data, said.append), tuple(said)
