"""Which reading most likely slipped, which others explain the misfit as well, and what would decide."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import isinf, log10

import numpy as np

from brewlog.wort.reconcile import Array, Reconciled

ALARM = 0.04
"""An account whose readings fit as badly as this by chance is said not to close. [1]"""
AS_WELL = 2.0
"""Readings whose chi-square gains differ by less than this explain a misfit about equally well: the likelihoods are
within a factor of 2.7. [1]"""

NO_SLIP = 2.5
"""A reading that would have to be wrong by more than this factor is not suspected, but for its decimal. [1]"""
_DECIMAL = 0.08  # how near a factor of ten must be, as its common logarithm


@dataclass(frozen=True, slots=True)
class Suspect:
    """A reading that may have slipped."""

    name: str
    state: int
    """Position of its state in the account."""
    slip: float
    """Reading minus what the other readings say, in the state's unit."""
    slip_sd: float
    gain: float
    """Chi-square that setting it aside takes away, one degree of freedom."""


def may_slip(slip: float, reading: float) -> bool:
    """Whether anybody makes a slip of this size: by some factor, or with the decimal point one place off.

    Examples
    --------
    >>> may_slip(3.0, 28.0), may_slip(-90.0, 28.0), may_slip(2.5 - 25.1, 2.5)
    (True, False, True)
    """
    if isinf(reading):
        return True
    right = reading - slip
    if not right * reading > 0.0:
        return False
    places = abs(log10(right / reading))
    return places <= log10(NO_SLIP) or abs(places - 1.0) < _DECIMAL


def find_suspects(
    fit: Reconciled, states: Sequence[int], labels: Sequence[str], values: Sequence[float]
) -> list[Suspect]:
    """Data that explain a misfit, the best first; those that do not come close to the best are left out.

    Parameters
    ----------
    fit : Reconciled
    states : sequence of int
        States that carry a datum.
    labels : sequence of str
        Their names.
    values : sequence of float
        Their sizes, infinite for a rig's constant, for `may_slip`.
    """
    size, sd, gain = fit.slips()
    rows = [
        Suspect(label, state, float(size[state]), float(sd[state]), float(gain[state]))
        for state, label, value in zip(states, labels, values, strict=True)
        if np.isfinite(size[state]) and may_slip(float(size[state]), value)
    ]
    return closest(rows)


def closest(rows: list[Suspect]) -> list[Suspect]:
    """The best suspect first, and those that come close to it."""
    rows = sorted(rows, key=lambda row: -round(row.gain, 6))
    return [row for row in rows if rows[0].gain - row.gain < AS_WELL]


def weigh_suspects(suspects: Sequence[Suspect]) -> Array:
    """Share of belief in each suspect, by the likelihood of the account without it."""
    gain = np.array([suspect.gain for suspect in suspects])
    likelihood = np.exp((gain - gain.max()) / 2.0)
    return np.asarray(likelihood / likelihood.sum())


def average_fits(fits: Sequence[Reconciled], weights: Array) -> Reconciled:
    """Account over several suspects, each set aside in turn.

    States are means over the suspects; how far the suspects' accounts lie apart becomes a further source of error
    for each, so that every number carries the doubt about which reading slipped.
    """
    states = np.array([fit.state for fit in fits])
    state = weights @ states
    errors = np.tensordot(weights, np.array([fit.errors for fit in fits]), axes=1)
    doubt = ((states - state) * np.sqrt(weights)[:, None]).T
    best = min(fits, key=lambda fit: fit.chi_square)
    return replace(best, state=state, errors=np.hstack([errors, doubt]) if len(fits) > 1 else errors)


def deciding_reading(fits: Sequence[Reconciled], candidates: dict[str, tuple[int, float]]) -> str | None:
    """Reading not yet taken whose value the suspects predict most differently.

    Parameters
    ----------
    fits : sequence of Reconciled
        Account without each suspect in turn.
    candidates : dict of str to (int, float)
        Name of a possible reading -> its state and the sd that it would have.

    Returns
    -------
    str or None
        None where no candidate would tell the suspects apart by 2 sd; then only a second reading of a suspect helps.
    """
    best: tuple[float, str | None] = (2.0, None)
    for name, (state, own_sd) in candidates.items():
        if not all(fit.determined[state] for fit in fits):
            continue
        values = [float(fit.state[state]) for fit in fits]
        sd = float(np.hypot(own_sd, max(float(np.linalg.norm(fit.errors[state])) for fit in fits)))
        best = max(best, (float(np.ptp(values)) / sd, name), key=lambda pair: pair[0])
    return best[1]
