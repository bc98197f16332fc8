"""Columns of the model with their priors, and the lasting moves of the control sensor."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd

from brewlog.findings.priors import Priors
from brewlog.findings.rows import LASTING, Rows

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
class Assumed:
    """Where a column's prior comes from."""

    prior: str
    """Name of the prior."""
    spread: float | None = None
    """Of an unrecorded period: how far the setting usually varies, in steps."""

    def of(self, priors: Priors) -> tuple[float, float]:
        """Mean and sd: the prior's own, or those of a setting that varied unseen."""
        if self.spread is None:
            return priors.mean(self.prior), priors.sd(self.prior)
        return 0.0, float(np.sqrt(priors.square(self.prior)) * self.spread)


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
    assumed: tuple[Assumed, ...]
    moves: tuple[Move, ...]

    def index(self, name: str) -> int:
        """Position of a column."""
        return self.names.index(name)

    def under(self, priors: Priors) -> Design:
        """Return the same columns under other priors."""
        mean, sd = zip(*(one.of(priors) for one in self.assumed), strict=True)
        return replace(self, mean=np.array(mean), sd=np.array(sd))


def build_design(rows: Rows, priors: Priors) -> Design:
    """Columns of the model: intercept, tightness, covariates, unrecorded periods, trend, rigs, steps."""
    n = rows.n
    parts: list[tuple[str, np.ndarray, str, str, Assumed]] = []

    def add(name: str, values: np.ndarray, unit: str, kind: str, assumed: Assumed) -> None:
        parts.append((name, values, unit, kind, assumed))

    add("intercept", np.ones(n), "points", "intercept", Assumed("intercept"))
    add("hold_rms", rows.shrunk - rows.shrunk.mean(), "points per K", "hold_rms", Assumed("hold_rms"))
    for column in rows.columns:
        add(column.name, column.values, f"points per {column.per}", "covariate", Assumed(column.name))
        if column.unlogged is not None:
            mark = column.unlogged - column.unlogged.mean()
            add(f"{column.name} not recorded", mark, "points", "unlogged", Assumed(column.name, column.spread))
    if n > 1:
        add("trend", np.arange(n) / (n - 1) - 0.5, "points over the log", "trend", Assumed("trend"))
    if len(rows.rigs) > 1 and not averages_rigs(rows, priors):
        for number, rig in enumerate(rows.rigs):
            add(f"rig {rig or 'not named'}", (rows.rig == number).astype(float), "points", "rig", Assumed("rig"))
    moves = lasting_moves(rows)
    for move in moves:
        add(move.name, move.after, "points", "step", Assumed("step"))
    names, columns, units, kinds, assumed = zip(*parts, strict=True)
    blank = np.zeros(len(names))
    return Design(names, np.column_stack(columns), blank, blank, units, kinds, assumed, moves).under(priors)


def averages_rigs(rows: Rows, priors: Priors) -> bool:
    """Whether rigs are so many that their levels join the error covariance: the same model, without their columns."""
    return len(rows.rigs) > MANY_RIGS and bool(np.isfinite(priors.sd("rig")))


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


def joint_move(moves: tuple[Move, ...]) -> Move | None:
    """The lasting moves as one, where all went to the same sensor, which no rig can do twice; else None."""
    if len({move.to for move in moves}) != 1:
        return None
    rigs = [rig for move in moves for rig in move.rigs]
    first = min(moves, key=lambda move: move.first)
    after = np.sum([move.after for move in moves], axis=0)
    return replace(first, rigs=tuple(rigs), after=after)


def _date(rows: Rows, row: int) -> date | None:
    stamp = rows.date.iloc[row]
    return None if pd.isna(stamp) else stamp.date()
