"""How long a mash took, and whether it ended with a mash-out. A value comes with the reason where it is missing."""

from __future__ import annotations

import numpy as np

from brewlog.logbook.records import Brew
from brewlog.mash.asked import AskedRest, purposes
from brewlog.mash.bed import NO_BED, Bed
from brewlog.mash.marks import Marks
from brewlog.mash.measures import share_within
from brewlog.mash.samples import time_weights
from brewlog.mash.stages import RestSpan

MASH_OUT_TIME = 300.0
"""A mash-out was reached when the bed was within 1 K of it for this long. [s]"""


def mash_time(asked: list[AskedRest], marks: Marks, planned: bool, logged: bool) -> tuple[float, str]:
    """From mash-in to the change to mash-out, or to the lift [min]; NaN with the reason where an end is not known."""
    if not np.isfinite(marks.mash_in):
        return np.nan, "mash-in is neither recorded nor to be found in the trace"
    outs = [one.change for one in asked if one.purpose == "mash-out" and np.isfinite(one.change)]
    if planned and not (outs or logged or np.isfinite(marks.mash_out)):
        return np.nan, "a mash-out was planned, but its beginning is neither recorded nor to be found in the trace"
    end = min([value for value in (marks.mash_out, *outs, marks.lift) if np.isfinite(value)], default=np.nan)
    if not np.isfinite(end):
        return np.nan, "neither mash-out nor the lift is recorded or to be found in the trace"
    return (end - marks.mash_in) / 60, ""


def mash_out(
    brew: Brew, bed: Bed, asked: list[AskedRest], spans: tuple[RestSpan, ...], marks: Marks, last: float
) -> tuple[float, str]:
    """1, 0 or NaN with a reason: was the bed within 1 K of the mash-out rest for five minutes or more?"""
    temps = [one.rest.temp for one in asked if one.purpose == "mash-out"] or [
        rest.temp for rest, word in zip(brew.rests, purposes(brew.rests), strict=True) if word == "mash-out"
    ]
    if not temps:
        known = bool(spans) or bool(brew.rests)
        return (0.0, "") if known else (np.nan, "neither a plan nor a logged target tells whether there was a mash-out")
    if bed.source is None:
        return np.nan, NO_BED
    # what an earlier rest at the same temperature did is not a mash-out
    start = max([span.end for span in spans if span.counts], default=marks.mash_in)
    end = marks.lift if np.isfinite(marks.lift) else last
    if not start < end:
        return np.nan, "the stretch of the mash-out is neither recorded nor to be found in the trace"
    weights = time_weights(bed.elapsed, start, end)
    seen = float(weights.sum())
    near = seen * share_within(weights, bed.temp - temps[-1], bed.sd, 1.0) if seen > 0 else 0.0
    if near >= MASH_OUT_TIME - 1e-6:
        return 1.0, ""
    if near + end - start - seen < MASH_OUT_TIME:
        return 0.0, ""
    return np.nan, f"the bed was not seen for {(end - start - seen) / 60:.0f} min of the mash-out"
