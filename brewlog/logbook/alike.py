"""Notes that many traces share, told once: how a logger writes its files is the same in each of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from brewlog.logbook.headers import shown
from brewlog.logbook.layout import TRACE_FOLDER
from brewlog.logbook.problems import MANY, Problem, some_of
from brewlog.logbook.times import ISO_TIME


def told_together(problems: Sequence[Problem]) -> list[Problem]:
    """Problems and notes in their order; a note that more than three traces share stands once, where it stood first.

    The note names the folder, how many traces it is about and the first of them. What one file is told twice stays.

    Parameters
    ----------
    problems : sequence of Problem

    Returns
    -------
    list of Problem

    Examples
    --------
    >>> notes = [Problem(f"traces/{k}.csv", 1, "Zeit", "Zeit", "a name", "read as time", "note") for k in "12345"]
    >>> [str(note) for note in told_together(notes)]
    ["traces, column Zeit: found 'Zeit in 5 traces (1, 2, 3 and 2 more)', expected a name; read as time."]
    """
    groups: dict[Any, list[Problem]] = {}
    for problem in problems:
        groups.setdefault(_kind(problem), []).append(problem)
    shared = {
        kind: alike
        for kind, alike in groups.items()
        if kind is not None and len({one.file for one in alike}) == len(alike) > MANY
    }
    result = []
    for problem in problems:
        alike = shared.get(_kind(problem), [])
        if not alike:
            result.append(problem)
        elif problem is alike[0]:
            result.append(_together(alike))
    return result


def _kind(problem: Problem) -> Any:
    """What notes of traces have in common that say the same, each of its own first time; None for anything else."""
    if problem.severity != "note" or not problem.file.startswith(f"{TRACE_FOLDER}/"):
        return None
    found = "" if problem.expected == ISO_TIME else problem.found
    return problem.column, found, problem.expected, problem.cost


def _together(alike: Sequence[Problem]) -> Problem:
    names = [one.file.removeprefix(f"{TRACE_FOLDER}/").removesuffix(".gz").removesuffix(".csv") for one in alike]
    found = f"times like {alike[0].found}" if alike[0].expected == ISO_TIME else alike[0].found
    return replace(
        alike[0], file=TRACE_FOLDER, line=None, found=f"{found} in {some_of(list(map(shown, names)), 'trace')}"
    )
