"""What is assumed before the brews speak: one weak, visible, editable prior per coefficient."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd


@dataclass(frozen=True, slots=True)
class Covariate:
    """A recorded setting that may move efficiency beside tightness."""

    name: str
    """Column of the brew table."""
    words: str
    """How a sentence names it."""
    step: float
    """Size of one step of the coefficient, in the column's unit."""
    per: str
    """The same in words: `points per` this."""
    mean: float
    sd: float
    spread: float
    """How much the setting usually varies in a log, in steps. Counts only where a whole period never recorded it."""
    low: float
    high: float
    """Values outside `low` to `high` are taken for slips and treated as not recorded, in the column's unit."""
    persistent: bool = False
    """A setting that stays until it is touched: a missing value is the nearest recorded one in time."""
    batch: bool = False
    """Brought to a planned volume of 20 L, so that the prior holds for rigs of every size."""


SHORT_LIST: tuple[Covariate, ...] = (
    Covariate("grist", "grain bill", 1.0, "kg at 20 L", -1.5, 1.5, 1.0, 0.0, 5000.0, batch=True),
    Covariate("mill_gap", "mill gap", 1.0, "mm", -6.0, 8.0, 0.15, 0.05, 5.0, persistent=True),
    Covariate("thickness", "mash thickness", 1.0, "L/kg", 0.5, 1.5, 0.4, 0.5, 20.0),
    Covariate("mash_time", "mash time", 10.0, "10 min", 0.2, 0.4, 1.2, 1.0, 1440.0),
    Covariate("mash_out", "mash-out reached", 1.0, "mash-out reached", 1.0, 1.5, 0.5, 0.0, 1.0),
    Covariate("sparge", "sparge water", 1.0, "L at 20 L", 0.2, 0.3, 2.0, 0.0, 5000.0, batch=True),
)
"""Fixed beforehand, whatever the log shows: picking columns by what they show makes intervals too narrow."""

REFERENCE_VOLUME = 20.0
"""Planned pre-boil volume to which grist and sparge are brought. [L]"""

OWN_SD = 2.0
"""Prior sd of a brewer's own column, in points per its standard deviation in the log, where none is given."""

# name -> (mean, sd, unit, what it is)
OTHERS: Mapping[str, tuple[float, float, str, str]] = {
    "intercept": (72.0, 15.0, "points", "efficiency of an average brew"),
    "hold_rms": (0.0, 7.0, "points per K", "tightness: what is asked for, so all but free"),
    "trend": (0.5, 2.5, "points over the log", "steady learning, rarely steady decline"),
    "rig": (0.0, 3.0, "points", "each rig's own level"),
    "programme": (0.0, 1.5, "points", "each mash programme's own level: its rests set efficiency and tightness alike"),
    "step": (0.0, 1.0, "points", "what nobody wrote down when the control sensor was moved"),
    "wander": (0.0, 1.0, "points", "slow wander of a rig, forgotten over about ten brews"),
    "scatter": (2.0, 0.5, "points, log sd", "scatter from brew to brew: median and log standard deviation"),
}


def default_priors() -> pd.DataFrame:
    """All priors that `relate` assumes when none are given.

    Returns
    -------
    pandas.DataFrame
        Index = name; columns `mean`, `sd`, `unit`, `meaning`.

    Notes
    -----
    Points are percentage points of efficiency. `scatter` is lognormal: `mean` is its median, `sd` its log standard
    deviation. The sizes are common practice, no source; they were checked on simulated histories.

    Examples
    --------
    >>> default_priors().loc["mill_gap", ["mean", "sd"]].to_numpy(dtype=float)
    array([-6.,  8.])
    """
    return Priors(*_defaults(), SHORT_LIST).table


@dataclass(frozen=True)
class Priors:
    """The priors of one analysis: mean and sd per coefficient, and the covariates they stand for."""

    values: Mapping[str, tuple[float, float]]
    """Name to mean and sd."""
    words: Mapping[str, tuple[str, str]]
    """Name to unit and meaning."""
    covariates: tuple[Covariate, ...]

    def mean(self, name: str) -> float:
        """Prior mean."""
        return self.values[name][0]

    def sd(self, name: str) -> float:
        """Prior standard deviation; infinite = flat."""
        return self.values[name][1]

    def square(self, name: str) -> float:
        """Prior mean of the squared coefficient."""
        return self.mean(name) ** 2 + self.sd(name) ** 2

    @property
    def table(self) -> pd.DataFrame:
        """The priors as a frame: mean, sd, unit, meaning."""
        rows = {name: (*pair, *self.words[name]) for name, pair in self.values.items()}
        frame = pd.DataFrame.from_dict(rows, orient="index", columns=["mean", "sd", "unit", "meaning"])
        return frame.rename_axis("name")

    def replace(self, **sds: float) -> Priors:
        """Return the same priors with other standard deviations."""
        values = dict(self.values) | {name: (self.values[name][0], sd) for name, sd in sds.items()}
        return Priors(values, self.words, self.covariates)

    def loosened(self, factor: float = 2.0) -> Priors:
        """Return the priors with the sds of all covariates and of the trend multiplied by `factor`."""
        names = [item.name for item in self.covariates] + ["trend"]
        return self.replace(**{name: factor * self.sd(name) for name in names})


