"""Two bodies from plain arrays: a fit that finds its own start, and several runs taken together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from brewlog.rig.fitting import ModelFit, fit_model
from brewlog.rig.interval import over_brews
from brewlog.rig.model import LOSS_AT_BASE, two_node
from brewlog.rig.problem import LONG
from brewlog.rig.rows import FEWER
from brewlog.rig.series import Series, make_series, on_few_cells
from brewlog.rig.starting import find_starts

STEADY = 0.4
"""Relative half-width up to which a constant, or a ratio of two, counts as told. [1]"""

TRIAL_CELLS = 216
"""Cells of a long trace on which starting values are tried."""
GOOD = 1.5
"""A fit that leaves less than this many times the white noise of the readings needs no other start beside it. [1]"""

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
    >>> from brewlog.rig.predict import modelled
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
    starts = find_starts(on_few_cells(series, TRIAL_CELLS) if series.rows >= LONG else series, model, heat_share)
    for start in starts:
        light = held.get("mash_heat_capacity", start["mash_heat_capacity"]) / start["mash_heat_capacity"]
        for name in ("bed_conductance", "bed_loss"):  # time constants of the bed stay when its capacity is held
            if name in start:
                start[name] *= light
        start.update(held)
    first = fit_model(model, series, starts[0], fixed=names, robust=False)
    if not base_lagged and first.rms["pooled"] < GOOD * _white(series):
        return first
    few = on_few_cells(series, series.rows // FEWER) if series.rows >= LONG else series
    fits = [fit_model(model, few, start, fixed=names, robust=False) for start in starts]
    least = min(f.rms["pooled"] for f in fits)
    # lag and bed can swap their roles in a fit as good: the lag is the shorter of the two
    chosen = min((f for f in fits if f.rms["pooled"] <= 1.12 * least), key=lambda f: f.constants["probe_lag"])
    return chosen if few is series else fit_model(model, series, chosen.constants, fixed=names, robust=False)


def _white(series: Series) -> float:
    """Sd of what in the readings has nothing to do with the reading before, from second differences. [K]"""
    r = series.readings
    second = (r[2:] - 2 * r[1:-1] + r[:-2]).ravel()
    if np.isnan(second).any():
        second = second[np.isfinite(second)]
    return float(np.sqrt(second @ second / max(second.size, 1) / 6))


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
