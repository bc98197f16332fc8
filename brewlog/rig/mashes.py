"""All mashes of a rig: one depth and one lag for its probe, every other constant per brew."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass

import numpy as np

from brewlog.rig.capacity import Inventory
from brewlog.rig.daily import bed_model, fit_mash
from brewlog.rig.day import Day
from brewlog.rig.fitting import ModelFit
from brewlog.rig.model import Model
from brewlog.rig.series import Series

Ready = dict[str, tuple[Day, list[Series], str, Inventory | None]]

DEPTHS = (0.5, 0.35, 0.65, 0.8)
"""Depths of the probe in the bed that are tried, the middle first."""
CLEARLY = 0.15
"""The probe is taken to stand elsewhere than in the middle, and the bed to be one mixed body, if that lowers the
squares of the median brew by this part: depth, lag and flow can stand in for each other, and a depth chosen by noise
would shift the other two. [1]"""


@dataclass(frozen=True)
class Mashes:
    """Every mash of a rig as fitted."""

    model: Model
    depth: float
    """Of the probe in the bed, as fits best. [1]"""
    fits: dict[str, ModelFit]
    lags: dict[str, tuple[float, float]]
    """Lag of each brew when it was free, and its sd. [s]"""
    lag_slope: float = 0.0
    """By how much the logarithm of the flow (or conductance) moves with the lag that is held. [1/s]"""
    plain_part: float = float("nan")
    """Squares that two nodes leave as part of those that layers leave; NaN where this was not asked. [1]"""


def fit_mashes(ready: Ready, kind: str | None, left_out: dict[str, str]) -> Mashes:
    """Fit all mashes: the lag per brew first, then at its median; one-sensor brews with the others' constants.

    Parameters
    ----------
    ready : dict
        From label to (day, series, sensors, inventory).
    kind : str or None
        `layered bed` or `two nodes`; None takes the layered bed unless two nodes leave clearly less.
    left_out : dict
        Reasons are added here.

    Returns
    -------
    Mashes
    """

    def attempt(label: str, model: Model, guess: dict[str, float] | None, fixed: tuple[str, ...] = ()) -> ModelFit:
        day, series, _, inventory = ready[label]
        return fit_mash(series, model, inventory, day.room_sd, guess, fixed, day.power is not None)

    def one(label: str, model: Model, guess: dict[str, float] | None, fixed: tuple[str, ...] = ()) -> ModelFit | None:
        try:
            return attempt(label, model, guess, fixed)
        except (ValueError, np.linalg.LinAlgError) as error:
            left_out[label] = f"the fit failed: {error}"
            return None

    def tried(labels: Iterable[str], model: Model, guess: dict[str, float] | None) -> dict[str, ModelFit]:
        found = {}
        for label in labels:
            with suppress(ValueError, np.linalg.LinAlgError):
                found[label] = attempt(label, model, guess)
        return found

    both = [label for label, r in ready.items() if r[2] == "base and bed"]
    few = both[:: max(1, len(both) // 4)][:4]
    depth, first, plain_part = DEPTHS[0], dict[str, ModelFit](), float("nan")
    if kind != "two nodes":
        trials: dict[float, dict[str, ModelFit]] = {}
        for trial in DEPTHS:
            guess = _middle(trials[DEPTHS[0]].values()) if trials else None
            trials[trial] = tried(few, bed_model("layered bed", trial), guess)
        depth = best_depth(trials)
        first = trials[depth]
    if kind is None:
        plain = tried(few, bed_model("two nodes"), None)
        plain_part = _part(plain, first)
        kind = "two nodes" if plain_part < 1 - CLEARLY else "layered bed"
        first = plain if kind == "two nodes" else first
    model = bed_model(kind, depth)
    for label in both:
        if label not in first:
            fit = one(label, model, _middle(first.values()))
            if fit is not None:
                first[label] = fit
    lags = {label: (f.constants["probe_lag"], f.sd["probe_lag"]) for label, f in first.items()}
    fits = dict(first)
    coupling = "bed_flow" if "bed_flow" in model.constants else "bed_conductance"
    middle = _middle(first.values())
    if len(first) > 1 and middle is not None:
        for label in first:
            own = {name: first[label].constants[name] for name in ("heat_share", "heat_loss", "probe_offset")}
            fit = one(label, model, {**middle, **own}, ("probe_lag",))
            if fit is not None:
                fits[label] = fit
    slope = _lag_slope(first, fits, coupling)
    for label, r in ready.items():
        if r[2] != "base and bed":
            fit = one(label, model, middle)
            if fit is not None:
                fits[label] = fit
    return Mashes(model, depth, fits, lags, slope, plain_part)


def best_depth(trials: Mapping[float, Mapping[str, ModelFit]]) -> float:
    """Depth of the probe at which the median brew leaves the least: one brew with a fault must not choose for all.

    Parameters
    ----------
    trials : mapping of float to mapping of str to ModelFit
        Fits of the same brews at every depth of `DEPTHS`, which are parts of the bed's height from its top. [1]

    Returns
    -------
    float
        The middle unless another depth leaves clearly less. [1]
    """
    parts = {depth: _part(fits, trials[DEPTHS[0]]) for depth, fits in trials.items()}
    best = min(parts, key=lambda depth: parts[depth] if np.isfinite(parts[depth]) else 1.0)
    return best if parts[best] < 1 - CLEARLY else DEPTHS[0]


def _part(fits: Mapping[str, ModelFit], others: Mapping[str, ModelFit]) -> float:
    """Squares that one way of fitting leaves, as part of another's, for the median of the brews fitted both ways."""
    ratios = [(f.rms["pooled"] / others[label].rms["pooled"]) ** 2 for label, f in fits.items() if label in others]
    return float(np.median(ratios)) if ratios else float("nan")


def _lag_slope(free: dict[str, ModelFit], held: dict[str, ModelFit], coupling: str) -> float:
    """Slope of the log coupling against the lag, from fits with the lag free and held."""
    both = [label for label in free if label in held]
    if not both:
        return 0.0
    lag = np.array([free[x].constants["probe_lag"] - held[x].constants["probe_lag"] for x in both])
    log = np.log([free[x].constants[coupling] / held[x].constants[coupling] for x in both])
    square = float(lag @ lag)
    return float(lag @ log) / square if square > 1e-6 else 0.0


def _middle(fits: Iterable[ModelFit]) -> dict[str, float] | None:
    """Medians of the constants that do not depend on the batch, to start the next fit from."""
    fits = list(fits)
    if not fits:
        return None
    names = [n for n in (*fits[0].model.constants, "probe_offset") if not n.endswith("heat_capacity")]
    middle = {name: float(np.median([f.constants[name] for f in fits])) for name in names}
    parts = [f.constants["mash_heat_capacity"] / f.constants["heat_capacity"] for f in fits]
    return {**middle, "bed_part": float(np.median(parts))}
