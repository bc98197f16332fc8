"""Lack of fit: does what the model leaves out of the mash temperatures repeat from brew to brew?

Noise of the sensors, correlated or not, and a room that wanders are another in every brew; physics that the model does
not have is not. So the brews are the replicates against which lack of fit is tested.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import product

import numpy as np

from brewlog.rig.fitting import ModelFit, modelled, states
from brewlog.rig.linear import Model
from brewlog.rig.residuals import outlier_weights
from brewlog.rig.series import Series

FEWEST = 6
"""Brews from which on lack of fit can be told: signs of six brews can fall in 32 ways, three of them are 9 %."""
LEVEL = 0.10
"""Lack of fit counts as shown where chance alone would show as much in this part of all rigs. [1]"""
GROUPS = 12
"""More brews than this are turned over in so many groups."""
LAGS = (60.0, 300.0, 900.0)
"""Time constants of heat that the model may leave out: element and sensors, walls, lid and free wort on top. [s]"""
_STEP = 1e-3
"""Of derivatives by differences, in logarithms of constants."""
_NOTHING = 1e-6
"""A course that the model's own constants can follow but for this part of it tells nothing. [1]"""


@dataclass(frozen=True, slots=True)
class LackOfFit:
    """Whether brews show, alike, something that the model leaves out."""

    brews: int
    """Brews with both sensors in the mash."""
    p_value: float
    """Chance of as much likeness without lack of fit; NaN with too few brews. [1]"""

    @property
    def told(self) -> bool:
        """False where there are too few brews to tell."""
        return bool(np.isfinite(self.p_value))

    @property
    def shown(self) -> bool:
        """True where enough brews were looked at and something showed."""
        return self.told and self.p_value <= LEVEL

    @property
    def excluded(self) -> bool:
        """True where enough brews were looked at and nothing showed."""
        return self.told and self.p_value > LEVEL


def lack_of_fit(fits: Iterable[ModelFit]) -> LackOfFit:
    """Test over brews whether residuals follow, alike in every brew, courses that the model cannot follow.

    Parameters
    ----------
    fits : iterable of ModelFit
        One mash per brew, each with base sensor and bed probe.

    Returns
    -------
    LackOfFit

    Notes
    -----
    Per brew the residuals of both sensors are projected on the power as it follows with lags of 1, 5 and 15 minutes, on
    how far the base would stay behind with these lags, and on time, each less what the model's constants can follow.
    Without lack of fit every projection is as likely to be positive as negative, so that turning the signs of whole
    brews leaves the distribution of the sum as it is: an exact test, for correlated residuals too.

    References
    ----------
    .. [1] N. R. Draper, H. Smith, "Applied Regression Analysis", 3rd ed., Wiley 1998, section 2.1 (lack of fit against
       pure error of replicates).
    .. [2] R. A. Fisher, "The Design of Experiments", Oliver and Boyd 1935, section 21 (test by turning signs).
    """
    rows = [scores(fit) for fit in fits]
    if len(rows) < FEWEST:
        return LackOfFit(len(rows), float("nan"))
    return LackOfFit(len(rows), sign_flips(np.array(rows)))


def sign_flips(found: np.ndarray) -> float:
    """Probability that brews with signs by chance agree as much as these do.

    Parameters
    ----------
    found : array_like, shape (brews, courses)
        Projections; their sums over the brews are squared and added up.

    Returns
    -------
    float

    Examples
    --------
    >>> sign_flips(np.ones((6, 2)))
    0.03125
    """
    found = np.asarray(found, dtype=float)
    groups = np.array([found[k::GROUPS].sum(axis=0) for k in range(min(GROUPS, len(found)))])
    # turning all signs changes nothing: the first keeps its own
    signs = np.array([(1.0, *rest) for rest in product((1.0, -1.0), repeat=len(groups) - 1)])
    sums = ((signs @ groups) ** 2).sum(axis=1)
    return float(np.mean(sums >= sums[0] * (1 - 1e-9)))


