"""Traces read when they are asked for, and remembered."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from brewlog.logbook.channels import Names
from brewlog.logbook.moments import moments
from brewlog.logbook.parts import TraceSource
from brewlog.logbook.problems import Problem
from brewlog.logbook.records import Event, Rig, TraceFault
from brewlog.logbook.tables import Row
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
        names: Mapping[str | None, dict[str, tuple[str, str | None, str]]],
    ) -> None:
        self.root, self.files, self.rigs, self.names = root, files, rigs, names
        self.by_label: dict[str, Callable[[], Told]] = {}
        self.kept: dict[str, Told] = {}
        self.rows = 0

    def add(self, label: str, rig: str | None, events: list[Row]) -> dict[str, Any]:
        """Fields of a record that load its trace; none where it has neither trace nor events."""
        files = tuple(self.files.get(label, ()))
        if not files and not events:
            return {}
        names: Names = self.names.get(rig, {}) | self.names.get(None, {})
        source = TraceSource(self.root, files, self.rigs.get(rig) if rig else None, names)

        def load() -> Told:
            return self._remembered(label, lambda: _load(source, label, events))

        def loaded() -> Loaded:
            data, found, _ = load()
            return data.frame, data.faults, found

        def own() -> pd.DataFrame | None:
            return load_trace(replace(source, own=True), lambda problem: None).own if files else None

        self.by_label[label] = load
        return {"load_trace": loaded, "load_own": own}

    def _remembered(self, label: str, load: Callable[[], Told]) -> Told:
        if label not in self.kept:
            result = load()
            rows = 0 if result[0].frame is None else len(result[0].frame)
            if self.rows + rows > ROWS_KEPT:
                return result
            self.rows += rows
            self.kept[label] = result
        return self.kept[label]


def _load(source: TraceSource, label: str, events: list[Row]) -> Told:
    said: list[Problem] = []
    data = load_trace(source, said.append) if source.files else TraceData(None, (), None)
    return data, moments(events, label, data, said.append), tuple(said)
