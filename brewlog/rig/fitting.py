"""Fit a thermal model to arrays: power and one or two temperatures against time."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from brewlog.rig.model import Model
from brewlog.rig.optimise import Minimum, inverse, minimise
from brewlog.rig.series import Series

Priors = Mapping[str, tuple[float, float]]
"""Name to (value, sd): constants and `heat_capacity` with a relative sd, `room_shift` and `probe_offset` in K."""

_OFFSETS = ("probe_offset", "room_shift")
_LOG_BOUNDS = {"probe_lag": (0.2, 1000.0)}
_WIDEST_LOG = 10.0
"""No constant goes further from its start than a factor of 22 000: there nothing is told any more."""


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


def states(
    model: Model, series: Series, constants: Mapping[str, float], starts: np.ndarray, room_shift: float = 0.0
) -> np.ndarray:
    """Every state of the model at every row, exactly, shape (rows, states). [degC]

    Parameters
    ----------
    model : Model
    series : Series
        Readings are not used.
    constants : mapping of str to float
    starts : array_like, shape (1 to 3,)
        Temperatures at the first row: base; bed, or its top and bottom. [degC]
    room_shift : float
        Added to the room. [K]

    Returns
    -------
    numpy.ndarray
    """
    from brewlog.rig import kernels

    logs = np.log([float(constants[name]) for name in model.constants])
    kind, coupling, dt = series.kinds
    a, b, da, db = model.expand(logs, coupling, room_shift)
    phi, gamma, _, _ = kernels.step_tables(a, b, da[..., :0], db[..., :0], dt)
    return kernels.simulate(phi, gamma, kind, series.inputs, model.starts @ np.asarray(starts, float))


def modelled(
    model: Model, series: Series, constants: Mapping[str, float], starts: np.ndarray, room_shift: float = 0.0
) -> np.ndarray:
    """Readings that base sensor and bed probe would give, shape (rows, 2). [degC]"""
    out = states(model, series, constants, starts, room_shift) @ model.outputs.T
    out[:, 1] += float(constants.get("probe_offset", 0.0))
    return out


class _Problem:
    """Sum of squares and normal equations of several series that share their constants."""

    def __init__(
        self,
        model: Model,
        series: Sequence[Series],
        start: Mapping[str, float],
        free: Sequence[str],
        priors: Priors,
        noise: np.ndarray,
        start_sd: float | None,
        weights: Sequence[np.ndarray] | None = None,
    ) -> None:
        self.model, self.series, self.priors = model, series, priors
        self.logs = np.log([float(start[name]) for name in model.constants])
        self.offset = float(start.get("probe_offset", 0.0))
        self.at = np.array([model.constants.index(n) for n in free if n in model.constants], dtype=int)
        self.free_offset = "probe_offset" in free
        self.free_room = "room_shift" in free
        self.shared = tuple(model.constants[i] for i in self.at) + (("probe_offset",) if self.free_offset else ())
        self.nodes = model.starts.shape[1]
        self.local = int(self.free_room) + self.nodes
        self.columns = [*self.at, len(model.constants)] if self.free_room else [*self.at]
        self.measured = [np.nan_to_num(s.readings) for s in series]
        self.weight = []
        for i, s in enumerate(series):
            w = np.where(np.isfinite(s.readings), 1.0 / noise**2, 0.0)
            self.weight.append(np.ascontiguousarray(w if weights is None else w * weights[i]))
        self.first = [_start_temps(model, s) for s in series]
        self.start_sd = start_sd
        self.size = len(self.shared) + self.local * len(series)

    def begin(self) -> np.ndarray:
        """Parameters to start from."""
        parts = [self.logs[self.at]] + ([np.array([self.offset])] if self.free_offset else [])
        for first in self.first:
            parts += ([np.zeros(1)] if self.free_room else []) + [first]
        return np.concatenate(parts)

    def bounds(self) -> tuple[np.ndarray, np.ndarray]:
        """Bounds of the parameters: the lag's own, and far off the start for other constants."""
        low, high = np.full(self.size, -np.inf), np.full(self.size, np.inf)
        for i, name in enumerate(self.shared):
            if name in _LOG_BOUNDS:
                low[i], high[i] = np.log(_LOG_BOUNDS[name])
            elif name != "probe_offset":
                low[i], high[i] = self.logs[self.at[i]] - _WIDEST_LOG, self.logs[self.at[i]] + _WIDEST_LOG
        return low, high

    def split(self, p: np.ndarray) -> tuple[np.ndarray, float, list[tuple[float, np.ndarray]]]:
        """Log constants, probe offset, and per series (room shift, start temperatures)."""
        logs = self.logs.copy()
        kc = self.at.size
        logs[self.at] = p[:kc]
        offset = float(p[kc]) if self.free_offset else self.offset
        rest = p[len(self.shared) :].reshape(len(self.series), self.local)
        shift = rest[:, 0] if self.free_room else np.zeros(len(self.series))
        return (
            logs,
            offset,
            [(float(shift[i]), rest[i, self.local - self.nodes :]) for i in range(len(rest))],
        )

    def __call__(self, p: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
        from brewlog.rig import kernels

        logs, offset, locals_ = self.split(p)
        kc, ks = self.at.size, len(self.shared)
        kp = len(self.columns)
        n, nodes = self.model.starts.shape
        k = kp + int(self.free_offset) + nodes
        jr, jj, total = np.zeros(self.size), np.zeros((self.size, self.size)), 0.0
        dx0 = np.zeros((n, k))
        dx0[:, k - nodes :] = self.model.starts
        dshift = np.zeros((2, k))
        if self.free_offset:
            dshift[1, kp] = 1.0
        shift = np.array([0.0, offset])
        for i, s in enumerate(self.series):
            room, first = locals_[i]
            kind, coupling, dt = s.kinds
            a, b, da, db = self.model.expand(logs, coupling, room)
            tables = kernels.step_tables(
                a, b, np.ascontiguousarray(da[..., self.columns]), np.ascontiguousarray(db[..., self.columns]), dt
            )
            sse, r, c = kernels.normal_equations(
                tables[0], tables[1], tables[2], tables[3], kind, s.inputs, self.model.starts @ first, dx0,
                self.model.outputs, kp, self.measured[i], self.weight[i], shift, dshift,
            )  # fmt: skip
            total += sse
            at = ks + i * self.local
            where = [*range(kc), *([at] if self.free_room else []), *([kc] if self.free_offset else [])]
            where += range(at + int(self.free_room), at + self.local)
            jr[where] += r
            jj[np.ix_(where, where)] += c
        return self._add_priors(p, logs, offset, locals_, total, jr, jj)

    def _add_priors(
        self,
        p: np.ndarray,
        logs: np.ndarray,
        offset: float,
        locals_: list[tuple[float, np.ndarray]],
        total: float,
        jr: np.ndarray,
        jj: np.ndarray,
    ) -> tuple[float, np.ndarray, np.ndarray]:
        def row(at: Iterable[int], slope: Sequence[float], rest: float, sd: float) -> None:
            nonlocal total
            g = np.zeros(self.size)
            g[list(at)] = slope
            g /= sd
            total += (rest / sd) ** 2
            jr[:] += g * rest / sd
            jj[:] += np.outer(g, g)

        for name, (value, sd) in self.priors.items():
            if name == "heat_capacity":
                parts = [i for i, c in enumerate(self.model.constants) if c.endswith("heat_capacity")]
                each = np.exp(logs[parts])
                part = dict(zip(parts, each / each.sum(), strict=True))
                inside = [j for j, i in enumerate(self.at) if i in part]
                if inside:
                    slopes = [float(part[int(self.at[j])]) for j in inside]
                    row(inside, slopes, float(np.log(value / each.sum())), sd)
            elif name == "probe_offset":
                if self.free_offset:
                    row([self.at.size], [1.0], value - offset, sd)
            elif name == "room_shift":
                if self.free_room:
                    for i in range(len(self.series)):
                        row([len(self.shared) + i * self.local], [1.0], value - locals_[i][0], sd)
            elif name in self.shared:
                row([self.shared.index(name)], [1.0], np.log(value) - p[self.shared.index(name)], sd)
        if self.start_sd is not None:
            for i, first in enumerate(self.first):
                begin = len(self.shared) + i * self.local + int(self.free_room)
                for j in range(first.size):
                    row([begin + j], [1.0], first[j] - p[begin + j], self.start_sd)
        return total, jr, jj


def _start_temps(model: Model, series: Series) -> np.ndarray:
    """Start temperatures: the first readings; a sensor that is missing takes the other's."""
    first = [_first(series.readings[:, i]) for i in (0, 1)]
    base = first[0] if np.isfinite(first[0]) else first[1]
    bed = first[1] if np.isfinite(first[1]) else first[0]
    return np.array([base] + [bed] * (model.starts.shape[1] - 1))


def _first(values: np.ndarray) -> float:
    """Median of the first three numbers, NaN if there is none: one wild value must not set the start."""
    good = values[np.isfinite(values)]
    return float(np.median(good[:3])) if good.size else float("nan")


def correlation_length(residuals: np.ndarray) -> float:
    """How many correlated residuals count as one: 1 + 2 x sum of their autocorrelations, at least 1.

    The sum ends at the first pair of autocorrelations that is not positive (initial positive sequence).

    Parameters
    ----------
    residuals : array_like, shape (n,)
        NaN are left out.

    Returns
    -------
    float

    References
    ----------
    .. [1] C. J. Geyer, "Practical Markov chain Monte Carlo", Statistical Science 7, 1992, pp. 473-483, section 3.3.

    Examples
    --------
    >>> correlation_length([1.0, -1.0, 1.0, -1.0])
    1.0
    """
    from scipy.fft import irfft, next_fast_len, rfft

    r = np.asarray(residuals, dtype=float)
    r = r[np.isfinite(r)]
    if r.size < 4 or not np.any(r != r[0]):
        return 1.0
    r = r - r.mean()
    size = next_fast_len(2 * r.size - 1, real=True)
    power = np.abs(rfft(r, size)) ** 2
    acf = irfft(power, size)[: r.size]
    acf = acf / acf[0]
    pairs = acf[: 2 * (acf.size // 2)].reshape(-1, 2).sum(axis=1)
    end = np.argmax(pairs <= 0) if np.any(pairs <= 0) else pairs.size
    return float(max(1.0, 2 * pairs[:end].sum() - 1))


def fit_model(
    model: Model,
    series: Series | Sequence[Series],
    start: Mapping[str, float],
    *,
    fixed: Iterable[str] = (),
    priors: Priors | None = None,
    start_sd: float | None = None,
    noise: float | tuple[float, float] = 0.1,
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
    noise : float or (float, float)
        First guess of what the residuals of base sensor and probe are, only to weigh priors. [K]
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
    sigma = np.broadcast_to(np.asarray(noise, float), (2,)).copy()
    problem = _Problem(model, several, start, free, priors, sigma, start_sd)
    low, high = problem.bounds()
    found = minimise(problem, problem.begin(), lower=low, upper=high, tolerance=tolerance)
    residuals = _residuals(problem, found.params)
    length = _inflation(residuals)
    weights = _outlier_weights(residuals) if robust else None
    if weights is not None or priors or start_sd is not None:
        for _ in range(3 if weights is not None else 1):
            if priors or start_sd is not None:
                sigma = np.full(2, max(_rms(residuals, weights), 1e-4) * np.sqrt(length))
            problem = _Problem(model, several, start, free, priors, sigma, start_sd, weights)
            found = minimise(problem, found.params, lower=low, upper=high, tolerance=tolerance)
            residuals = _residuals(problem, found.params)
            length = _inflation(residuals)
            weights = _outlier_weights(residuals) if robust and weights is not None else None
            if weights is None:
                break
    return _result(problem, found, residuals, length, sigma, bool(priors or start_sd is not None))


def _residuals(problem: _Problem, params: np.ndarray) -> tuple[np.ndarray, ...]:
    logs, offset, locals_ = problem.split(params)
    constants = {**dict(zip(problem.model.constants, np.exp(logs), strict=True)), "probe_offset": offset}
    return tuple(
        s.readings - modelled(problem.model, s, constants, first, room)
        for s, (room, first) in zip(problem.series, locals_, strict=True)
    )


def _inflation(residuals: Sequence[np.ndarray]) -> float:
    """Correlation length of the channel that is worst off."""
    return max(correlation_length(r[:, i]) for r in residuals for i in (0, 1))


def _rms(residuals: Sequence[np.ndarray], weights: Sequence[np.ndarray] | None = None) -> float:
    all_ = np.concatenate([r.ravel() for r in residuals])
    w = np.ones(all_.size) if weights is None else np.concatenate([x.ravel() for x in weights])
    good = np.isfinite(all_)
    return float(np.sqrt(np.sum(w[good] * all_[good] ** 2) / good.sum())) if good.any() else float("nan")


def _outlier_weights(residuals: Sequence[np.ndarray]) -> list[np.ndarray] | None:
    """Huber weights beyond 4 robust sd per channel, none beyond 12; None where no reading is that far off."""
    weights = [np.ones_like(r) for r in residuals]
    found = False
    for channel in (0, 1):
        values = np.concatenate([r[:, channel] for r in residuals])
        values = values[np.isfinite(values)]
        if values.size < 20:
            continue
        limit = 4 * max(1.4826 * float(np.median(np.abs(values - np.median(values)))), 1e-3)
        for r, w in zip(residuals, weights, strict=True):
            size = np.abs(r[:, channel])
            far = size > limit
            if far.any():
                found = True
                w[far, channel] = np.where(size[far] > 3 * limit, 0.0, limit / size[far])
    return weights if found else None


def _result(
    problem: _Problem,
    found: Minimum,
    residuals: tuple[np.ndarray, ...],
    length: float,
    sigma: np.ndarray,
    weighed: bool,
) -> ModelFit:
    logs, offset, locals_ = problem.split(found.params)
    model = problem.model
    values = dict(zip(model.constants, np.exp(logs).tolist(), strict=True))
    capacities = [n for n in model.constants if n.endswith("heat_capacity")]
    constants: dict[str, float] = {**values, "probe_offset": offset}
    constants["heat_capacity"] = sum(values[n] for n in capacities)
    seen = sum(int(np.isfinite(r).sum()) for r in residuals)
    spread = sum(float(np.nansum(r**2)) for r in residuals) / max(seen - problem.size, 1)
    # weighed: sigma carries residuals and their correlation already; else the residuals' own size is put in here
    variance = 1.0 if weighed else spread / float(sigma[0]) ** 2 * length
    cov = variance * inverse(found.curvature)
    shared = list(problem.shared)
    log_cov = cov[: len(shared), : len(shared)]
    sd = dict.fromkeys(constants, float("nan"))
    for i, name in enumerate(shared):
        sd[name] = float(np.sqrt(log_cov[i, i])) * (1.0 if name == "probe_offset" else constants[name])
    inside = [i for i, n in enumerate(shared) if n in capacities]
    if inside:
        part = np.array([constants[shared[i]] for i in inside])
        sd["heat_capacity"] = float(np.sqrt(part @ log_cov[np.ix_(inside, inside)] @ part))
    rms = {"pooled": _rms(residuals)}
    for i, channel in enumerate(("base_temp", "mash_temp")):
        rms[channel] = _rms([r[:, i : i + 1] for r in residuals])
    return ModelFit(
        model=model,
        constants=constants,
        sd=sd,
        params=tuple(shared),
        log_cov=log_cov,
        starts=np.array([first for _, first in locals_]),
        room_shift=np.array([room for room, _ in locals_]),
        rms=rms,
        residuals=residuals,
        inflation=length,
        minimum=replace(found),
        series=tuple(problem.series),
    )
