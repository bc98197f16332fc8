"""A bed that sets: stretches of a mash in which it lets through half of its flow or less."""

from __future__ import annotations

import numpy as np

from brewlog.logbook.records import Brew
from brewlog.rig.flow import FlowCourse, flow_course
from brewlog.rig.notice import HOT, Finding
from brewlog.rig.rigfit import RigFit
from brewlog.rig.settling import step_beside_settling

BLOCKED = 0.6
"""A bed counts as blocked while its flow is below this part of the brew's usual flow; half with a margin. [1]"""
BLOCKED_MINUTES = 10.0
BETTER = 0.9
"""A blocked bed is not believed where a flow that falls steadily and one step of the probe leave less than this part of
what the course of the flow leaves (rms). On simulated brews they left 0.95 to 4.9 times as much where the bed was
blocked, 0.1 to 0.83 times where the probe had jumped. [1]"""
BETTER_OF_FEW = 1.25
"""The same on a rig of fewer than three mashes: what flow is usual, and which model of the bed fits, may itself be bent
to the odd brew. The bar costs a fifth of the blocked beds. [1]"""
FEW = 3
ONE_SIDED = 1.645
"""Sds by which a stretch must lie below the usual flow: five per cent on one side of a normal distribution. [1]"""


def blocked_bed(brew: Brew, fit: RigFit, weighed: bool = False) -> list[Finding]:
    """Stretches of a mash in which the bed let through half or less of its flow for ten minutes or more.

    Empty where the flow cannot be told (no trace, no base sensor, no power) or nothing of the kind is seen.

    Parameters
    ----------
    brew : Brew
    fit : RigFit
    weighed : bool
        Whether it is believed only where a bed that settles steadily, with a probe that was moved, does not explain the
        mash better (`explained_otherwise`); else every mash that looks like it counts.
    """
    try:
        course = flow_course(brew, fit)
    except ValueError:
        return []
    stretches = blocked_stretches(course)
    if not stretches or (weighed and explained_otherwise(brew, fit, course)):
        return []
    found = []
    for first, last in stretches:
        inside = slice(first, last + 1)
        part = float(np.exp(np.mean(course.logs[inside] - course.baseline)))
        sd = float(np.mean(course.sds[inside]))
        low, high = part * np.exp(-1.96 * sd), part * np.exp(1.96 * sd)
        if not surely_less(part, sd):
            continue
        start, end = float(course.edges[first]), float(course.edges[last + 1])
        sentence = (
            f"Brew {brew.label}: from about {start / 60:.0f} to {end / 60:.0f} min the bed let through only "
            f"{100 * part:.0f} % of its usual flow (95 % range {100 * low:.0f} to {100 * high:.0f} %). Slow the pump, "
            f"loosen the bed, and keep the base from overheating. {HOT}"
        )
        found.append(Finding("blocked bed", brew.label, start, end, part, float(low), float(high), sentence))
    return found


def surely_less(part: float, sd: float) -> bool:
    """Whether a stretch lies below the usual flow as a whole: its windows may each be just unlikely enough.

    Parameters
    ----------
    part : float
        Of the usual flow. [1]
    sd : float
        Of its logarithm. [1]

    Examples
    --------
    >>> surely_less(0.53, 0.2), surely_less(0.53, 0.44)
    (True, False)
    """
    return bool(np.log(part) + ONE_SIDED * sd < 0)


def explained_otherwise(brew: Brew, fit: RigFit, course: FlowCourse) -> bool:
    """Whether a flow that falls steadily, with one step of the bed probe, explains a mash better than its course does.

    The course has a parameter every five minutes, they have three: where they leave less, the flow was bent to a probe
    that was moved, or to a bed that settled. False where that cannot be told, as without a bed probe. On a rig of fewer
    than three mashes the course must be clearly the better.

    Parameters
    ----------
    brew : Brew
    fit : RigFit
    course : FlowCourse
        Of this brew.
    """
    day = fit.days.get(brew.label)
    if day is None or day.mash is None or day.sees != "base and bed":
        return False
    series = day.mash.series
    step = step_beside_settling(day, fit.model, max(range(len(series)), key=lambda i: series[i].rows))
    told = [d for d in fit.days.values() if d.mash is not None and d.sees == "base and bed"]
    return step is not None and step.rms < (BETTER if len(told) >= FEW else BETTER_OF_FEW) * course.rms


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
