"""Mash temperature where no probe stood in the bed, with its standard deviation."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from brewlog.logbook.records import Brew
from brewlog.rig.alignment import earlier_day
from brewlog.rig.capacity import Inventory, mash_inventory
from brewlog.rig.daily import START_SD, TYPICAL, bed_part
from brewlog.rig.day import day_of
from brewlog.rig.expectation import PROBE_TOLERANCE, Expectation, expectation
from brewlog.rig.fitting import ModelFit, fit_model, states
from brewlog.rig.model import conductance_of_flow
from brewlog.rig.optimise import inverse
from brewlog.rig.rigfit import RigFit
from brewlog.rig.series import Series
from brewlog.rig.stretches import cut, mash_span

MIXED_SD = 0.2
"""What layers and lumps of a real bed add to the error of its mean, at rest. [K]"""
BASE_SD = 0.1
"""Error of the base sensor. [K]"""


def reconstruct_mash(brew: Brew, fit: RigFit, *, use_probe: bool = False) -> pd.DataFrame:
    """Mean temperature of the bed from base sensor and power, with a standard deviation.

    From the settled bed after mash-in to the lift. Nothing is reconstructed over gaps of more than five minutes in base
    sensor or power. Near the start and after a gap the sd is large; it falls within some minutes.

    Parameters
    ----------
    brew : Brew
    fit : RigFit
        Of the brew's rig, or of a like one; this brew's own fit is not used.
    use_probe : bool
        Also use what a probe in the bed read, where it did.

    Returns
    -------
    pandas.DataFrame
        elapsed [s], mash_temp [degC], sd [K]; `attrs["rests_on"]` says what it rests on.

    Raises
    ------
    ValueError
        With a plain reason where it cannot be had: no trace, no base sensor, no power, no mash-in, no litres or malts.

    Notes
    -----
    The constants that other brews of the rig lead one to expect are priors; the whole trace of the base sensor then
    moves them and the start temperatures (least squares), which is smoothing over the whole interval for all that is
    constant. What changes during the mash is smoothed by a Kalman filter run forth and back over the residuals with
    white noise in every node, its size chosen by likelihood. The sd adds up both, the parting of the loss between base
    and bed, and the unevenness of a real bed.

    References
    ----------
    .. [1] H. E. Rauch, F. Tung, C. T. Striebel, "Maximum likelihood estimates of linear dynamic systems",
       AIAA Journal 3, 1965, pp. 1445-1450.
    """
    day = day_of(brew, fit.record)
    day = earlier_day(day) if fit.power_before else day
    if not np.isfinite(day.base).any():
        raise ValueError(f"brew {brew.label!r} has no base_temp; the bed cannot be reconstructed without it.")
    if day.power is None and day.relative is None:
        raise ValueError(f"brew {brew.label!r} has no power; the bed cannot be reconstructed without it.")
    inventory = mash_inventory(brew, fit.record)
    if inventory is None:
        raise ValueError(
            f"brew {brew.label!r} lacks mash_water or the malts' mass; the bed's heat capacity is unknown."
        )
    try:
        series = [s for s in cut(day, *mash_span(day), probe=use_probe) if np.isfinite(s.readings[:, 0]).any()]
    except ValueError as error:
        raise ValueError(f"brew {brew.label!r} cannot be reconstructed: {error}.") from error
    if not series:
        raise ValueError(f"brew {brew.label!r} cannot be reconstructed: the base sensor is missing in the mash.")
    expected = expectation(fit, without=brew.label)
    found, cov = _fit(series, fit, inventory, expected, day.room_sd)
    parts = [_one(i, s, fit, found, cov, expected) for i, s in enumerate(series)]
    frame = pd.concat(parts, ignore_index=True)
    n = expected.brews
    words = (
        f"base sensor and power, with constants of {n} other brews with a probe"
        if n
        else ("base sensor and power, with typical constants: no brew of this rig had a probe in the bed")
    )
    frame.attrs["rests_on"] = words
    frame.attrs["units"] = {"elapsed": "s", "mash_temp": "degC", "sd": "K"}
    return frame


def _fit(
    series: list[Series], fit: RigFit, inventory: Inventory, expected: Expectation, room_sd: float
) -> tuple[ModelFit, np.ndarray]:
    """Constants of this mash with the expectation as prior, and the covariance of all parameters."""
    model = fit.model
    coupling = "bed_flow" if "bed_flow" in model.constants else "bed_conductance"
    v, sd = expected.values, expected.sds
    part = v["bed_part"] if np.isfinite(v["bed_part"]) else bed_part(inventory)
    lag = fit["probe_lag"]
    start = {
        "heat_share": v["heat_share"],
        "heat_loss": v["heat_loss"],
        coupling: v["coupling"],
        "base_heat_capacity": (1 - part) * inventory.total,
        "mash_heat_capacity": part * inventory.total,
        "probe_lag": lag if np.isfinite(lag) else TYPICAL["probe_lag"],
        "probe_offset": 0.0,
    }
    priors = {
        "heat_share": (v["heat_share"], sd["heat_share"]),
        "heat_loss": (v["heat_loss"], sd["heat_loss"]),
        coupling: (v["coupling"], sd["coupling"]),
        "mash_heat_capacity": (part * inventory.total, sd["bed_part"]),
        "heat_capacity": (inventory.total, inventory.sd / inventory.total),
        "room_shift": (0.0, room_sd),
        "probe_offset": (0.0, PROBE_TOLERANCE),
    }
    fixed = ["probe_lag"]
    found = fit_model(model, series, start, fixed=fixed, priors=priors, start_sd=START_SD)
    return found, inverse(found.minimum.curvature)


def _one(
    index: int, series: Series, fit: RigFit, found: ModelFit, cov: np.ndarray, expected: Expectation
) -> pd.DataFrame:
    """Bed mean of one series: the fitted course, its smoothed deviation, and the sd of both."""
    from brewlog.rig import kernels

    model = fit.model
    x = states(model, series, found.constants, found.starts[index], found.room_shift[index])
    course = x @ model.bed
    slopes, own = _bed_slopes(index, series, found)
    inside = cov[np.ix_(own, own)]
    known = np.einsum("tk,kl,tl->t", slopes, inside, slopes)
    kind, coupling, dt = series.kinds
    logs = np.log([found.constants[name] for name in model.constants])
    a, b, da, db = model.expand(logs, coupling, 0.0)
    phi, _, _, _ = kernels.step_tables(a, b, da[..., :0], db[..., :0], dt)
    rest = found.residuals[index]
    noise = np.array([_white(rest[:, i]) for i in (0, 1)]) ** 2
    nodes = len(model.nodes)
    start = np.full(x.shape[1], 1e-6)
    best = None
    for density in (1e-8, 1e-7, 1e-6, 4e-6, 1.6e-5, 6.4e-5):
        spread = np.full(x.shape[1], 1e-10)
        spread[:nodes] = density
        mean, variance, score = kernels.smooth(phi, kind, dt, model.outputs, rest, noise, spread, start, model.bed)
        if best is None or score < best[2]:
            best = mean, variance, score
    assert best is not None
    uneven = MIXED_SD**2 + BASE_SD**2 + expected.shift_sd**2
    sd = np.sqrt(np.maximum(known, 0) + best[1] + uneven)
    return pd.DataFrame({"elapsed": series.elapsed, "mash_temp": course + best[0] + expected.shift, "sd": sd})


def _white(rest: np.ndarray) -> float:
    """Sd of the uncorrelated part of residuals, from their differences; at least 0.02 K."""
    good = rest[np.isfinite(rest)]
    if good.size < 10:
        return 0.1
    return max(float(np.sqrt(np.mean(np.diff(good) ** 2) / 2)), 0.02)


def _bed_slopes(index: int, series: Series, found: ModelFit) -> tuple[np.ndarray, list[int]]:
    """Derivatives of the bed's mean to the parameters that move it, and where these stand among all."""
    from brewlog.rig import kernels

    model = found.model
    names = [n for n in found.params if n in model.constants]
    columns = [*(model.constants.index(n) for n in names), len(model.constants)]
    logs = np.log([found.constants[name] for name in model.constants])
    kind, coupling, dt = series.kinds
    a, b, da, db = model.expand(logs, coupling, float(found.room_shift[index]))
    tables = kernels.step_tables(
        a, b, np.ascontiguousarray(da[..., columns]), np.ascontiguousarray(db[..., columns]), dt
    )
    starts = model.starts.shape[1]
    dx0 = np.zeros((model.starts.shape[0], len(columns) + starts))
    dx0[:, len(columns) :] = model.starts
    _, slopes = kernels.sensitivities(
        tables[0], tables[1], tables[2], tables[3], kind, series.inputs, model.starts @ found.starts[index], dx0,
        np.ascontiguousarray(model.bed[None, :]), len(columns),
    )  # fmt: skip
    at = len(found.params) + index * (1 + starts)
    own = [*(found.params.index(n) for n in names), *range(at, at + 1 + starts)]
    return slopes[:, 0, :], own


def against_probe(brew: Brew, fit: RigFit) -> dict[str, float]:
    """How a reconstruction without the probe compares with the probe's readings: `bias`, `rms`, `rows`. [K]

    Raises
    ------
    ValueError
        As `reconstruct_mash`, or if no probe was logged.
    """
    frame = reconstruct_mash(brew, fit)
    trace: Any = brew.trace
    if trace is None or "mash_temp" not in trace:
        raise ValueError(f"brew {brew.label!r} has no mash_temp to compare with.")
    seen = trace["mash_temp"].notna()
    probe = np.interp(frame["elapsed"], trace.loc[seen, "elapsed"], trace.loc[seen, "mash_temp"])
    rest = frame["mash_temp"].to_numpy() - probe
    late = frame["elapsed"].to_numpy() > frame["elapsed"].iloc[0] + 900
    return {
        "bias": float(rest[late].mean()),
        "rms": float(np.sqrt(np.mean(rest[late] ** 2))),
        "rows": float(late.sum()),
    }


def coupling_conductance(fit: RigFit) -> float:
    """Conductance between base and bed, whichever model was fitted. [W/K]"""
    if "bed_flow" in fit.model.constants:
        return conductance_of_flow(fit["bed_flow"])
    return fit["bed_conductance"]
