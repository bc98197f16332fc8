"""Fit a thermal model to arrays: power and one or two temperatures against time."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import sqrt

import numpy as np

from brewlog.rig.linear import Model
from brewlog.rig.optimise import Minimum, inverse
from brewlog.rig.predict import modelled, states
from brewlog.rig.problem import Priors, Problem
from brewlog.rig.residuals import correlation_length, outlier_weights, rms
from brewlog.rig.series import Series

__all__ = ["ModelFit", "Priors", "correlation_length", "fit_model", "modelled", "states"]

_OFFSETS = ("probe_offset", "room_shift")


@dataclass(frozen=True)
class ModelFit:
    """Constants of a thermal model from one stretch, or from several together."""

    model: Model
    constants: dict[str, float]
    """Estimate of every constant, fitted or fixed, with `probe_offset` and `heat_capacity` behind."""
    sd: dict[str, float]
    """One standard deviation from this fit alone, widened for correlated residuals; NaN where fixed."""
    params: tuple[str, ...]
    """Names of the fitted constants that the series share."""
    log_cov: np.ndarray
    """Covariance of `params` (as logarithms; the offset in K)."""
    starts: np.ndarray
    """Start temperatures (base; bed, or its top and bottom), one row per series. [degC]"""
    room_shift: np.ndarray
    """Room minus the room given, one per series. [K]"""
    rms: dict[str, float]
    """Root mean square of the residuals: `base_temp`, `mash_temp` and `pooled`. [K]"""
    residuals: tuple[np.ndarray, ...]
    """Measured minus modelled, one array (rows, 2) per series. [K]"""
    inflation: float
    """How many correlated residuals count as one."""
    minimum: Minimum = field(repr=False)
    series: tuple[Series, ...] = field(repr=False)

    def ratio_sd(self, top: str, bottom: str) -> float:
        """Relative sd of the ratio of two constants.

        Raises
        ------
        KeyError
            If one of them was not fitted.
        """
        for name in (top, bottom):
            if name not in self.params:
                raise KeyError(f"{name!r} was not fitted; fitted were {', '.join(self.params)}.")
        i, j = self.params.index(top), self.params.index(bottom)
        c = self.log_cov
        return float(np.sqrt(max(c[i, i] + c[j, j] - 2 * c[i, j], 0.0)))

    def predict(self, index: int = 0) -> np.ndarray:
        """Modelled readings of one series, shape (rows, 2). [degC]"""
        return modelled(self.model, self.series[index], self.constants, self.starts[index], self.room_shift[index])


def fit_model(
    model: Model,
    series: Series | Sequence[Series],
    start: Mapping[str, float],
    *,
    fixed: Iterable[str] = (),
    priors: Priors | None = None,
    start_sd: float | None = None,
    noise: float = 0.1,
    robust: bool = True,
    tolerance: float = 1e-8,
) -> ModelFit:
    """Fit the constants of a model to one series, or to several that share them.

    Start temperatures are always free, one set per series; the room shift is free per series unless fixed. Readings
    that are NaN are not seen. The power share and all heat capacities, conductances and losses scale together, so at
    least one of them must be fixed or have a prior.

    Parameters
    ----------
    model : Model
    series : Series or sequence of Series
    start : mapping of str to float
        Every constant of the model; `probe_offset` 0 if absent.
    fixed : iterable of str
        Names that stay at `start`: constants, `probe_offset`, `room_shift`.
    priors : mapping of str to (value, sd), optional
        Relative sd for constants and for `heat_capacity` (the sum of all); K for `probe_offset`, `room_shift`.
    start_sd : float, optional
        How far start temperatures may lie from the first readings; free if None. [K]
    noise : float
        First guess of what the residuals are, only to weigh priors. [K]
    robust : bool
        Readings more than 4 robust sd off the model count less, beyond 12 not at all (up to 3 passes).
    tolerance : float
        Of `minimise`.

    Returns
    -------
    ModelFit

    Raises
    ------
    ValueError
        If nothing sets the scale, or a constant is missing from `start`.

    Notes
    -----
    With priors a second pass weighs them against the residuals as found, counting correlated residuals once.
    """
    several = (series,) if isinstance(series, Series) else tuple(series)
    priors = dict(priors or {})
    held = set(fixed)
    missing = [name for name in model.constants if name not in start]
    if missing:
        raise ValueError(f"start lacks {', '.join(missing)}; expected a value for every constant of the model.")
    scale = [n for n in model.constants if n != "probe_lag"]
    if not held & set(scale) and not set(priors) & {*scale, "heat_capacity"}:
        raise ValueError(
            "nothing sets the scale: fix heat_share or a heat capacity, or give one of them a prior; "
            "temperatures and power alone tell only their ratios."
        )
    free = [n for n in (*model.constants, *_OFFSETS) if n not in held]
    if not any(np.isfinite(s.readings[:, 1]).any() for s in several):
        free = [n for n in free if n != "probe_offset"]
    problem = Problem(model, several, start, free, priors, start_sd)
    sigma, weighed = noise, bool(priors) or start_sd is not None
    found, rest = problem.minimise(problem.begin(), problem.weigh(sigma), tolerance)
    length = problem.correlation(rest)
    weights = outlier_weights(rest, problem.seen) if robust else None
    passes = 0
    while passes < 3 and (weights is not None or (weighed and passes == 0)):
        if weighed:
            sigma = max(rms(rest, problem.seen, weights), 1e-4) * float(np.sqrt(length))
        found, rest = problem.minimise(found.params, problem.weigh(sigma, weights), tolerance, near=True)
        length = problem.correlation(rest)
        weights = outlier_weights(rest, problem.seen) if weights is not None else None
        passes += 1
    return _result(problem, found, rest, length, sigma, weighed)


def _result(
    problem: Problem,
    found: Minimum,
    rest: np.ndarray,
    length: float,
    sigma: float,
    weighed: bool,
) -> ModelFit:
    logs, offset, shift, starts = problem.split(found.params)
    model = problem.model
    values = dict(zip(model.constants, np.exp(logs).tolist(), strict=True))
    capacities = [n for n in model.constants if n.endswith("heat_capacity")]
    constants: dict[str, float] = {**values, "probe_offset": offset}
    constants["heat_capacity"] = sum(values[n] for n in capacities)
    seen = problem.seen
    spread = float(np.vdot(rest, rest)) / max(problem.count - problem.size, 1)
    # weighed: sigma carries residuals and their correlation already; else the residuals' own size is put in here
    variance = 1.0 if weighed else spread / sigma**2 * length
    cov = variance * inverse(found.curvature)
    shared = problem.shared
    log_cov = cov[: len(shared), : len(shared)]
    sd = dict.fromkeys(constants, float("nan"))
    for name, variance in zip(shared, log_cov.diagonal().tolist(), strict=True):
        sd[name] = sqrt(max(variance, 0.0)) * (1.0 if name == "probe_offset" else constants[name])
    if not set(capacities).isdisjoint(shared):
        part = np.array([constants[n] if n in capacities else 0.0 for n in shared])
        sd["heat_capacity"] = sqrt(max(part @ log_cov @ part, 0.0))
    sizes = {"pooled": rms(rest, seen)}
    sizes |= {name: rms(rest[:, i], seen[:, i]) for i, name in enumerate(("base_temp", "mash_temp"))}
    return ModelFit(
        model=model,
        constants=constants,
        sd=sd,
        params=shared,
        log_cov=log_cov,
        starts=starts,
        room_shift=shift,
        rms=sizes,
        residuals=problem.apart(rest),
        inflation=length,
        minimum=found,
        series=tuple(problem.series),
    )