def resolve_priors(
    priors: Mapping[str, Any] | pd.DataFrame | None, own: Mapping[str, np.ndarray] | None = None
) -> Priors:
    """Join what the caller edited with the defaults.

    Parameters
    ----------
    priors : mapping or DataFrame, optional
        Name to (mean, sd), or to None to leave that covariate out of the model. A frame has columns `mean`, `sd`.
        An infinite sd is flat; sd 0 pins the coefficient at its mean. [points]
    own : mapping of str to numpy.ndarray, optional
        The brewer's own columns that join the short list.

    Returns
    -------
    Priors

    Raises
    ------
    ValueError
        If a name is not known or a prior is not a pair of numbers with an sd of 0 or more.
    """
    values, words = _defaults()
    if isinstance(priors, pd.DataFrame):
        priors = {str(name): (row["mean"], row["sd"]) for name, row in priors.iterrows()}
    edits = dict(priors or {})
    covariates = list(SHORT_LIST)
    for name, numbers in (own or {}).items():
        known = numbers[~np.isnan(numbers)]
        spread = float(np.std(known, ddof=1)) if len(known) > 1 else 0.0
        sd = OWN_SD / spread if spread > 0 else OWN_SD
        covariates.append(Covariate(name, name, 1.0, f"unit of {name}", 0.0, sd, spread or 1.0, -np.inf, np.inf))
        values[name] = (0.0, sd)
        words[name] = (f"points per unit of {name}", f"own column {name}")
    for name, value in edits.items():
        if name not in values:
            raise ValueError(_unknown(name, list(values)))
        if value is None:
            if name not in {item.name for item in covariates}:
                raise ValueError(f"prior of {name!r} is None; only a covariate can be left out of the model.")
            covariates = [item for item in covariates if item.name != name]
            continue
        values[name] = _pair(name, value)
    left = {item.name for item in SHORT_LIST} - {item.name for item in covariates}
    return Priors({name: pair for name, pair in values.items() if name not in left}, words, tuple(covariates))


def _defaults() -> tuple[dict[str, tuple[float, float]], dict[str, tuple[str, str]]]:
    values = {item.name: (item.mean, item.sd) for item in SHORT_LIST}
    words = {item.name: (f"points per {item.per}", item.words) for item in SHORT_LIST}
    for name, (mean, sd, unit, meaning) in OTHERS.items():
        values[name], words[name] = (mean, sd), (unit, meaning)
    order = [
        "intercept",
        "hold_rms",
        *(item.name for item in SHORT_LIST),
        "trend",
        "rig",
        "programme",
        "step",
        "wander",
        "scatter",
    ]
    return {name: values[name] for name in order}, {name: words[name] for name in order}


def _pair(name: str, value: Any) -> tuple[float, float]:
    expected = "expected (mean, sd) in points, with an sd of 0 or more"
    if not isinstance(value, Sequence | np.ndarray) or isinstance(value, str) or len(value) != 2:
        raise ValueError(f"prior of {name!r} is {value!r}; {expected}.")
    try:
        mean, sd = float(value[0]), float(value[1])
    except (TypeError, ValueError):
        raise ValueError(f"prior of {name!r} is {value!r}; {expected}.") from None
    if not np.isfinite(mean) or np.isnan(sd) or sd < 0:
        raise ValueError(f"prior of {name!r} is {value!r}; {expected}.")
    if name == "scatter" and not (mean > 0 and 0 < sd < np.inf):
        raise ValueError(f"prior of 'scatter' is {value!r}; expected (median, log sd), both above 0.")
    if name in ("wander", "programme") and not np.isfinite(sd):
        raise ValueError(f"prior of {name!r} is {value!r}; expected (0, sd) with a finite sd.")
    return mean, sd


def _unknown(name: str, allowed: list[str]) -> str:
    near = difflib.get_close_matches(name, allowed, n=1)
    hint = f" Did you mean {near[0]!r}?" if near else ""
    listed = ", ".join(allowed)
    return f"there is no prior named {name!r}; there are {listed}, and the columns named in `columns`.{hint}"