def scores(fit: ModelFit) -> np.ndarray:
    """Projections of one brew's residuals on every course, base sensor first, in units of the residuals' own size.

    Parameters
    ----------
    fit : ModelFit

    Returns
    -------
    numpy.ndarray, shape (14,)
    """
    rest = np.concatenate(fit.residuals)
    seen = np.isfinite(rest)
    weights = outlier_weights(np.where(seen, rest, 0.0), seen)
    weight = np.sqrt(seen * (1.0 if weights is None else weights))
    size = float(np.sqrt(np.sum((weight * np.nan_to_num(rest)) ** 2)))
    follows, courses = _follows(fit), np.concatenate(_courses(fit))
    if not (np.isfinite(follows).all() and np.isfinite(courses).all()):  # constants far out, of data without sense
        return np.zeros(2 * courses.shape[1])
    within = _orthonormal((follows * weight[..., None]).reshape(rest.size, -1))
    left = (weight * np.nan_to_num(rest)).ravel()
    out = np.zeros(2 * courses.shape[1])
    for i in range(out.size):
        course = np.zeros_like(rest)
        course[:, i // courses.shape[1]] = weight[:, i // courses.shape[1]] * courses[:, i % courses.shape[1]]
        whole = course.ravel()
        beyond = whole - within @ (within.T @ whole)
        length = float(np.linalg.norm(beyond))
        if length > _NOTHING * float(np.linalg.norm(whole)) and size > 0:
            out[i] = float(beyond @ left) / length / size
    return out


def _orthonormal(columns: np.ndarray) -> np.ndarray:
    """Basis of what the columns span."""
    length = np.linalg.norm(columns, axis=0)
    left, singular, _ = np.linalg.svd(columns[:, length > 0] / length[length > 0], full_matrices=False)
    return left[:, singular > _NOTHING]


def _courses(fit: ModelFit) -> list[np.ndarray]:
    """Courses that the model may leave out, one array (rows, 7) per series."""
    from brewlog.rig.passes import low_pass

    begin = fit.series[0].elapsed[0]
    out = []
    for series, start, shift in zip(fit.series, fit.starts, fit.room_shift, strict=True):
        base = states(fit.model, series, fit.constants, start, float(shift))[:, 0]
        power, late = low_pass(np.ascontiguousarray([series.power, base]), np.diff(series.elapsed), np.array(LAGS))
        hours = (series.elapsed - begin) / 3600
        out.append(np.vstack([power, base - late, hours]).T)
    return out


def _follows(fit: ModelFit) -> np.ndarray:
    """Derivatives of all readings to all that a fit can move, shape (rows, 2, parameters)."""
    parts = [
        _slopes(fit.model, series, fit.constants, start, float(shift))
        for series, start, shift in zip(fit.series, fit.starts, fit.room_shift, strict=True)
    ]
    shared = parts[0][0].shape[2]
    local = parts[0][1].shape[2]
    out = np.zeros((sum(len(p[0]) for p in parts), 2, shared + local * len(parts)))
    row = 0
    for i, (own, ends) in enumerate(parts):
        rows = slice(row, row + len(own))
        out[rows, :, :shared] = own
        out[rows, :, shared + i * local : shared + (i + 1) * local] = ends
        row += len(own)
    return out


def _slopes(
    model: Model, series: Series, constants: dict[str, float], start: np.ndarray, shift: float
) -> tuple[np.ndarray, np.ndarray]:
    """Derivatives to what all series of a brew share (constants, offset), and to room shift and start temperatures."""
    here = modelled(model, series, constants, start, shift)
    # heat_share and all heat capacities, flows and losses together move nothing: one of them is left out
    shared = [
        modelled(model, series, {**constants, name: constants[name] * (1 + _STEP)}, start, shift) - here
        for name in model.constants
        if name != "heat_share"
    ]
    offset = np.zeros_like(here)
    offset[:, 1] = 1.0
    moved = [modelled(model, series, constants, start, shift + 1.0) - here]
    moved += [modelled(model, series, constants, start + step, shift) - here for step in np.eye(start.size)]
    return np.stack([*shared, offset], axis=2), np.stack(moved, axis=2)
