"""How the flow through the bed went during one mash, from temperatures and power alone."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from brewlog.logbook.records import Brew
from brewlog.rig.alignment import earlier_day
from brewlog.rig.capacity import mash_inventory
from brewlog.rig.daily import OFFSET_SD, START_SD
from brewlog.rig.day import day_of
from brewlog.rig.expectation import expectation
from brewlog.rig.fitting import ModelFit, fit_model, modelled
from brewlog.rig.optimise import inverse
from brewlog.rig.rigfit import RigFit
from brewlog.rig.series import Series
from brewlog.rig.stretches import cut, mash_span

WINDOW = 300.0
"""Length of a window. [s]"""
WANDER = 0.35
"""By how much the logarithm of the flow may move from window to window, one sd. [1]"""
FIRST_SD = 0.25
"""Sd of the logarithm in the first window against the rig's usual flow. [1]"""


POOR = 1.5
"""A mash that leaves so much more than the rig's usual residuals is looked at for deep blocks first. [1]"""


@dataclass(frozen=True)
class FlowCourse:
    """Flow through the bed by windows of five minutes, relative to the rig's usual flow."""

    edges: np.ndarray
    """Edges of the windows, shape (n + 1,). [s]"""
    logs: np.ndarray
    """Logarithm of flow over usual flow, shape (n,)."""
    sds: np.ndarray
    """One standard deviation of `logs`."""
    usual: float
    """[L/min], or [W/K] for the two-node model."""
    probe: bool = True
    """A probe in the bed was seen."""
    rms: float = float("nan")
    """Root mean square of what this course leaves of the readings, both sensors. [K]"""

    @property
    def baseline(self) -> float:
        """Logarithm of this brew's own usual flow: a middling value of the windows that tell it, near the rig's."""
        told = self.logs[self.sds < 0.25]
        return float(np.clip(np.quantile(told, 0.6), -0.5, 0.5)) if told.size >= 3 else 0.0


def flow_course(brew: Brew, fit: RigFit) -> FlowCourse:
    """Course of the flow during one mash.

    Parameters
    ----------
    brew : Brew
    fit : RigFit
        Of the rig; the flow is relative to what the other brews have.

    Returns
    -------
    FlowCourse

    Raises
    ------
    ValueError
        With a plain reason where the mash was not logged well enough.

    Notes
    -----
    The flow of each window is a parameter of the model; neighbouring windows are tied by a random walk, the other
    constants by what the rig's other brews lead one to expect. Solved by Gauss-Newton; while nothing is heated the
    lead of the base is small and the walk bridges.
    """
    day = day_of(brew, fit.record)
    day = earlier_day(day) if fit.power_before else day
    inventory = mash_inventory(brew, fit.record)
    if inventory is None or day.power is None or not np.isfinite(day.base).any():
        raise ValueError(f"brew {brew.label!r} lacks base_temp, power, litres or kilograms; the flow cannot be told.")
    series = [s for s in cut(day, *mash_span(day), probe=True) if np.isfinite(s.readings[:, 0]).any()]
    if not series:
        raise ValueError(f"brew {brew.label!r} has no base_temp in the mash; the flow cannot be told.")
    longest = max(series, key=lambda s: s.rows)
    expected = expectation(fit, without=brew.label)
    v, sd = expected.values, expected.sds
    coupling = "bed_flow" if "bed_flow" in fit.model.constants else "bed_conductance"
    part = v["bed_part"] if np.isfinite(v["bed_part"]) else 0.45
    lag = fit["probe_lag"]
    start = {
        "heat_share": v["heat_share"],
        "heat_loss": v["heat_loss"],
        coupling: v["coupling"],
        "base_heat_capacity": (1 - part) * inventory.total,
        "mash_heat_capacity": part * inventory.total,
        "probe_lag": lag if np.isfinite(lag) else 30.0,
        "probe_offset": fit["probe_offset"] if np.isfinite(fit["probe_offset"]) else 0.0,
    }
    priors = {
        "heat_share": (v["heat_share"], sd["heat_share"]),
        "heat_loss": (v["heat_loss"], sd["heat_loss"]),
        "mash_heat_capacity": (part * inventory.total, sd["bed_part"]),
        "heat_capacity": (inventory.total, inventory.sd / inventory.total),
        "room_shift": (0.0, day.room_sd),
        "probe_offset": (start["probe_offset"], OFFSET_SD / 2),
    }
    return _solve(longest, fit, start, priors, coupling)


