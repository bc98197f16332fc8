"""From the brew table to the arrays of one analysis: which brews can be used, what is filled, what is uncertain."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from brewlog.findings.cells import (
    as_numbers,
    brew_labels,
    check_table,
    numbers_within,
    shown,
    texts,
    words,
)
from brewlog.findings.columns import Column, covariate_columns
from brewlog.findings.priors import Covariate
from brewlog.findings.tightness import shrink, tight_sd

LARGEST_SD = 50.0
"""A standard uncertainty of an efficiency beyond this is taken for a slip. [points]"""
EFFICIENCY_SD = 2.0
"""Standard uncertainty of an efficiency where no brew states one, common practice, no source. [points]"""
LASTING = 4
"""A move of the control sensor lasts if that many brews stand on both sides of it."""


@dataclass(frozen=True)
class Rows:
    """The usable brews of one table, in order of time."""

    brew: np.ndarray
    source: np.ndarray
    """Row of each brew in the table that was given."""
    date: pd.Series
    response: np.ndarray
    """[points]"""
    response_sd: np.ndarray
    """[points]"""
    tight: np.ndarray
    """Tightness as recorded. [K]"""
    tight_sd: np.ndarray
    """[K]"""
    shrunk: np.ndarray
    """Tightness drawn towards the mean of its control sensor by its uncertainty. [K]"""
    shrunk_variance: np.ndarray
    """[K^2]"""
    control: np.ndarray
    """`base`, `mash`, or empty where not known."""
    rig: np.ndarray
    """Number of the rig in `rigs`."""
    rigs: tuple[str, ...]
    programme: np.ndarray
    """Planned rests in words, empty where not known or where no other brew had them."""
    columns: tuple[Column, ...]
    changes: np.ndarray
    left_out: pd.Series
    notes: tuple[str, ...]

    @property
    def n(self) -> int:
        """Number of usable brews."""
        return len(self.brew)


def usable_rows(
    table: pd.DataFrame, response: str, covariates: Sequence[Covariate], own: Mapping[str, np.ndarray], notes: list[str]
) -> Rows:
    """Sort the brews, leave out what cannot be used with its reason, fill and centre the rest.

    Parameters
    ----------
    table : pandas.DataFrame
        As from `brew_table`. Only `response` and `hold_rms` are needed; without dates the rows count as in order.
    response : str
        `brewhouse`, `mash`, `conversion` or `lauter`. [%]
    covariates : sequence of Covariate
    own : mapping of str to numpy.ndarray
        Numbers of the brewer's own columns.
    notes : list of str
        Sentences collected so far.

    Returns
    -------
    Rows

    Raises
    ------
    ValueError
        If the response or the tightness is not a column, or the response is written as a fraction.
    """
    check_table(table, response)
    notes = list(notes)
    labels = brew_labels(table)
    y, said = as_numbers(table, response)
    tight, said_tight = as_numbers(table, "hold_rms")
    reasons = _reasons(table, response, y, tight)
    use = reasons == ""
    seen = y[use]
    if len(seen) >= 3 and (seen <= 1.5).all():
        raise ValueError(f"column {response!r} runs up to {seen.max():.3g}; expected per cent, not a fraction of one.")
    stamps = _dates(table, labels, notes)
    order = _time_order(stamps, labels, notes)
    order = order[use[order]]
    frame = table.iloc[order]
    bad = set(labels[~use])
    notes += [text for text in said + said_tight if not any(f"brew {label}:" in text for label in bad)]
    control = words(frame, "control", ("base", "mash"), notes)
    rig_words = texts(frame, "rig")
    rigs = tuple(dict.fromkeys(rig_words.tolist()))
    u = _response_sd(frame, response, notes)
    t = tight[order]
    t_sd = tight_sd(frame, t, notes)
    shrunk, variance = shrink(t, t_sd, control)
    columns = covariate_columns(table, order, covariates, own, control, notes)
    return Rows(
        brew=labels[order],
        source=order,
        date=pd.Series(stamps[order]),
        response=y[order],
        response_sd=u,
        tight=t,
        tight_sd=t_sd,
        shrunk=shrunk,
        shrunk_variance=variance,
        control=control,
        rig=np.array([rigs.index(word) for word in rig_words], dtype=int),
        rigs=rigs,
        programme=_programme(frame),
        columns=columns,
        changes=texts(frame, "changes"),
        left_out=pd.Series(reasons[~use], index=pd.Index(labels[~use], name="brew"), name="reason", dtype=object),
        notes=tuple(notes),
    )


def _reasons(table: pd.DataFrame, response: str, y: np.ndarray, tight: np.ndarray) -> np.ndarray:
    """Why each brew cannot be used, empty where it can."""
    reasons = np.full(len(table), "", dtype=object)
    for name, values, top, unit in ((response, y, 120.0, "%"), ("hold_rms", tight, 30.0, "K")):
        for row in np.flatnonzero(~((values > 0.0) & (values <= top)) & (reasons == "")):
            if not np.isnan(values[row]):
                reasons[row] = f"{name} is {values[row]:.4g}; expected above 0, up to {top:.0f} {unit}"
                continue
            raw = table[name].iloc[row]
            if pd.isna(raw) or str(raw).strip() == "":
                reasons[row] = f"no {name}{_told(texts(table, 'missing')[row], name)}"
            else:
                reasons[row] = f"no {name}: found {raw}"
    return reasons


def _programme(frame: pd.DataFrame) -> np.ndarray:
    """Mash programme of each brew; one that no other brew had says nothing."""
    planned = texts(frame, "programme")
    found, place, count = np.unique(planned.astype(str), return_inverse=True, return_counts=True)
    return np.where(count[place] > 1, found[place], "") if len(found) > 1 else np.full(len(frame), "", dtype="<U1")


def _told(text: str, name: str) -> str:
    """Reason that the table itself gives for a missing value; one reason may stand behind several columns."""
    for part in text.split("; "):
        columns, _, reason = part.partition(": ")
        if reason and name in columns.split(", "):
            return f" ({reason})"
    return ""


def _dates(table: pd.DataFrame, labels: np.ndarray, notes: list[str]) -> np.ndarray:
    """Date of each brew, NaT where there is none; what is no date is noted."""
    if "date" not in table.columns:
        return np.full(len(table), np.datetime64("NaT", "ns"))
    column = table["date"]
    if column.dtype.kind == "M":
        return column.to_numpy(dtype="datetime64[ns]")
    stamps = pd.to_datetime(column, errors="coerce", format="mixed").to_numpy(dtype="datetime64[ns]")
    for row in np.flatnonzero(np.isnat(stamps) & column.notna().to_numpy()):
        notes.append(f"column date, brew {labels[row]}: found {shown(column.iloc[row])}, expected a date")
    return stamps


def _time_order(stamps: np.ndarray, labels: np.ndarray, notes: list[str]) -> np.ndarray:
    none = np.isnat(stamps)
    if none.all():
        notes.append("no dates in the table: the rows count as in order of time")
        return np.arange(len(stamps))
    if none.any():
        notes.append(f"no date: brews {', '.join(labels[none])} count as brewed right after the row before them")
        stamps = pd.Series(stamps).ffill().bfill().to_numpy()
    return np.argsort(stamps, kind="stable")


def _response_sd(frame: pd.DataFrame, response: str, notes: list[str]) -> np.ndarray:
    name = f"{response}_sd"
    u = numbers_within(frame, name, 0.0, LARGEST_SD, notes)
    lost = int(np.isnan(u).sum())
    if lost:
        known = u[~np.isnan(u)]
        usual = float(np.median(known)) if len(known) else EFFICIENCY_SD
        notes.append(f"{lost} of {len(u)} brews state no uncertainty of their {response}: {usual:.2g} points assumed")
        u = np.where(np.isnan(u), usual, u)
    return u
