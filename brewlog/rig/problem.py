"""A thermal model and its series, packed for the compiled solver."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np

from brewlog.rig.model import Model
from brewlog.rig.optimise import Minimum
from brewlog.rig.residuals import correlation_length
from brewlog.rig.rows import Rows, few_cells, pack, start_temps
from brewlog.rig.series import Series

Priors = Mapping[str, tuple[float, float]]
"""Name to (value, sd): constants and `heat_capacity` with a relative sd, `room_shift` and `probe_offset` in K."""

LONG = 1500
"""Rows from which on a trace is first taken on cells."""
_LOG_BOUNDS = {"probe_lag": (0.2, 1000.0)}
_WIDEST_LOG = 10.0
"""No constant goes further from its start than a factor of 22 000: there nothing is told any more."""
_WIDEST_TEMP = 200.0
"""Nor offset, shift of the room or a start temperature further than this. [K]"""


class Problem:
    """Least squares of several series that share their constants.

    Parameters are the logarithms of the free constants, the probe's offset if free, and per series the shift of the
    room if free and the start temperatures.

    Parameters
    ----------
    model : Model
    series : sequence of Series
    start : mapping of str to float
        Every constant of the model, above 0; `probe_offset` 0 if absent.
    free : sequence of str
    priors : mapping
    start_sd : float or None
        How far start temperatures may lie from the first readings. [K]
    """

    def __init__(
        self,
        model: Model,
        series: Sequence[Series],
        start: Mapping[str, float],
        free: Sequence[str],
        priors: Priors,
        start_sd: float | None,
    ) -> None:
        self.model, self.series = model, series
        values = np.array([float(start[name]) for name in model.constants])
        if not np.all(np.isfinite(values) & (values > 0)):
            wrong = [f"{n} = {v:g}" for n, v in zip(model.constants, values, strict=True) if not 0 < v < np.inf]
            raise ValueError(f"start has {', '.join(wrong)}; expected numbers above 0.")
        self.logs = np.log(values)
        self.offset = float(start.get("probe_offset", 0.0))
        self.at = np.array([model.constants.index(n) for n in free if n in model.constants], dtype=np.intp)
        self.free_offset = "probe_offset" in free
        self.free_room = "room_shift" in free
        self.shared = tuple(model.constants[i] for i in self.at) + (("probe_offset",) if self.free_offset else ())
        self.nodes = model.starts.shape[1]
        self.local = int(self.free_room) + self.nodes
        self.first = [start_temps(model, s) for s in series]
        self.size = len(self.shared) + self.local * len(series)
        self.bounds = self._bounds()
        self._pack_priors(priors, start_sd)
        self.rows, self.seen = pack(series, model.drives)
        self.count = int(np.count_nonzero(self.seen))

    def begin(self) -> np.ndarray:
        """Parameters to start from."""
        out = np.zeros(self.size)
        out[: self.at.size] = self.logs[self.at]
        if self.free_offset:
            out[self.at.size] = self.offset
        rest = out[len(self.shared) :].reshape(len(self.series), self.local)
        rest[:, self.local - self.nodes :] = self.first
        return out

    def _bounds(self) -> tuple[np.ndarray, np.ndarray]:
        """Bounds of the parameters: the lag's own, and far off the start for all others.

        No sum of squares can then overflow, however little the data tell.
        """
        low = self.begin() - _WIDEST_TEMP
        high = low + 2 * _WIDEST_TEMP
        k = self.at.size
        low[:k], high[:k] = self.logs[self.at] - _WIDEST_LOG, self.logs[self.at] + _WIDEST_LOG
        for i, name in enumerate(self.shared):
            if name in _LOG_BOUNDS:
                low[i], high[i] = np.log(_LOG_BOUNDS[name])
        return low, high

    def split(self, p: np.ndarray) -> tuple[np.ndarray, float, np.ndarray, np.ndarray]:
        """Log constants, probe offset, and per series room shift and start temperatures."""
        logs = self.logs.copy()
        k = self.at.size
        logs[self.at] = p[:k]
        offset = float(p[k]) if self.free_offset else self.offset
        rest = p[len(self.shared) :].reshape(len(self.series), self.local)
        shift = rest[:, 0].copy() if self.free_room else np.zeros(len(self.series))
        return logs, offset, shift, rest[:, self.local - self.nodes :].copy()

    def weigh(self, noise: float, weights: np.ndarray | None = None) -> np.ndarray:
        """Weight of every reading, 0 where it is missing."""
        out = self.seen * noise**-2.0
        return out if weights is None else out * weights

    def minimise(
        self, begin: np.ndarray, weight: np.ndarray, tolerance: float, near: bool = False
    ) -> tuple[Minimum, np.ndarray]:
        """Least squares from `begin`, and measured minus modelled there, 0 where nothing was measured.

        Unless `begin` is near the minimum, long traces are first taken on few cells.

        Raises
        ------
        ValueError
            If the sum of squares at the start is not a number.
        """
        curvature = np.empty((0, 0))
        if not near and min(s.rows for s in self.series) >= LONG:
            few, _ = self._descend(begin, few_cells(self.series, self.rows, weight), False, curvature, 1 / self.count)
            begin, near, curvature = few.params, True, few.curvature
        found, read = self._descend(begin, self.rows._replace(weight=weight), near, curvature, tolerance)
        return found, np.where(self.seen, self.rows.measured - read, 0.0)

    def correlation(self, rest: np.ndarray) -> float:
        """How many correlated residuals count as one, in the series and channel that is worst off."""
        ends, whole = self.rows.ends, self.count == rest.size
        worst = 1.0
        for a, b in pairwise(ends):
            for i in (0, 1):
                one = rest[a:b, i] if whole else rest[a:b, i][self.seen[a:b, i]]
                worst = max(worst, correlation_length(one))
        return worst

    def apart(self, rest: np.ndarray) -> tuple[np.ndarray, ...]:
        """Residuals of every series by itself, NaN where nothing was measured. [K]"""
        if self.count < rest.size:
            rest = np.where(self.seen, rest, np.nan)
        return tuple(rest[a:b] for a, b in pairwise(self.rows.ends))

    def _descend(
        self, begin: np.ndarray, rows: Rows, near: bool, curvature: np.ndarray, tolerance: float, most: int = 200
    ) -> tuple[Minimum, np.ndarray]:
        from brewlog.rig import descent, evaluation

        low, high = self.bounds
        layout, fixed, wiring, packed, priors = self._packed(rows)
        here, total, curvature, read, steps, end = evaluation.descend(
            self.model.shape, begin, low, high, layout, fixed, wiring, packed, priors, near, curvature, tolerance,
            self.count, most,
        )  # fmt: skip
        if end == evaluation.NO_NUMBER:
            raise ValueError("the sum of squares at the start is not a number; check the data and the start.")
        return Minimum(here, total, curvature, steps, end == descent.DONE), read

    def _packed(self, rows: Rows) -> tuple[tuple[object, ...], ...]:
        """Layout of the parameters, what is fixed, the model, the rows and the priors as `evaluation` takes them."""
        layout = (self.at, self.free_offset, self.free_room)
        wiring = (*self.model.wiring, self.model.starts, self.model.outputs)
        return layout, (self.logs, self.offset), wiring, tuple(rows), (self.priors, self.capacity)

    def evaluate(
        self, params: np.ndarray, rows: Rows, curved: bool, jr: np.ndarray, jj: np.ndarray
    ) -> tuple[float, np.ndarray]:
        """Sum of squares and what the model reads; `jr` receives J'r, `jj` J'J if `curved`."""
        from brewlog.rig import evaluation

        read = np.empty_like(rows.measured)
        layout, fixed, wiring, packed, priors = self._packed(rows)
        total = evaluation.evaluate(
            self.model.shape, curved, params, layout, fixed, wiring, packed, priors, read, jr, jj
        )  # fmt: skip
        return total, read

    def _pack_priors(self, priors: Priors, start_sd: float | None) -> None:
        """Priors of single parameters as (place, value, sd), and that of the whole heat capacity."""
        rows: list[tuple[int, float, float]] = []
        shared, count = len(self.shared), len(self.series)
        for name, (value, sd) in priors.items():
            if name == "room_shift":
                if self.free_room:
                    rows += [(shared + i * self.local, value, sd) for i in range(count)]
            elif name in self.shared:
                rows.append((self.shared.index(name), value if name == "probe_offset" else float(np.log(value)), sd))
        if start_sd is not None:
            for i, first in enumerate(self.first):
                at = shared + (i + 1) * self.local - self.nodes
                rows += [(at + j, float(v), start_sd) for j, v in enumerate(first)]
        self.priors = np.array(rows, dtype=float).reshape(-1, 3)
        members = [i for i, c in enumerate(self.model.constants) if c.endswith("heat_capacity")]
        self.capacity = np.array([*priors.get("heat_capacity", (1.0, 0.0)), *members], dtype=float)
