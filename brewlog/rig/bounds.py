"""By how much a constant of a real rig may differ from what the model makes of it, whatever the brews agree on."""

from __future__ import annotations

import numpy as np

from brewlog.rig.interval import Interval

MODEL_BOUND = frozenset({"probe_lag", "probe_offset"})
"""Constants that also take up what the model leaves out, whatever their interval: where the probe stands in the bed,
how the loss parts between base and bed, the free wort on top. A mash tells the fit's value, not the probe's."""

BOUND_SD = {
    "heat_share": 0.006,
    "heat_loss": 0.04,
    "bed_flow": 0.10,
    "bed_conductance": 0.10,
    "vapour_loss": 0.25,
    "absorption": 0.04,
}
"""Relative sd, from forty simulated rigs with more physics than the model (element, wall, free wort on top, a bed that
sets, steam under the lid), drawn at random: share off by -0.2 +- 0.6 %; loss by 4 +- 3 % against conduction alone, by
-1 +- 3 % with the steam; flow by -8 +- 10 % against its mean over the mash; vapour on the way to the boil by
18 +- 26 %; absorption by 3 +- 1 %, the steam of the mash. [1]"""


def with_bound(interval: Interval, bound: float) -> Interval:
    """The interval, wider by the relative sd with which a real rig may differ from the model.

    Parameters
    ----------
    interval : Interval
    bound : float
        [1]

    Examples
    --------
    >>> wide = with_bound(Interval(10.0, 0.1, 9.8, 10.2, 5), 0.04)
    >>> round(wide.low, 2), round(wide.sd, 2)
    (9.19, 0.41)
    """
    if not np.isfinite(interval.sd) or bound == 0:
        return interval
    own = abs(interval.estimate) * bound
    half = float(np.hypot((interval.high - interval.low) / 2, 1.96 * own))
    sd = float(np.hypot(interval.sd, own))
    return Interval(interval.estimate, sd, interval.estimate - half, interval.estimate + half, interval.brews)


def with_lag(interval: Interval, lag: Interval, slope: float) -> Interval:
    """Wider by what the lag does, which all brews share and their spread therefore does not show."""
    if lag.brews < 2 or not np.isfinite(lag.sd):
        return interval
    # a median scatters by a quarter more than a mean
    more = abs(slope) * interval.estimate * 1.25
    half = float(np.hypot((interval.high - interval.low) / 2, more * (lag.high - lag.low) / 2))
    sd = float(np.hypot(interval.sd, more * lag.sd))
    return Interval(interval.estimate, sd, interval.estimate - half, interval.estimate + half, interval.brews)
