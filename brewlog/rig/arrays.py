"""Two bodies from plain arrays: a fit that finds its own start, and several runs taken together."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from brewlog.rig.fitting import ModelFit, fit_model, modelled
from brewlog.rig.interval import over_brews
from brewlog.rig.model import LOSS_AT_BASE, Model, two_node
from brewlog.rig.series import Series, make_series

STEADY = 0.4
"""Relative half-width up to which a constant, or a ratio of two, counts as told. [1]"""

_PAIRS = (
    ("bed_conductance", "mash_heat_capacity"),
    ("bed_loss", "mash_heat_capacity"),
    ("heat_loss", "base_heat_capacity"),
)


def fit_two_node(
    elapsed: np.ndarray,
    power: np.ndarray,
    base_temp: np.ndarray,
    mash_temp: np.ndarray,
    *,
    ambient_temp: np.ndarray | float = 20.0,
    heat_share: float = 1.0,
    fixed: Mapping[str, float] | None = None,
    base_lagged: bool = False,
    loss_at_base: float | None = LOSS_AT_BASE,
    room_free: bool = True,
    probe_offset: bool = False,
) -> ModelFit:
    """Fit two coupled bodies to arrays; the starting values are found from the arrays themselves.

    The scale rests on `power` times `heat_share`: without a known power only time constants are told.

    Parameters
    ----------
    elapsed : array_like, shape (n,)
        Rising; steps may differ. [s]
    power : array_like, shape (n,) or scalar
        From each row to the next. [W]
    base_temp, mash_temp : array_like, shape (n,)
        NaN where missing. [degC]
    ambient_temp : array_like or float
        [degC]
    heat_share : float
        Part of the power that arrives, held at this value. [1]
    fixed : mapping of str to float, optional
        Constants held at a value; a very small `mash_heat_capacity` gives the limit of a light second body.
    base_lagged : bool
        Both sensors have the one lag, not the bed probe alone.
    loss_at_base : float or None
        Part of the loss that leaves from the base; None makes the bed's loss a constant of its own. [1]
    room_free : bool
        The room may differ from `ambient_temp` by a constant.
    probe_offset : bool
        The bed probe may be off by a constant.

    Returns
    -------
    ModelFit

    Examples
    --------
    >>> t = np.arange(0.0, 3600.0, 10.0)
    >>> heater = np.where((t // 600) % 2 == 0, 2000.0, 0.0)
    >>> model = two_node()
    >>> true = {"heat_share": 1.0, "base_heat_capacity": 1.2e5, "mash_heat_capacity": 6e4, "bed_conductance": 240.0,
    ...         "heat_loss": 7.0, "probe_lag": 25.0}
    >>> seen = modelled(model, make_series(t, heater, base_temp=t * np.nan), true, [60.0, 60.0])
    >>> fit = fit_two_node(t, heater, seen[:, 0], seen[:, 1], room_free=False)
    >>> round(fit.constants["bed_conductance"], 3), round(fit.constants["probe_lag"], 3)
    (240.0, 25.0)
    """
    series = make_series(elapsed, power, base_temp=base_temp, mash_temp=mash_temp, ambient_temp=ambient_temp)
    model = two_node(base_lagged=base_lagged, loss_at_base=loss_at_base)
    held = {"heat_share": heat_share, **(fixed or {})}
    names = [*held, *([] if room_free else ["room_shift"]), *([] if probe_offset else ["probe_offset"])]
    fits = []
    for start in find_starts(series, model, heat_share):
        light = held.get("mash_heat_capacity", start["mash_heat_capacity"]) / start["mash_heat_capacity"]
        for name in ("bed_conductance", "bed_loss"):  # time constants of the bed stay when its capacity is held
            if name in start:
                start[name] *= light
        fits.append(fit_model(model, series, {**start, **held}, fixed=names, robust=False))
    least = min(f.rms["pooled"] for f in fits)
    # lag and bed can swap their roles in a fit as good: the lag is the shorter of the two
    return min((f for f in fits if f.rms["pooled"] <= 1.12 * least), key=lambda f: f.constants["probe_lag"])


def find_starts(series: Series, model: Model, heat_share: float, count: int = 3) -> list[dict[str, float]]:
    """Starting values from the arrays: heat capacity and loss by regression, the coupling by trial.

    Rises of the mean temperature over a twentieth of the run are explained by the heat that came in and by the height
    above the room; then a few couplings, partings of the capacity and lags are tried and the best ones, of different
    lags, taken.

    Parameters
    ----------
    series : Series
    model : Model
        Of two nodes.
    heat_share : float
        [1]
    count : int
        How many starts at most.
    """
    t, mean = series.elapsed, np.nanmean(series.readings, axis=1)
    good = np.isfinite(mean)
    mean = np.interp(t, t[good], mean[good])
    dt = np.diff(t)
    heat = np.concatenate([[0.0], np.cumsum(series.power[:-1] * dt)]) * heat_share
    above = np.concatenate([[0.0], np.cumsum((mean - series.room)[:-1] * dt)])
    k = max(t.size // 20, 1)
    rise, came, high = mean[k:] - mean[:-k], heat[k:] - heat[:-k], above[k:] - above[:-k]
    found, *_ = np.linalg.lstsq(np.column_stack([came, -high]), rise, rcond=None)
    total = 1 / found[0] if found[0] > 0 else 1e5
    loss = found[1] * total if found[1] > 0 else 1e-4 * total
    span = t[-1] - t[0]
    best: dict[float, tuple[float, dict[str, float]]] = {}
    partings, times = (0.1, 0.35, 0.6), span / np.array([100.0, 30.0, 10.0, 3.0])
    for lag in span / np.array([500.0, 50.0, 10.0])[:count]:
        for part, time in itertools.product(partings, times):
            trial = {
                "heat_share": heat_share,
                "base_heat_capacity": (1 - part) * total,
                "mash_heat_capacity": part * total,
                "bed_conductance": part * total / time,
                "heat_loss": loss,
                "bed_loss": 0.25 * loss,
                "probe_lag": lag,
                "probe_offset": 0.0,
            }
            first = series.readings[0]
            off = series.readings - modelled(model, series, trial, np.nan_to_num(first, nan=mean[0]))
            size = float(np.nansum(off**2))
            if lag not in best or size < best[lag][0]:
                best[lag] = size, trial
    return [{name: trial[name] for name in (*model.constants, "probe_offset")} for _, trial in best.values()]


def combine_runs(fits: Sequence[ModelFit]) -> pd.DataFrame:
    """Constants over several runs: t intervals from their spread, and what the runs do not tell singly.

    Parameters
    ----------
    fits : sequence of ModelFit
        One per run, two or more, of the same model.

    Returns
    -------
    pandas.DataFrame
        Index = constant, or `a / b` for a ratio; estimate, sd, low, high, spread (sd between runs), runs, verdict.

    Raises
    ------
    ValueError
        If fewer than two fits are given.

    Notes
    -----
    A constant is `identified` where the half-width of its interval is at most 0.4 of the estimate. Where it is not, but
    its ratio to another that is not identified either is, both are told `only as ratio`.
    """
    if len(fits) < 2:
        raise ValueError(f"{len(fits)} runs were given; two or more are needed for a spread between runs.")
    values = {name: np.array([f.constants[name] for f in fits]) for name in fits[0].params}
    rows = {name: _row(v) for name, v in values.items()}
    for top, bottom in _PAIRS:
        if top in values and bottom in values:
            rows[f"{top} / {bottom}"] = ratio = _row(values[top] / values[bottom])
            singly = [n for n in (top, bottom) if rows[n]["verdict"] != "identified"]
            if len(singly) == 2 and ratio["verdict"] == "identified":
                for name in singly:
                    rows[name]["verdict"] = f"only as ratio, {top} / {bottom}"
    table = pd.DataFrame.from_dict(rows, orient="index")
    table.index.name = "constant"
    return table


def _row(values: np.ndarray) -> dict[str, object]:
    found = over_brews(values)
    half = (found.high - found.low) / 2
    told = half <= STEADY * abs(found.estimate)
    return {
        "estimate": found.estimate,
        "sd": found.sd,
        "low": found.low,
        "high": found.high,
        "spread": float(values.std(ddof=1)),
        "runs": found.brews,
        "verdict": "identified" if told else "not told by these data",
    }
