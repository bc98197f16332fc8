"""The one model behind every finding: columns, priors, error covariance, and the passes that settle the weights."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from brewlog.findings.mixture import SCATTERS, Mixture, conjugate, mix
from brewlog.findings.priors import Priors
from brewlog.findings.rows import LASTING, Rows

WANDER_BREWS = 10.0
"""Brews over which a rig's slow wander is forgotten."""
SLOPE_SQUARE_CAP = 9.0
"""Most that the mean squared slope may count when an uncertain tightness widens a brew's error. [points^2/K^2]"""
BLUNDER = 2.5
"""Standardised residual beyond which a brew counts for less."""
PASSES = 4
MANY_RIGS = 12
"""Rigs beyond which their levels are averaged over instead of having a coefficient each."""


@dataclass(frozen=True)
class Move:
    """A lasting move of the control sensor: on one rig, or on several at the same time."""

    rigs: tuple[str, ...]
    last: int
    """Last row brewed before it on those rigs."""
    first: int
    """First row brewed after it on those rigs."""
    last_date: date | None
    first_date: date | None
    after: np.ndarray
    """+1/2 for brews of those rigs after the move, -1/2 before, 0 for other rigs."""
    to: str
    """Control sensor after it."""

    @property
    def when(self) -> str:
        """Its date, or its place in the log where there is none."""
        return self.first_date.isoformat() if self.first_date else f"brew {self.first + 1} of the log"

    @property
    def name(self) -> str:
        """Name of its coefficient."""
        rigs = ", ".join(rig for rig in self.rigs if rig)
        return f"step {self.when}" + (f" ({rigs})" if rigs else "")


@dataclass(frozen=True)
class Design:
    """Columns of the model with their priors."""

    names: tuple[str, ...]
    matrix: np.ndarray
    mean: np.ndarray
    sd: np.ndarray
    units: tuple[str, ...]
    kinds: tuple[str, ...]
    """What a column stands for: intercept, hold_rms, covariate, unlogged, trend, rig or step."""
    moves: tuple[Move, ...]

    def index(self, name: str) -> int:
        """Position of a column."""
        return self.names.index(name)


@dataclass(frozen=True)
class Fit:
    """The model fitted to the usable brews."""

    rows: Rows
    priors: Priors
    design: Design
    posterior: Mixture
    """Of the free columns, in the order of the design; pinned columns have no spread."""
    downweight: np.ndarray
    """Factor on each brew's error variance, 1 unless it stands far off."""
    residual: np.ndarray
    """Response minus the mixture mean. [points]"""
    standardised: np.ndarray
    """Residual over its own standard deviation, before any brew counts for less."""
    noise: np.ndarray
    """Variance of each brew beside the scatter: efficiency, tightness and fills. [points^2]"""
    squares: np.ndarray
    """Mean of each squared coefficient."""

    @property
    def slope(self) -> np.ndarray:
        """Contrast that picks the tightness slope."""
        return self.contrast({"hold_rms": 1.0})

    def contrast(self, parts: dict[str, float]) -> np.ndarray:
        """Vector that adds up the named coefficients with these factors."""
        vector = np.zeros(len(self.design.names))
        for name, factor in parts.items():
            vector[self.design.index(name)] = factor
        return vector

    @property
    def scatter(self) -> float:
        """Mixture mean of the scatter from brew to brew. [points]"""
        return float(self.posterior.weights @ SCATTERS)

    @property
    def pair_scatter(self) -> float:
        """Scatter of one brew against the other of its pair: process, measuring error, one step of the wander.

        In points; the difference of a pair scatters by sqrt(2) times this.
        """
        step = self.priors.sd("wander") ** 2 * (1.0 - np.exp(-1.0 / WANDER_BREWS))
        return float(np.sqrt(self.scatter**2 + np.mean(self.rows.response_sd**2) + step))


def lasting_moves(rows: Rows) -> tuple[Move, ...]:
    """Moves of the control sensor with four or more brews on both sides on that rig, or the only move of the rig.

    Brews in random order hold no lasting move: their sensor changes back and forth. Moves of several rigs that may
    have been made on the same day are one move: whatever else changed that day changed for all of them.
    """
    single = []
    for number, rig in enumerate(rows.rigs):
        mine = np.flatnonzero((rows.rig == number) & (rows.control != ""))
        words = rows.control[mine]
        cuts = np.flatnonzero(words[1:] != words[:-1]) + 1
        lengths = np.diff(np.concatenate([[0], cuts, [len(mine)]]))
        for k, cut in enumerate(cuts):
            if len(cuts) > 1 and (lengths[k] < LASTING or lengths[k + 1] < LASTING):
                continue
            last, first = int(mine[cut - 1]), int(mine[cut])
            after = np.where(rows.rig == number, np.where(np.arange(rows.n) >= first, 0.5, -0.5), 0.0)
            single.append(Move((rig,), last, first, _date(rows, last), _date(rows, first), after, str(words[cut])))
    moves: list[Move] = []
    for move in sorted(single, key=lambda item: item.first):
        for k, other in enumerate(moves):
            overlap = max(move.last, other.last) < min(move.first, other.first)
            if overlap and move.to == other.to and not set(move.rigs) & set(other.rigs):
                last, first = max(move.last, other.last), min(move.first, other.first)
                dates = (_date(rows, last), _date(rows, first))
                moves[k] = Move(other.rigs + move.rigs, last, first, *dates, other.after + move.after, move.to)
                break
        else:
            moves.append(move)
    return tuple(moves)


