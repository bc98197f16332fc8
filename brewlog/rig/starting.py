"""Starting values of a two-node fit from the arrays themselves."""

from __future__ import annotations

import numpy as np

from brewlog.rig.linear import Model
from brewlog.rig.predict import squares
from brewlog.rig.rows import start_temps
from brewlog.rig.series import Series, bridge

TIMES = 1 / np.geomspace(250, 4, 6)
"""Time constants of the bed that are tried, as parts of the run. [1]"""
LAGS = 1 / np.geomspace(800, 20, 4)
"""Lags that are tried, as parts of the run. [1]"""


def find_starts(series: Series, model: Model, heat_share: float, count: int = 3) -> list[dict[str, float]]:
    """Starting values from the arrays: capacities and loss by regression, time constant of the bed and lag by trial.

    For each of several time constants the bed follows from the base by a low pass, and the heat that came in is
    explained by the rises of both and by their height above the room, which gives the capacities and the loss. The bed
    through a second low pass, the lag, is held against the bed probe; the best time constant of each lag is taken, the
    best pair first. With one sensor alone, or a lag on both, the model itself tries them.

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
    times, lags = span * TIMES, span * LAGS
    base, bed = _followed(series, times)
    parts = _capacities(series, base, bed, heat_share)

    def trial(lag: int, time: int) -> dict[str, float]:
        base_part, bed_part, loss = (float(x) for x in parts[time])
        found = {"heat_share": heat_share, "base_heat_capacity": base_part, "mash_heat_capacity": bed_part}
        found |= {"bed_conductance": bed_part / float(times[time]), "heat_loss": loss, "bed_loss": 0.25 * loss}
        return found | {"probe_lag": float(lags[lag])}

    base_unlagged = bool(model.outputs[0, 0] > 0)
    if base_unlagged and np.isfinite(series.readings).any(axis=0).all():
        # two low passes one after the other look alike either way round: the lag is taken for the shorter
        sizes = np.where(lags[:, None] <= times, _misfit(series, bed, lags), np.inf)
    else:
        trials = [trial(lag, time) for lag in range(lags.size) for time in range(times.size)]
        sizes = squares(model, series, trials, start_temps(model, series)).reshape(lags.size, -1)
    order = np.argsort(sizes.min(axis=1))[:count]
    starts = [trial(int(lag), int(sizes[lag].argmin())) for lag in order]
    return [{name: start[name] for name in model.constants} for start in starts]


def _followed(series: Series, times: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Readings of the base, and the bed that follows them with each time constant, shape (times, rows). [degC]"""
    from brewlog.rig.passes import low_pass

    column = 0 if np.isfinite(series.readings[:, 0]).any() else 1
    base = bridge(series.elapsed, series.readings[:, column])
    return base, low_pass(base[None], np.diff(series.elapsed), times)[0]


def _misfit(series: Series, bed: np.ndarray, lags: np.ndarray) -> np.ndarray:
    """Variance of the bed probe's readings less the bed through each lag, shape (lags, times). [K^2]"""
    from brewlog.rig.passes import low_pass

    rest = bridge(series.elapsed, series.readings[:, 1]) - low_pass(bed, np.diff(series.elapsed), lags)
    rest -= rest.mean(axis=2, keepdims=True)
    return np.einsum("tlr,tlr->lt", rest, rest)


def _capacities(series: Series, base: np.ndarray, bed: np.ndarray, heat_share: float) -> np.ndarray:
    """Heat capacities of base and bed and the loss, for each course of the bed. [J/K, J/K, W/K]"""
    dt = np.diff(series.elapsed)
    heat = np.concatenate([[0.0], np.cumsum(series.power[:-1] * dt)]) * heat_share
    above = np.concatenate([[0.0], np.cumsum(((base[:-1] + base[1:]) / 2 - series.room[:-1]) * dt)])
    k = max(base.size // 20, 1)
    seen = np.empty((len(bed), 3, base.size - k))
    seen[:, 0], seen[:, 1], seen[:, 2] = base[k:] - base[:-k], bed[:, k:] - bed[:, :-k], above[k:] - above[:-k]
    square = seen @ seen.transpose(0, 2, 1)
    square[:, range(3), range(3)] *= 1 + 1e-9
    out = np.linalg.solve(square, (seen @ (heat[k:] - heat[:-k]))[..., None])[..., 0]
    total = np.maximum(out[:, 0] + out[:, 1], 1e-12)
    out[:, :2] = np.maximum(out[:, :2], 0.05 * total[:, None])
    out[:, 2] = np.maximum(out[:, 2], 1e-6 * total)
    return out
