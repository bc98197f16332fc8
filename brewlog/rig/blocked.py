"""A bed that sets: stretches of a mash in which it lets through half of its flow or less."""

from __future__ import annotations

import numpy as np

from brewlog.logbook.records import Brew
from brewlog.rig.flow import FlowCourse, flow_course
from brewlog.rig.notice import HOT, Finding
from brewlog.rig.rigfit import RigFit

BLOCKED = 0.6
"""A bed counts as blocked while its flow is below this part of the brew's usual flow; half with a margin. [1]"""
BLOCKED_MINUTES = 10.0


def blocked_bed(brew: Brew, fit: RigFit) -> list[Finding]:
    """Stretches of a mash in which the bed let through half or less of its flow for ten minutes or more.

    Empty where the flow cannot be told (no trace, no base sensor, no power) or nothing of the kind is seen.

    Parameters
    ----------
    brew : Brew
    fit : RigFit
    """
    try:
        course = flow_course(brew, fit)
    except ValueError:
        return []
    found = []
    for first, last in blocked_stretches(course):
        inside = slice(first, last + 1)
        part = float(np.exp(np.mean(course.logs[inside] - course.baseline)))
        sd = float(np.mean(course.sds[inside]))
        low, high = part * np.exp(-1.96 * sd), part * np.exp(1.96 * sd)
        start, end = float(course.edges[first]), float(course.edges[last + 1])
        sentence = (
            f"Brew {brew.label}: from about {start / 60:.0f} to {end / 60:.0f} min the bed let through only "
            f"{100 * part:.0f} % of its usual flow (95 % range {100 * low:.0f} to {100 * high:.0f} %). Slow the pump, "
            f"loosen the bed, and keep the base from overheating. {HOT}"
        )
        found.append(Finding("blocked bed", brew.label, start, end, part, float(low), float(high), sentence))
    return found


def blocked_stretches(course: FlowCourse) -> list[tuple[int, int]]:
    """First and last window of every blocked stretch of a course of the flow.

    Blocked is a window whose flow is below six tenths of the brew's own usual flow and, one sd higher, still below nine
    tenths; without a bed probe, two sd higher still below seven tenths, because the base alone tells less. Ten minutes
    of such windows in a row make a stretch (windows are five minutes, so two may hold it).
    """
    logs = course.logs - course.baseline
    sure = logs + course.sds < np.log(0.9) if course.probe else logs + 1.96 * course.sds < np.log(0.7)
    hits = (logs < np.log(BLOCKED)) & sure
    out: list[tuple[int, int]] = []
    first = None
    for i, hit in enumerate([*hits, False]):
        if hit and first is None:
            first = i
        elif not hit and first is not None:
            if (course.edges[i] - course.edges[first]) / 60 >= BLOCKED_MINUTES - 2.5:
                out.append((first, i - 1))
            first = None
    return out
