"""By how much a constant of a real rig may differ from what the model makes of it, whatever the brews agree on."""

from __future__ import annotations

import numpy as np
from scipy.special import stdtrit

from brewlog.rig.boiling import LID_OFF_LOSS, ROOM_VAPOUR, vapour_pressure
from brewlog.rig.day import ROOM
from brewlog.rig.interval import Interval

MODEL_BOUND = frozenset({"probe_lag", "probe_offset"})
"""Constants that also take up what the model leaves out, whatever their interval: where the probe stands in the bed,
how the loss parts between base and bed, the free wort on top. A mash tells the fit's value, not the probe's."""

PROBE_SD = {"probe_lag": 50.0, "probe_offset": 0.65}
"""Root mean square, mean included, by which a mash misses lag and offset of the probe itself, on the simulated rigs of
`BOUND_SD`: sixty rigs gave a lag off by 24 +- 43 s and an offset by -0.62 +- 0.21 K. [s, K]"""

LEAST_LAG = 1.0
"""A lag below this is the bound of the fit, at which all brews agree without knowing it. [s]"""

MASH_BOUND = frozenset({"heat_share", "heat_loss", "bed_flow", "bed_conductance", *PROBE_SD})
"""Constants whose bound is for physics that shows in the mash temperatures: it is added unless six brews or more show
nothing alike (`lackoffit`). The others' bounds are for what no temperature shows, and always added: how much the walls
lose without lid, and the steam of the mash."""

BOUND_SD = {
    "heat_share": 0.006,
    "heat_loss": 0.05,
    "bed_flow": 0.13,
    "bed_conductance": 0.13,
    "absorption": 0.04,
}
"""Relative root mean square, mean included, from eighty simulated rigs with more physics than the model (element, wall,
free wort on top, a bed that sets, steam under the lid), drawn at random: share off by -0.2 +- 0.6 %; loss by 4 +- 3 %
against conduction alone, by 0 +- 3 % with the steam; flow by -9 +- 9 % against its mean over the mash; absorption by
3 +- 1 %, the steam of the mash. [1]"""


BEFORE_BOIL = 95.0
"""Middle of the way to the boil on which the vapour is told. [degC]"""


def walls_sd(heat_loss: float) -> float:
    """Sd of the vapour loss from what lid-off walls lose beside it, which is assumed alike for all brews.

    Parameters
    ----------
    heat_loss : float
        Of the mash. [W/K]

    Returns
    -------
    float
        0 where the loss is not known. [W/kPa]

    Examples
    --------
    >>> round(walls_sd(7.0), 2)
    0.79
    """
    pressure = float(vapour_pressure(np.array(BEFORE_BOIL))) - ROOM_VAPOUR
    sd = LID_OFF_LOSS[0] * LID_OFF_LOSS[1] * heat_loss * (BEFORE_BOIL - ROOM[0]) / pressure
    return sd if np.isfinite(sd) else 0.0


def with_bound(interval: Interval, bound: float, absolute: float = 0.0) -> Interval:
    """The interval, wider by the sd with which a real rig may differ from the model.

    Parameters
    ----------
    interval : Interval
    bound : float
        Relative. [1]
    absolute : float
        In the unit of the interval.

    Examples
    --------
    >>> wide = with_bound(Interval(10.0, 0.1, 9.8, 10.2, 5), 0.04)
    >>> round(wide.low, 2), round(wide.sd, 2)
    (9.19, 0.41)
    """
    own = float(np.hypot(interval.estimate * bound, absolute))
    if not np.isfinite(interval.sd) or own == 0:
        return interval
    half = float(np.hypot((interval.high - interval.low) / 2, 1.96 * own))
    sd = float(np.hypot(interval.sd, own))
    return Interval(interval.estimate, sd, interval.estimate - half, interval.estimate + half, interval.brews)


def with_lag(interval: Interval, lag: Interval, slope: float) -> Interval:
    """Wider by what the lag does, which all brews share and their spread therefore does not show.

    Parameters
    ----------
    interval : Interval
        Of flow or conductance over the brews, each fitted at the median of the lags.
    lag : Interval
        [s]
    slope : float
        Of the logarithm of the flow against the lag. [1/s]

    Notes
    -----
    The median of the lags is taken to scatter as their mean: where some lie far off it scatters less than that of
    normal values, by 0.95 to 0.97 of the mean's sd on 400 drawn rigs. The degrees of freedom of both together are those
    of Welch and Satterthwaite.

    References
    ----------
    .. [1] JCGM 100:2008, annex G.4.
    """
    if lag.brews < 2 or interval.brews < 2 or not np.isfinite(lag.sd):
        return interval
    more = abs(slope * interval.estimate) * lag.sd
    if more == 0:
        return interval
    sd = float(np.hypot(interval.sd, more))
    free = sd**4 / (interval.sd**4 / (interval.brews - 1) + more**4 / (lag.brews - 1))
    half = float(stdtrit(free, 0.975)) * sd
    return Interval(interval.estimate, sd, interval.estimate - half, interval.estimate + half, interval.brews)
