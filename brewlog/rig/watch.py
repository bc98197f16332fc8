"""Watch over a rig: heater drifting over months, a bed that sets within a brew, a probe that jumps, clocks that differ.

Every finding is a record with the brew, the stretch, the size with its range, and a sentence that says what to do.
"""

from __future__ import annotations

from collections.abc import Sequence

from brewlog.logbook.records import Brew
from brewlog.rig.blocked import blocked_bed
from brewlog.rig.clocks import clocks
from brewlog.rig.drift import heater_drift, heater_outliers
from brewlog.rig.jumps import probe_jump, probe_out
from brewlog.rig.notice import Finding
from brewlog.rig.rigfit import RigFit


def watch_rig(fit: RigFit, brews: Sequence[Brew]) -> tuple[Finding, ...]:
    """Everything the watch finds on one rig, in order of the brews.

    Parameters
    ----------
    fit : RigFit
    brews : sequence of Brew
        Of this rig; the order in time is taken from their dates.

    Returns
    -------
    tuple of Finding
        Empty where all is as usual.
    """
    dates = {b.label: b.date for b in brews}
    found: list[Finding] = []
    drift = heater_drift(fit, dates)
    if drift is not None and (drift.low > 0 or drift.high < 0) and abs(drift.size) >= 2:
        found.append(drift)
    found += heater_outliers(fit)
    for brew in brews:
        late = clocks(brew, fit)
        # another clock makes flow and probe look as a blocked bed or a jump would, and each of these two as the other
        found += late or blocked_bed(brew, fit, weighed=True) or probe_jump(brew, fit)
        found += probe_out(brew, fit)
    return tuple(found)
