"""Which reading most likely slipped, which others explain the misfit as well, and what would decide."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from brewlog.wort.reconcile import Array, Constraints, Reconciled, reconcile

ALARM = 0.03
"""An account whose readings fit as badly as this by chance is said not to close. [1]"""
AS_WELL = 2.0
"""Readings whose chi-square gains differ by less than this explain a misfit about equally well: the likelihoods are
within a factor of 2.7. [1]"""


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


def find_suspects(fit: Reconciled, states: Sequence[int], labels: Sequence[str]) -> list[Suspect]:
    """Readings that explain a misfit, the best first; those that do not come close to the best are left out.

    Parameters
    ----------
    fit : Reconciled
    states : sequence of int
        States that carry a reading.
    labels : sequence of str
        Their names.
    """
    size, sd, gain = fit.slips()
    rows = [
        Suspect(label, state, float(size[state]), float(sd[state]), float(gain[state]))
        for state, label in zip(states, labels, strict=True)
        if np.isfinite(size[state])
    ]
    rows.sort(key=lambda row: -row.gain)
    return [row for row in rows if rows[0].gain - row.gain < AS_WELL]


def deciding_reading(
    suspects: Sequence[Suspect],
    readings: Array,
    parts: Array,
    unknown: np.ndarray,
    constraints: Constraints,
    candidates: dict[str, tuple[int, float]],
) -> str | None:
    """Reading not yet taken whose value the suspects predict most differently.

    Parameters
    ----------
    suspects : sequence of Suspect
        Two or more readings that explain the misfit equally well.
    readings, parts, unknown, constraints
        The account, as in `reconcile`.
    candidates : dict of str to (int, float)
        Name of a possible reading -> its state and the sd that it would have.

    Returns
    -------
    str or None
        None where no candidate would tell the suspects apart by 2 sd; then only a second reading of a suspect helps.
    """
    best: tuple[float, str | None] = (2.0, None)
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in candidates}
    for suspect in suspects:
        aside = unknown.copy()
        aside[suspect.state] = True
        fit = reconcile(readings, parts, aside, constraints)
        for name, (state, _) in candidates.items():
            if fit.determined[state]:
                found[name].append((float(fit.state[state]), float(np.linalg.norm(fit.errors[state]))))
    for name, (_, own_sd) in candidates.items():
        if len(found[name]) < 2:
            continue
        values = np.array([value for value, _ in found[name]])
        sd = float(np.hypot(own_sd, max(sd for _, sd in found[name])))
        telling = float(np.ptp(values)) / sd
        if telling > best[0]:
            best = (telling, name)
    return best[1]
