"""Effects in points: what tightness gained, and what moving the control sensor does."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from brewlog.findings.mixture import NormalMixture
from brewlog.findings.model import Fit
from brewlog.findings.rows import Rows
from brewlog.plain import plain

CAUSED = ("mash_time", "mash_out")
"""Settings that the control sensor itself moves: a bed that arrives late makes a long mash and misses the mash-out."""


@dataclass(frozen=True)
class Effect:
    """One effect with its range; NaN where the log cannot give it, with the reason."""

    unit: str
    distribution: NormalMixture | None = None
    reason: str | None = None
    """Why there is no number."""

    @property
    def estimate(self) -> float:
        """Mean of what fits the log."""
        return np.nan if self.distribution is None else self.distribution.mean

    @property
    def sd(self) -> float:
        """One standard deviation."""
        return np.nan if self.distribution is None else self.distribution.sd

    @cached_property
    def _range(self) -> tuple[float, float]:
        return (np.nan, np.nan) if self.distribution is None else self.distribution.interval()

    @property
    def low(self) -> float:
        """Lower end of the 95 % interval."""
        return self._range[0]

    @property
    def high(self) -> float:
        """Upper end of the 95 % interval."""
        return self._range[1]

    def conf_int(self, level: float = 0.95) -> pd.Series:
        """Interval that holds the effect with probability `level`: `low` and `high`.

        Raises
        ------
        ValueError
            If `level` does not lie between 0 and 1.
        """
        if not 0.0 < level < 1.0:
            raise ValueError(f"level is {level!r}; expected a share between 0 and 1, for example 0.95.")
        low, high = (np.nan, np.nan) if self.distribution is None else self.distribution.interval(level)
        return pd.Series({"low": low, "high": high})

    def to_dict(self) -> dict[str, Any]:
        """Return the effect as plain Python values, ready for JSON; what is not known is None."""
        names = ("estimate", "low", "high", "sd", "unit", "reason")
        return {name: plain(getattr(self, name)) for name in names}

    def __str__(self) -> str:
        if self.distribution is None:
            return f"not known: {self.reason}"
        return f"{self.estimate:.1f} ({self.low:.1f} to {self.high:.1f}) {self.unit}"


@dataclass(frozen=True)
class Sides:
    """The tight and the loose half of the brews."""

    split: float
    """Midpoint of the 10 and 90 % points of tightness. [K]"""
    spread: float
    """Distance between those two points. [K]"""
    tight: np.ndarray
    """True for brews of the tight half."""

    @property
    def counts(self) -> tuple[int, int]:
        """Number of tight and of loose brews."""
        return int(self.tight.sum()), int((~self.tight).sum())


def split_sides(tight: np.ndarray) -> Sides:
    """Split brews at the midpoint of the 10 and 90 % points of their tightness.

    Parameters
    ----------
    tight : numpy.ndarray
        [K]

    Returns
    -------
    Sides

    Examples
    --------
    >>> split_sides(np.array([0.4, 0.5, 0.6, 1.5, 1.8, 2.0])).counts
    (3, 3)
    """
    low, high = np.quantile(tight, [0.1, 0.9])
    return Sides(float((low + high) / 2), float(high - low), tight <= (low + high) / 2)


def gain_of(fit: Fit, sides: Sides) -> Effect:
    """Points gained between the loose and the tight half: slope times the difference of their mean tightness."""
    if min(sides.counts) == 0:
        return Effect("points", reason="all brews were held equally tightly")
    return Effect("points", fit.posterior.along(change_of(fit, sides) * fit.slope))


def change_of(fit: Fit, sides: Sides) -> float:
    """Mean tightness of the tight half minus that of the loose half. [K]"""
    shrunk = fit.rows.shrunk
    return float(shrunk[sides.tight].mean() - shrunk[~sides.tight].mean())


@dataclass(frozen=True)
class Moved:
    """What moving the control sensor from the base to the mash changed in one setting."""

    change: float
    sd: float


def control_changes(rows: Rows) -> dict[str, Moved] | None:
    """Change of tightness, mash time and mash-out that went with the control sensor, rig by rig.

    Returns
    -------
    dict of str to Moved, or None
        None where the log does not hold two brews of each control sensor. Differences are taken within rigs where a
        rig has brewed both ways, else between rigs.
    """
    known = rows.control != ""
    mash = (rows.control == "mash").astype(float)
    if min((mash[known] == 1).sum(), (mash[known] == 0).sum()) < 2:
        return None
    both = [k for k in range(len(rows.rigs)) if len(np.unique(mash[known & (rows.rig == k)])) == 2]
    use = known & np.isin(rows.rig, both) if both else known
    columns = [mash[use]]
    columns += [(rows.rig[use] == k).astype(float) for k in both] if both else [np.ones(int(use.sum()))]
    matrix = np.column_stack(columns)
    settings = {"hold_rms": rows.shrunk}
    settings |= {column.name: column.values for column in rows.columns if column.name in CAUSED}
    inverse = np.linalg.pinv(matrix.T @ matrix)
    freedom = max(int(use.sum()) - matrix.shape[1], 1)
    moved = {}
    for name, values in settings.items():
        coefficients = inverse @ matrix.T @ values[use]
        residual = values[use] - matrix @ coefficients
        moved[name] = Moved(float(coefficients[0]), float(np.sqrt(residual @ residual / freedom * inverse[0, 0])))
    return moved


def control_effect_of(fit: Fit, with_step: bool = False) -> Effect:
    """Points that moving the control sensor from the base into the mash brings.

    Tightness, and what the sensor itself causes (a longer mash, the mash-out reached); not the settings, the trend or
    the step that merely came with it, unless `with_step` asks for the step as a bound.
    """
    moved = control_changes(fit.rows)
    if moved is None:
        words = sorted(set(fit.rows.control) - {""})
        reason = "no brew tells which sensor the heater followed"
        if words:
            reason = "fewer than two brews followed one of the two sensors"
        if len(words) == 1:
            reason = f"the sensor was never moved, all brews that tell followed the {words[0]} sensor"
        return Effect("points", reason=reason)
    parts = {name: part.change for name, part in moved.items()}
    extra = sum(fit.squares[fit.design.index(name)] * part.sd**2 for name, part in moved.items())
    if with_step:
        for move in fit.design.moves:
            sign = 1.0 if move.to == "mash" else -1.0
            parts[move.name] = sign / len(fit.design.moves)
    return Effect("points", fit.posterior.along(fit.contrast(parts), extra))
