"""Covariates of the model: brought to one size of batch, filled where they were not recorded, centred."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from brewlog.findings.cells import numbers_within, texts
from brewlog.findings.priors import REFERENCE_VOLUME, Covariate

VOLUMES = (1.0, 10000.0)
"""Volumes outside these are taken for slips. [L]"""
NO_VOLUME = "no pre-boil volume planned or read: grain bill and sparge water count as for 20 L"


@dataclass(frozen=True)
class Column:
    """One covariate, every brew filled."""

    name: str
    words: str
    per: str
    values: np.ndarray
    """Centred, in steps of the coefficient."""
    variance: np.ndarray
    """Of the filled values; 0 where recorded."""
    filled: np.ndarray
    """True where the value was not recorded."""
    centre: float
    """What was subtracted, in steps."""
    unlogged: np.ndarray | None = None
    """True over a period that never recorded it."""
    spread: float = 1.0
    """Usual variation, in steps: the prior of what an unrecorded period may hide."""


def covariate_columns(
    table: pd.DataFrame,
    order: np.ndarray,
    covariates: Sequence[Covariate],
    own: Mapping[str, np.ndarray],
    control: np.ndarray,
    notes: list[str],
) -> tuple[Column, ...]:
    """Fill every covariate that was ever recorded and ever changed; the others are noted.

    Parameters
    ----------
    table : pandas.DataFrame
    order : numpy.ndarray
        Rows of the usable brews, in order of time.
    covariates : sequence of Covariate
    own : mapping of str to numpy.ndarray
        Numbers of the brewer's own columns.
    control : numpy.ndarray
        Control sensor of each usable brew.
    notes : list of str
        Takes what is noted.
    """
    scale = batch_scale(table, notes)[order]
    columns = []
    for item in covariates:
        if item.name in own:
            values = own[item.name][order]
        else:
            values = numbers_within(table, item.name, item.low, item.high, notes)[order]
        values = values / item.step
        if item.batch:
            values = values * scale
        missing = np.isnan(values)
        if missing.all():
            notes.append(f"{item.words} was never recorded: it is not in the model, and could hide behind tightness")
            continue
        if not missing.any() and values.max() == values.min():
            notes.append(f"{item.words} never changed: it cannot explain a difference and is not in the model")
            continue
        columns.append(fill(item, values, control))
    return tuple(columns)


def batch_scale(table: pd.DataFrame, notes: list[str]) -> np.ndarray:
    """Factor that brings a brew's masses and volumes to a planned pre-boil volume of 20 L."""
    if not {"planned_volume", "pre_boil_volume"} & set(table.columns):
        notes.append(NO_VOLUME)
        return np.ones(len(table))
    volume = numbers_within(table, "planned_volume", *VOLUMES, notes).copy()
    seen = numbers_within(table, "pre_boil_volume", *VOLUMES, notes)
    if np.isnan(volume).any():
        rig = texts(table, "rig")
        for candidate in (volume.copy(), seen):
            for word in set(rig[np.isnan(volume)]):
                known = candidate[(rig == word) & ~np.isnan(candidate)]
                if len(known):
                    volume[(rig == word) & np.isnan(volume)] = np.median(known)
        if not np.isnan(volume).all():
            volume[np.isnan(volume)] = np.nanmedian(volume)
    if np.isnan(volume).any():
        if {"grist", "sparge"} & set(table.columns):
            notes.append(NO_VOLUME)
        return np.ones(len(table))
    return REFERENCE_VOLUME / volume


def fill(item: Covariate, values: np.ndarray, control: np.ndarray) -> Column:
    """Fill one covariate and centre it; each filled value carries the variance among the recorded ones.

    A persistent setting takes the nearest recorded value in time, others the mean of the same sensor period. A period
    that never recorded it takes the overall mean, and is marked.
    """
    known = ~np.isnan(values)
    filled, variance = values.copy(), np.zeros(len(values))
    overall = values[known].var(ddof=1) if known.sum() > 1 else item.spread**2
    unlogged = np.zeros(len(values), dtype=bool)
    for word in np.unique(control[~known]):
        period = control == word
        inside = period & known
        gaps = period & ~known
        if not inside.any():
            unlogged |= period
            filled[period] = values[known].mean()
            variance[period] = overall
            continue
        variance[gaps] = values[inside].var(ddof=1) if inside.sum() > 2 else overall
        if item.persistent:
            recorded = np.flatnonzero(known)
            for row in np.flatnonzero(gaps):
                filled[row] = values[recorded[np.argmin(np.abs(recorded - row))]]
        else:
            filled[gaps] = values[inside].mean()
    centre = float(filled.mean())
    return Column(
        name=item.name,
        words=item.words,
        per=item.per,
        values=filled - centre,
        variance=variance,
        filled=~known,
        centre=centre,
        unlogged=unlogged if unlogged.any() else None,
        spread=item.spread,
    )
