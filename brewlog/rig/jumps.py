"""A bed probe whose readings jump, or that has slipped out of the bed."""

from __future__ import annotations

import numpy as np

from brewlog.logbook.records import Brew
from brewlog.rig.notice import HOT, Finding
from brewlog.rig.rigfit import RigFit
from brewlog.rig.settling import best_step, step_beside_settling

JUMP = 0.8
"""Least jump of the probe's offset that is reported. [K]"""
SUSPECT = 0.7
"""A brew whose own fit leaves room for a step of this size is looked at closely. [K]"""
SIGMAS = 4.0
"""A jump is reported where it is so many of its sd. [1]"""


def probe_jump(brew: Brew, fit: RigFit) -> list[Finding]:
    """A lasting jump of the bed probe's reading against base sensor and power within one mash.

    Looked for at least ten minutes from both ends of a stretch of forty minutes or more; reported from 0.8 K on and if
    it is four of its sd, correlated residuals counted once.

    Parameters
    ----------
    brew : Brew
    fit : RigFit
        Its own fit of this brew is used: one brew of a rig is judged by the same bar as one of many, and with one or
        two brews a jump may be missed where they let a wrong model of the bed be chosen.

    Notes
    -----
    The step that lowers the squares of the residuals most, after the constants are allowed to move with it. As the bed
    settles its flow falls, on some rigs to half; fitted with one flow, the bed then seems early in the first heating
    and late in the last, which a step of up to 1.7 K mimics. A step is therefore judged beside a flow that may fall
    steadily.
    """
    day = fit.days.get(brew.label)
    if day is None or day.mash is None or day.sees != "base and bed":
        return []
    out = []
    for index in range(len(day.mash.series)):
        hint = best_step(day.mash, index)
        if hint is None or abs(hint.size) < SUSPECT:
            continue
        step = step_beside_settling(day, fit.model, index)
        if step is None or abs(step.size) < JUMP or step.sigmas < SIGMAS:
            continue
        at, size, half = step.at, step.size, 1.96 * step.sd
        sentence = (
            f"Brew {brew.label}: about {at / 60:.0f} min the bed probe jumped by {size:+.1f} K "
            f"(±{half:.1f}) while base sensor and heater did not. It was moved, its seat got wet, or its cable "
            "is loose; check it in ice water (0 degC)."
        )
        out.append(Finding("probe jump", brew.label, at, None, size, size - half, size + half, sentence))
    return out


def probe_out(brew: Brew, fit: RigFit) -> list[Finding]:
    """Stretches in which the probe had slipped out of the bed, as the mash room finds them."""
    day = fit.days.get(brew.label)
    if day is None:
        return []
    out = []
    lift = day.day.events.get("lift", np.inf)
    for first, last in day.day.outside:
        if last - first < 60 or last > lift - 120:
            continue  # pulled out for the lift
        sentence = (
            f"Brew {brew.label}: the bed probe was out of the bed from {first / 60:.0f} to {last / 60:.0f} min; its "
            f"readings are left out. A controller that follows it heats on in that time. {HOT}"
        )
        minutes = (last - first) / 60
        out.append(Finding("probe out of bed", brew.label, first, last, minutes, minutes, minutes, sentence))
    return out
