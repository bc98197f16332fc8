"""Starting values of a two-node fit from the arrays themselves."""

from __future__ import annotations

import numpy as np

from brewlog.rig.linear import Model
from brewlog.rig.predict import squares
from brewlog.rig.problem import start_temps
from brewlog.rig.series import Series, bridge


def find_starts(series: Series, model: Model, heat_share: float, count: int = 3) -> list[dict[str, float]]:
    """Starting values from the arrays: capacities and loss by regression, time constant of the bed and lag by trial.

    For each of several time constants the bed follows from the base by a low pass, and the heat that came in is
    explained by the rises of both and by their height above the room, which gives the capacities and the loss. The
    model then tries these with several lags; the best of each lag are taken, the best one first.

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
    span = series.elapsed[-1] - series.elapsed[0]
    times, lags = span / np.geomspace(300, 3, 6), span / np.geomspace(1000, 20, 4)
    parts = _capacities(series, times, heat_share)
    trials = [
        {
            "heat_share": heat_share,
            "base_heat_capacity": base,
            "mash_heat_capacity": bed,
            "bed_conductance": bed / time,
            "heat_loss": loss,
            "bed_loss": 0.25 * loss,
            "probe_lag": lag,
        }
        for lag in lags
        for time, (base, bed, loss) in zip(times, parts, strict=True)
    ]
    sizes = squares(model, series, trials, start_temps(model, series)).reshape(lags.size, -1)
    best = sizes.argmin(axis=1) + sizes.shape[1] * np.arange(lags.size)
    order = best[np.argsort(sizes.min(axis=1))][:count]
    return [{name: float(trials[i][name]) for name in model.constants} for i in order]


def _capacities(series: Series, times: np.ndarray, heat_share: float) -> np.ndarray:
    """Heat capacities of base and bed and the loss, for each time constant of the bed. [J/K, J/K, W/K]"""
    from brewlog.rig.passes import low_pass

    t = series.elapsed
    column = 0 if np.isfinite(series.readings[:, 0]).any() else 1
    base = bridge(t, series.readings[:, column])
    dt = np.diff(t)
    drive = (base[:-1] + base[1:]) / 2
    heat = np.concatenate([[0.0], np.cumsum(series.power[:-1] * dt)]) * heat_share
    above = np.concatenate([[0.0], np.cumsum((drive - series.room[:-1]) * dt)])
    k = max(t.size // 20, 1)
    seen = np.empty((times.size, 3, t.size - k))
    seen[:, 0], seen[:, 2] = base[k:] - base[:-k], above[k:] - above[:-k]
    bed = low_pass(drive, dt, times, base[0])
    seen[:, 1] = bed[:, k:] - bed[:, :-k]
    square = seen @ seen.transpose(0, 2, 1)
    square[:, range(3), range(3)] *= 1 + 1e-9
    out = np.linalg.solve(square, (seen @ (heat[k:] - heat[:-k]))[..., None])[..., 0]
    total = np.maximum(out[:, 0] + out[:, 1], 1e-12)
    out[:, :2] = np.maximum(out[:, :2], 0.05 * total[:, None])
    out[:, 2] = np.maximum(out[:, 2], 1e-6 * total)
    return out