def _date(rows: Rows, row: int) -> date | None:
    stamp = rows.date.iloc[row]
    return None if pd.isna(stamp) else stamp.date()


def build_design(rows: Rows, priors: Priors, moves: tuple[Move, ...] | None = None) -> Design:
    """Columns of the model: intercept, tightness, covariates, unrecorded periods, trend, rigs, steps."""
    n = rows.n
    parts: list[tuple[str, np.ndarray, float, float, str, str]] = []

    def add(name: str, values: np.ndarray, mean: float, sd: float, unit: str, kind: str) -> None:
        parts.append((name, values, mean, sd, unit, kind))

    add("intercept", np.ones(n), priors.mean("intercept"), priors.sd("intercept"), "points", "intercept")
    tight = rows.shrunk - rows.shrunk.mean()
    add("hold_rms", tight, priors.mean("hold_rms"), priors.sd("hold_rms"), "points per K", "hold_rms")
    for column in rows.columns:
        unit = f"points per {column.per}"
        add(column.name, column.values, priors.mean(column.name), priors.sd(column.name), unit, "covariate")
        if column.unlogged is not None:
            sd = np.sqrt(priors.square(column.name)) * column.spread
            mark = column.unlogged - column.unlogged.mean()
            add(f"{column.name} not recorded", mark, 0.0, float(sd), "points", "unlogged")
    if n > 1:
        trend = np.arange(n) / (n - 1) - 0.5
        add("trend", trend, priors.mean("trend"), priors.sd("trend"), "points over the log", "trend")
    if len(rows.rigs) > 1 and not averages_rigs(rows, priors):
        for number, rig in enumerate(rows.rigs):
            values = (rows.rig == number).astype(float)
            add(f"rig {rig or 'not named'}", values, priors.mean("rig"), priors.sd("rig"), "points", "rig")
    moves = lasting_moves(rows) if moves is None else moves
    for move in moves:
        add(move.name, move.after, priors.mean("step"), priors.sd("step"), "points", "step")
    names, columns, mean, sd, units, kinds = zip(*parts, strict=True)
    return Design(names, np.column_stack(columns), np.array(mean), np.array(sd), units, kinds, moves)


def wander_covariance(rows: Rows, sd: float) -> np.ndarray:
    """Covariance of the slow wander: sd^2 exp(-|i - j| / 10) within a rig, i in order of time. [points^2]"""
    place = np.zeros(rows.n)
    for number in range(len(rows.rigs)):
        mine = np.flatnonzero(rows.rig == number)
        place[mine] = np.arange(len(mine))
    same = rows.rig[:, None] == rows.rig[None, :]
    return sd**2 * np.where(same, np.exp(-np.abs(place[:, None] - place[None, :]) / WANDER_BREWS), 0.0)


def averages_rigs(rows: Rows, priors: Priors) -> bool:
    """Whether rigs are so many that their levels join the error covariance: the same model, without their columns."""
    return len(rows.rigs) > MANY_RIGS and bool(np.isfinite(priors.sd("rig")))


def shared_covariance(rows: Rows, priors: Priors) -> np.ndarray:
    """Covariance that brews share: slow wander, mash programme, and levels of rigs averaged over. [points^2]"""
    shared = wander_covariance(rows, priors.sd("wander"))
    if (rows.programme != "").any():
        same = rows.programme[:, None] == rows.programme[None, :]
        shared = shared + priors.sd("programme") ** 2 * (same & (rows.programme != ""))
    if averages_rigs(rows, priors):
        shared = shared + priors.sd("rig") ** 2 * (rows.rig[:, None] == rows.rig[None, :])
    return shared


