"""A logbook: one folder of CSV files, as records."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from time import process_time

from brewlog.logbook import layout
from brewlog.logbook.alike import told_together
from brewlog.logbook.labels import Labelled
from brewlog.logbook.problems import Problem
from brewlog.logbook.records import Brew, Event, Rig, WaterTest
from brewlog.logbook.traces import TraceData

LONGEST_CHECK = 10.0
"""After so much time of the processor no further trace is read for the list of problems; what else the machine does
changes nothing. [s]"""
NAMED = 10
"""Traces that were not read and are named."""


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
    late_problems: Callable[[], Sequence[Problem]] = field(default=tuple, repr=False)
    """What can be said only when all traces are read."""

    @cached_property
    def problems(self) -> tuple[Problem, ...]:
        """Problems and notes of all files, in reading order, what many traces share once; loads every trace."""
        found = list(self.table_problems)
        started = process_time()
        for place, load in enumerate(self.trace_loaders.values()):
            if process_time() - started > LONGEST_CHECK:
                left = list(self.trace_loaders)[place:]
                names = ", ".join(left[:NAMED]) + (f" and {len(left) - NAMED} more" if len(left) > NAMED else "")
                found_text = f"{len(left)} traces not yet read after {LONGEST_CHECK:.0f} s of work: {names}"
                wish = "traces that are read sooner"
                found.append(Problem(layout.TRACE_FOLDER, None, None, found_text, wish, "nothing is said of these"))
                break
            found += load()[2]
        else:
            found += self.late_problems()
        return tuple(sorted(told_together(found), key=_reading_order))

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


def _reading_order(problem: Problem) -> tuple[int, str, int]:
    """Tables in the order in which they are read, then traces by name; lines in order."""
    name = problem.file.casefold().removesuffix(".gz")
    rank = next((k for k, file in enumerate(layout.FILES) if file.name == name), len(layout.FILES))
    return rank + problem.file.startswith(f"{layout.TRACE_FOLDER}/"), problem.file, problem.line or 0