def _solve(
    series: Series, fit: RigFit, start: dict[str, float], priors: dict[str, tuple[float, float]], coupling: str
) -> FlowCourse:
    n = max(round((series.elapsed[-1] - series.elapsed[0]) / WINDOW), 1)
    edges = np.linspace(series.elapsed[0], series.elapsed[-1], n + 1)
    which = np.clip(np.searchsorted(edges, series.elapsed, side="right") - 1, 0, n - 1)
    logs, sds = np.zeros(n), np.full(n, np.nan)
    penalty = np.zeros((n, n))
    penalty[0, 0] += 1 / FIRST_SD**2
    for i in range(1, n):
        for j, k, sign in ((i, i, 1), (i - 1, i - 1, 1), (i, i - 1, -1), (i - 1, i, -1)):
            penalty[j, k] += sign / WANDER**2
    # noise as the rig's brews have it: residuals of this brew may hold the very block that is looked for
    others = [d.mash for d in fit.days.values() if d.mash is not None]
    usual_rms = max(float(np.median([m.rms["pooled"] for m in others])) if others else 0.15, 0.05)
    usual_length = float(np.median([m.inflation for m in others])) if others else 20.0
    guess = start
    for turn in range(5):
        now = replace(series, coupling=series.coupling * np.exp(logs)[which])
        found = fit_model(
            fit.model, now, guess, fixed=("probe_lag", coupling), priors=priors, start_sd=START_SD, robust=False
        )
        guess = {**found.constants, coupling: start[coupling]}
        if turn == 0 and found.rms["pooled"] > POOR * usual_rms:
            # far from the usual flow the windows' slopes mislead: begin at the best of some deep blocks
            logs = _best_block(now, found, which, n)
            if logs.any():
                continue
        slopes = _window_slopes(now, found, which, n)
        rest = found.residuals[0]
        good = np.isfinite(rest)
        weight = 1 / (usual_rms**2 * usual_length)
        j = slopes[good]
        # the other constants may move with the windows: project their directions out, up to their priors
        other = slopes_of(now, found)[good]
        a = weight * other.T @ other + _prior_precision(found, priors)
        cross = weight * other.T @ j
        curve = weight * j.T @ j - cross.T @ np.linalg.solve(a, cross) + penalty
        pull = weight * j.T @ rest[good] - penalty @ logs
        step = np.clip(np.linalg.solve(curve, pull), -0.7, 0.7)
        logs = np.clip(logs + step, -3.0, 1.0)
        sds = np.sqrt(np.diag(inverse(curve)))
        if np.abs(step).max() < 0.03:
            break
    probed = bool(np.isfinite(series.readings[:, 1]).any())
    return FlowCourse(edges, logs, sds, start[coupling], probed, found.rms["pooled"])


def _best_block(series: Series, found: ModelFit, which: np.ndarray, n: int) -> np.ndarray:
    """Course with one block of two to six windows at a third of the flow, if that explains much of the residuals."""
    constants, starts, room = found.constants, found.starts[0], float(found.room_shift[0])
    rest = found.residuals[0]
    good = np.isfinite(rest)
    basis, _ = np.linalg.qr(slopes_of(series, found)[good])

    def left(logs: np.ndarray) -> float:
        now = replace(series, coupling=series.coupling * np.exp(logs)[which])
        r = (series.readings - modelled(found.model, now, constants, starts, room))[good]
        r = r - basis @ (basis.T @ r)
        return float(r @ r)

    best = np.zeros(n)
    least = 0.8 * left(best)
    for length in (2, 4, 6):
        for first in range(n - length + 1):
            logs = np.zeros(n)
            logs[first : first + length] = np.log(1 / 3)
            size = left(logs)
            if size < least:
                best, least = logs, size
    return best


def _window_slopes(series: Series, found: ModelFit, which: np.ndarray, n: int) -> np.ndarray:
    """Change of the readings per unit of each window's logarithm, shape (rows, 2, n); by small differences."""
    at = (found.constants, found.starts[0], float(found.room_shift[0]))
    before = modelled(found.model, series, *at)
    out = np.empty((series.rows, 2, n))
    for w in range(n):
        more = replace(series, coupling=np.where(which == w, 1.05, 1.0) * series.coupling)
        out[:, :, w] = (modelled(found.model, more, *at) - before) / np.log(1.05)
    return out


def slopes_of(series: Series, found: ModelFit, index: int = 0) -> np.ndarray:
    """Change of the readings per unit of each fitted parameter, shape (rows, 2, k); by small differences."""
    constants, starts, room = found.constants, found.starts[index], float(found.room_shift[index])
    before = modelled(found.model, series, constants, starts, room)
    columns = []
    for name in found.params:
        if name == "probe_offset":
            columns.append(np.broadcast_to([0.0, 1.0], before.shape))
            continue
        more = {**constants, name: constants[name] * 1.01}
        columns.append((modelled(found.model, series, more, starts, room) - before) / np.log(1.01))
    columns.append(modelled(found.model, series, constants, starts, room + 1.0) - before)
    for i in range(starts.size):
        moved = starts.copy()
        moved[i] += 1.0
        columns.append(modelled(found.model, series, constants, moved, room) - before)
    return np.stack(columns, axis=-1)


def _prior_precision(found: ModelFit, priors: dict[str, tuple[float, float]]) -> np.ndarray:
    names = [*found.params, "room_shift", *["start"] * found.starts.shape[1]]
    sds = [priors[n][1] if n in priors else START_SD if n == "start" else 0.05 for n in names]
    return np.diag(1 / np.array(sds) ** 2)