def fit_model(rows: Rows, priors: Priors, start: Fit | None = None, robust: bool = True) -> Fit:
    """Fit the model: at most four passes, each with the weights that the pass before it left.

    Parameters
    ----------
    rows : Rows
        At least one brew.
    priors : Priors
    start : Fit, optional
        A fit of nearly the same brews, from which the passes start.
    robust : bool
        Whether brews that stand far off count for less.

    Returns
    -------
    Fit

    Notes
    -----
    Error variance of brew i: q_i (s^2 + u_i^2 + fills_i + E[slope^2] v_i), plus the wander's covariance;
    q_i = max(1, |standardised residual| / 2.5)^2, one q for all points of the scatter s.
    """
    design = build_design(rows, priors, start.design.moves if start is not None and start.rows is rows else None)
    free = design.sd > 0
    offset = design.matrix[:, ~free] @ design.mean[~free]
    matrix, target = design.matrix[:, free], rows.response - offset
    wander = shared_covariance(rows, priors)
    median, log_sd = priors.mean("scatter"), priors.sd("scatter")
    uncertain = [(design.index("hold_rms"), rows.shrunk_variance)]
    uncertain += [(design.index(column.name), column.variance) for column in rows.columns if column.variance.any()]
    caps = np.full(len(design.names), np.inf)
    caps[design.index("hold_rms")] = SLOPE_SQUARE_CAP
    squares = np.minimum(np.where(np.isfinite(design.sd), design.mean**2 + design.sd**2, SLOPE_SQUARE_CAP), caps)
    q = np.ones(rows.n)
    if start is not None and start.rows.n == rows.n:
        q = start.downweight
    if start is not None and start.design.names == design.names:
        squares = np.minimum(start.squares, caps)
    diagonal = np.arange(rows.n)
    for _ in range(PASSES):
        noise = rows.response_sd**2 + sum(squares[k] * variance for k, variance in uncertain)
        covariances = np.repeat(wander[None], len(SCATTERS), axis=0)
        covariances[:, diagonal, diagonal] += q * (SCATTERS[:, None] ** 2 + noise)
        fits = conjugate(matrix, target, covariances, design.mean[free], design.sd[free])
        posterior = mix(fits, SCATTERS, median, log_sd)
        residual = target - matrix @ posterior.mean
        own = posterior.weights @ SCATTERS**2 + noise + np.diag(wander)
        standardised = residual / np.sqrt(own)
        new_squares = design.mean**2
        new_squares[free] = posterior.squares
        new_squares = np.minimum(new_squares, caps)
        new_q = np.maximum(1.0, np.abs(standardised) / BLUNDER) ** 2 if robust else q
        settled = np.allclose(new_q, q, rtol=1e-3) and np.allclose(new_squares, squares, rtol=1e-2)
        q, squares = new_q, new_squares
        if settled:
            break
    return Fit(rows, priors, design, _pin(posterior, free, design.mean), q, residual, standardised, noise, squares)


def _pin(posterior: Mixture, free: np.ndarray, mean: np.ndarray) -> Mixture:
    """Put coefficients that were pinned by an sd of 0 back in their places."""
    if free.all():
        return posterior
    count = len(posterior.weights)
    means = np.repeat(mean[None], count, axis=0)
    means[:, free] = posterior.means
    roots = np.zeros((count, len(mean), len(mean)))
    roots[np.ix_(np.arange(count), free, free)] = posterior.roots
    return Mixture(posterior.weights, means, roots)


def leave_out_changes(fit: Fit) -> np.ndarray:
    """Change of the slope when each brew in turn is left out, with the weights kept.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Slope without the brew minus slope with it. [points/K]

    Notes
    -----
    Exact at each point of the scatter: leaving out row i is the same as giving it a coefficient of its own.
    """
    free = fit.design.sd > 0
    matrix = fit.design.matrix[:, free]
    target = fit.rows.response - fit.design.matrix[:, ~free] @ fit.design.mean[~free]
    wander = shared_covariance(fit.rows, fit.priors)
    diagonal = np.arange(fit.rows.n)
    covariances = np.repeat(wander[None], len(SCATTERS), axis=0)
    covariances[:, diagonal, diagonal] += fit.downweight * (SCATTERS[:, None] ** 2 + fit.noise)
    precision = np.linalg.inv(covariances)
    roots = fit.posterior.roots[:, free][:, :, free]
    weighted = precision @ matrix
    gains = roots @ (np.swapaxes(roots, 1, 2) @ np.swapaxes(weighted, 1, 2))
    away = target - fit.posterior.means[:, free] @ matrix.T
    misfit = np.einsum("sij,sj->si", precision, away)
    leverage = np.einsum("sii->si", precision) - np.einsum("sik,ski->si", weighted, gains)
    slope = int(np.flatnonzero(np.flatnonzero(free) == fit.design.index("hold_rms"))[0]) if free[1] else None
    if slope is None:
        return np.zeros(fit.rows.n)
    return -(fit.posterior.weights[:, None] * gains[:, slope, :] * misfit / leverage).sum(axis=0)
