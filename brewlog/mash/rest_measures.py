"""Measures of the rests: how near the bed kept to each, when it arrived, and the same over all rests of a brew."""

from __future__ import annotations

import numpy as np

from brewlog.mash.bed import Bed, at_times, hides_arrival
from brewlog.mash.measures import moments, probe_hold_sd, reconstructed_hold_sd, share_within
from brewlog.mash.samples import ARRIVAL_BAND, MAX_GAP, first_within, time_weights
from brewlog.mash.stages import RestSpan

MEASURES = (
    "hold_rms",
    "hold_rms_sd",
    "hold_bias",
    "hold_sd",
    "within_half",
    "within_one",
    "overshoot",
    "lateness",
    "ramp_time",
    "ramp_rate",
    "lead",
    "seen",
)
"""Measures of one rest, in the order of the columns."""


def lateness(bed: Bed, span: RestSpan) -> float:
    """From the start of a rest to the bed's arrival, or its whole length [min]; NaN where a gap hides the arrival."""
    arrival = first_within(bed.elapsed, bed.temp, span.temp, span.start, span.end)
    around = bed.elapsed[(bed.elapsed >= span.start) & (bed.elapsed <= span.end)]
    if not around.size:
        return np.nan
    if np.isfinite(arrival):
        if hides_arrival(bed, span.start, arrival):
            return np.nan
        before = bed.elapsed < span.start
        if before.any() and arrival == around[0]:  # it had arrived before, if the last sample before was there too
            last = float(bed.temp[before][-1])
            recent = span.start - bed.elapsed[before][-1] <= MAX_GAP
            if recent and abs(last - span.temp) <= ARRIVAL_BAND:
                return 0.0
        return (arrival - span.start) / 60
    edges = np.concatenate([[span.start], around, [span.end]])
    return np.nan if np.diff(edges).max() > MAX_GAP else (span.end - span.start) / 60


def ramp(bed: Bed, span: RestSpan) -> tuple[float, float]:
    """Time and mean rate of the bed from the change of target to its arrival; NaN where either is not seen."""
    if not np.isfinite(span.change) or not bed.elapsed.size:
        return np.nan, np.nan
    arrival = first_within(bed.elapsed, bed.temp, span.temp, span.change, span.end)
    if not np.isfinite(arrival) or hides_arrival(bed, span.change, arrival):
        return np.nan, np.nan
    first, last = at_times(np.array([span.change, arrival]), bed.elapsed, bed.temp)
    time = (arrival - span.change) / 60
    return time, (last - first) / time if time > 0 else np.nan


def rms_sd(source: str | None, weights: np.ndarray, off: np.ndarray, sd: np.ndarray) -> float:
    """Standard uncertainty of a tightness, by where the bed temperature came from. [K]"""
    if source == "reconstructed":
        return reconstructed_hold_sd(weights, off, sd)
    rms, mean, _ = moments(weights, off, sd)
    return probe_hold_sd(rms, mean) if np.isfinite(rms) else np.nan


def rest_measures(bed: Bed, span: RestSpan) -> dict[str, float]:
    """All `MEASURES` of one rest; NaN for what was not seen. See `hold` for their definitions."""
    weights = time_weights(bed.elapsed, span.start, span.end)
    off = bed.temp - span.temp
    rms, mean, spread = moments(weights, off, bed.sd)
    inside = weights > 0
    lead_weights = np.where(np.isfinite(bed.base), weights, 0.0)
    lead = np.nan_to_num(bed.base - bed.temp)
    ramp_time, ramp_rate = ramp(bed, span)
    return {
        "hold_rms": rms,
        "hold_rms_sd": rms_sd(bed.source, weights, off, bed.sd),
        "hold_bias": mean,
        "hold_sd": spread,
        "within_half": share_within(weights, off, bed.sd, 0.5),
        "within_one": share_within(weights, off, bed.sd, 1.0),
        "overshoot": max(0.0, float(off[inside].max())) if inside.any() else np.nan,
        "lateness": lateness(bed, span),
        "ramp_time": ramp_time,
        "ramp_rate": ramp_rate,
        "lead": float(lead_weights @ lead / lead_weights.sum()) if lead_weights.sum() > 0 else np.nan,
        "seen": float(weights.sum() / (span.end - span.start)),
    }


def overall_measures(bed: Bed, spans: list[RestSpan], rows: dict[int, dict[str, float]]) -> dict[str, float]:
    """Measures over several rests as if they were one, each against its own rest temperature."""
    weights, off, sd = np.empty(0), np.empty(0), np.empty(0)
    length = lead_sum = lead_time = 0.0
    for span in spans:
        own = time_weights(bed.elapsed, span.start, span.end)
        keep = own > 0
        weights = np.concatenate([weights, own[keep]])
        off = np.concatenate([off, bed.temp[keep] - span.temp])
        sd = np.concatenate([sd, bed.sd[keep]])
        both = keep & np.isfinite(bed.base)
        lead_sum += float(own[both] @ (bed.base[both] - bed.temp[both]))
        lead_time += float(own[both].sum())
        length += span.end - span.start
    rms, mean, spread = moments(weights, off, sd)
    late = [rows[span.rest]["lateness"] for span in spans]
    ramps = [rows[span.rest] for span in spans if np.isfinite(rows[span.rest]["ramp_rate"])]
    ramp_time = sum(row["ramp_time"] for row in ramps)
    return {
        "hold_rms": rms,
        "hold_rms_sd": rms_sd(bed.source, weights, off, sd) if weights.size else np.nan,
        "hold_bias": mean,
        "hold_sd": spread,
        "within_half": share_within(weights, off, sd, 0.5),
        "within_one": share_within(weights, off, sd, 1.0),
        "overshoot": max(0.0, float(off.max())) if off.size else np.nan,
        "lateness": float(np.mean(late)) if late and np.isfinite(late).all() else np.nan,
        "ramp_time": ramp_time if ramps else np.nan,
        "ramp_rate": sum(row["ramp_rate"] * row["ramp_time"] for row in ramps) / ramp_time if ramps else np.nan,
        "lead": lead_sum / lead_time if lead_time > 0 else np.nan,
        "seen": float(weights.sum()) / length if length > 0 else np.nan,
    }
