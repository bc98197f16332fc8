"""From the brew table to the arrays of one analysis: which brews can be used, what is filled, what is uncertain."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from brewlog.findings.priors import REFERENCE_VOLUME, Covariate

RESPONSES = ("brewhouse", "mash", "conversion", "lauter")
PROBE_SD = 0.15
"""Part of a probe's error that changes from brew to brew, where nothing better is known. [K]"""
READING_SD = 0.02
"""Rounding and noise left in a day's tightness. [K]"""
EFFICIENCY_SD = 2.0
"""Standard uncertainty of an efficiency where no brew states one, common practice, no source. [points]"""
NO_VOLUME = "no pre-boil volume planned or read: grain bill and sparge water count as for 20 L"
LASTING = 4
"""A move of the control sensor lasts if that many brews stand on both sides of it."""


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

    def without(self, row: int) -> Rows:
        """Return the same brews without one of them; fills and shrinkage stay as they were."""
        keep = np.arange(self.n) != row
        columns = tuple(
            replace(
                column,
                values=column.values[keep],
                variance=column.variance[keep],
                filled=column.filled[keep],
                unlogged=None if column.unlogged is None else column.unlogged[keep],
            )
            for column in self.columns
        )
        per_brew = ["brew", "source", "date", "response", "response_sd", "tight", "tight_sd", "shrunk"]
        per_brew += ["shrunk_variance", "control", "rig", "programme", "changes"]
        return replace(self, columns=columns, **{name: getattr(self, name)[keep] for name in per_brew})


def own_columns(table: pd.DataFrame, names: Sequence[str] | None, known: Sequence[str]) -> tuple[dict[str, Any], list]:
    """Read the brewer's own columns as numbers.

    Returns
    -------
    dict of str to Series, list of str
        Numbers, NaN where a cell is empty or is not a number, and one sentence per cell that is not a number.

    Raises
    ------
    ValueError
        If a column is not in the table (the nearest name is given) or holds no number at all.
    """
    if isinstance(names, str):
        names = [names]
    numbers, notes = {}, []
    for name in names or ():
        if name in known:
            continue
        if name not in table.columns:
            near = difflib.get_close_matches(name, [str(column) for column in table.columns], n=1)
            hint = f" Did you mean {near[0]!r}?" if near else ""
            raise ValueError(f"the brew table has no column {name!r}.{hint}")
        if name in (*RESPONSES, "hold_rms", "hold_bias", "control", "rig", "brew", "date"):
            raise ValueError(f"column {name!r} is already part of the model and cannot join as a covariate.")
        values, said = as_numbers(table, name)
        if values.notna().sum() == 0:
            first = table[name].dropna()
            found = f"; the first cell is {first.iloc[0]!r}" if len(first) else ""
            raise ValueError(f"column {name!r} holds no numbers{found}. Write it as numbers, for example 0 and 1.")
        numbers[name] = values
        notes += said
    return numbers, notes


def as_numbers(table: pd.DataFrame, name: str) -> tuple[pd.Series, list[str]]:
    """Column of the table as finite numbers or NaN, and a sentence for every cell that is neither number nor empty."""
    column = table[name]
    if column.dtype == np.float64:
        raw = column.to_numpy()
        if not np.isinf(raw).any():
            return column, []
    values = pd.to_numeric(column, errors="coerce").astype(float)
    values = values.where(np.isfinite(values))
    odd = column.notna() & values.isna() & (column.astype(str).str.strip() != "")
    labels = brew_labels(table)
    notes = [
        f"column {name}, brew {labels[row]}: found {_shown(column.iloc[row])}, expected a finite number; "
        "treated as not recorded"
        for row in np.flatnonzero(odd.to_numpy())
    ]
    return values, notes


def _shown(cell: Any) -> str:
    """A cell as a message repeats it: words in quotes, numbers bare."""
    return repr(str(cell)) if isinstance(cell, str) else str(cell)


def brew_labels(table: pd.DataFrame) -> np.ndarray:
    """Labels of the brews: column `brew`, else the index."""
    return (table["brew"] if "brew" in table.columns else table.index.to_series()).astype(str).to_numpy()


def usable_rows(
    table: pd.DataFrame, response: str, covariates: Sequence[Covariate], own: dict[str, pd.Series], notes: list[str]
) -> Rows:
    """Sort the brews, leave out what cannot be used with its reason, fill and centre the rest.

    Parameters
    ----------
    table : pandas.DataFrame
        As from `brew_table`. Only `response` and `hold_rms` are needed; without dates the rows count as in order.
    response : str
        `brewhouse`, `mash`, `conversion` or `lauter`. [%]
    covariates : sequence of Covariate
    own : dict of str to Series
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
    seen = y[reasons == ""]
    if len(seen) >= 3 and (seen <= 1.5).all():
        raise ValueError(f"column {response!r} runs up to {seen.max():.3g}; expected per cent, not a fraction of one.")
    order = _time_order(table, notes)
    order = order[(reasons.to_numpy() == "")[order]]
    frame = table.iloc[order]
    bad = set(labels[(reasons != "").to_numpy()])
    notes += [text for text in said + said_tight if not any(f"brew {label}:" in text for label in bad)]
    control = _words(frame, "control", ("base", "mash"), notes)
    rig_words = _texts(frame, "rig")
    rigs = tuple(dict.fromkeys(rig_words.tolist()))
    u = _response_sd(frame, response, notes)
    t = tight.to_numpy()[order]
    t_sd = _tight_sd(frame, t, notes)
    shrunk, variance = shrink(t, t_sd, control)
    columns = _columns(table, order, covariates, own, control, notes)
    date = pd.to_datetime(frame["date"], errors="coerce") if "date" in frame else pd.Series(pd.NaT, index=frame.index)
    left = reasons[reasons != ""]
    index = pd.Index(labels[(reasons != "").to_numpy()], name="brew")
    left_out = pd.Series(left.to_numpy(), index=index, name="reason", dtype=object)
    return Rows(
        brew=labels[order],
        source=order,
        date=date.reset_index(drop=True),
        response=y.to_numpy()[order],
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
        changes=_texts(frame, "changes"),
        left_out=left_out,
        notes=tuple(notes),
    )


def check_table(table: pd.DataFrame, response: str) -> None:
    """Raise ValueError where the table cannot be a brew table or the response is not one of its efficiencies."""
    if not isinstance(table, pd.DataFrame):
        raise ValueError(f"table is a {type(table).__name__}; expected the frame that brew_table returns.")
    if response not in RESPONSES:
        near = difflib.get_close_matches(str(response), RESPONSES, n=1)
        hint = f" Did you mean {near[0]!r}?" if near else ""
        raise ValueError(f"response is {response!r}; expected one of {', '.join(RESPONSES)}.{hint}")
    for name in (response, "hold_rms"):
        if name not in table.columns:
            raise ValueError(f"the brew table has no column {name!r}; it is needed to relate efficiency to tightness.")
    twice = table.columns[table.columns.duplicated()].unique().tolist()
    if twice:
        raise ValueError(f"the brew table has more than one column named {twice[0]!r}.")


def _reasons(table: pd.DataFrame, response: str, y: pd.Series, tight: pd.Series) -> pd.Series:
    reasons = pd.Series("", index=range(len(table)), dtype=object)
    y_values, t_values = y.to_numpy(), tight.to_numpy()
    raw_y, raw_t = table[response].to_numpy(), table["hold_rms"].to_numpy()
    told = _texts(table, "missing")
    for row in range(len(table)):
        for name, value, raw, top, unit in (
            (response, y_values[row], raw_y[row], 120.0, "%"),
            ("hold_rms", t_values[row], raw_t[row], 30.0, "K"),
        ):
            if reasons[row]:
                break
            if np.isnan(value):
                found = "" if pd.isna(raw) or str(raw).strip() == "" else f": found {raw}"
                why = "" if found else _told(told[row], name)
                reasons[row] = f"no {name}{found}{why}"
            elif not 0.0 < value <= top:
                reasons[row] = f"{name} is {value:.4g}; expected above 0, up to {top:.0f} {unit}"
    return reasons


def _texts(frame: pd.DataFrame, name: str) -> np.ndarray:
    """Column as texts, empty where nothing stands."""
    if name not in frame.columns:
        return np.full(len(frame), "", dtype=object)
    return frame[name].astype("string").fillna("").to_numpy(dtype=object)


def _programme(frame: pd.DataFrame) -> np.ndarray:
    """Mash programme of each brew; one that no other brew had says nothing."""
    words = _texts(frame, "programme")
    found, place, count = np.unique(words.astype(str), return_inverse=True, return_counts=True)
    return np.where(count[place] > 1, found[place], "") if len(found) > 1 else np.full(len(frame), "", dtype="<U1")


def _told(text: str, name: str) -> str:
    """Reason that the table itself gives for a missing value; one reason may stand behind several columns."""
    for part in text.split("; "):
        columns, _, reason = part.partition(": ")
        if reason and name in columns.split(", "):
            return f" ({reason})"
    return ""


def _time_order(table: pd.DataFrame, notes: list[str]) -> np.ndarray:
    if "date" not in table.columns:
        notes.append("no dates in the table: the rows count as in order of time")
        return np.arange(len(table))
    date = pd.to_datetime(table["date"], errors="coerce")
    if date.isna().all():
        notes.append("no dates in the table: the rows count as in order of time")
        return np.arange(len(table))
    if date.isna().any():
        lost = ", ".join(brew_labels(table)[date.isna().to_numpy()])
        notes.append(f"no date: brews {lost} count as brewed right after the row before them")
        date = date.ffill().bfill()
    return np.argsort(date.to_numpy(), kind="stable")


def _words(frame: pd.DataFrame, name: str, allowed: tuple[str, ...], notes: list[str]) -> np.ndarray:
    if name not in frame.columns:
        return np.full(len(frame), "", dtype="<U8")
    words = frame[name].astype("string").str.strip().str.lower().fillna("").to_numpy(dtype=str)
    for row in np.flatnonzero([word not in ("", *allowed) for word in words]):
        notes.append(
            f"column {name}, brew {brew_labels(frame)[row]}: found {_shown(words[row])}, "
            f"expected {' or '.join(allowed)}; treated as not recorded"
        )
    return np.where(np.isin(words, allowed), words, "")


def _response_sd(frame: pd.DataFrame, response: str, notes: list[str]) -> np.ndarray:
    name = f"{response}_sd"
    u = as_numbers(frame, name)[0].to_numpy() if name in frame.columns else np.full(len(frame), np.nan)
    u = np.where(u >= 0, u, np.nan)
    lost = int(np.isnan(u).sum())
    if lost:
        known = u[~np.isnan(u)]
        usual = float(np.median(known)) if len(known) else EFFICIENCY_SD
        notes.append(f"{lost} of {len(u)} brews state no uncertainty of their {response}: {usual:.2g} points assumed")
        u = np.where(np.isnan(u), usual, u)
    return u


def _tight_sd(frame: pd.DataFrame, tight: np.ndarray, notes: list[str]) -> np.ndarray:
    u = as_numbers(frame, "hold_rms_sd")[0].to_numpy() if "hold_rms_sd" in frame else np.full(len(frame), np.nan)
    u = np.where(u >= 0, u, np.nan)
    if not np.isnan(u).any():
        return u
    bias = as_numbers(frame, "hold_bias")[0].to_numpy() if "hold_bias" in frame else np.full(len(frame), np.nan)
    share = np.where(np.isnan(bias), 1.0, np.minimum(np.abs(bias) / tight, 1.0))
    usual = np.sqrt((share * PROBE_SD) ** 2 + READING_SD**2)
    notes.append(
        f"{int(np.isnan(u).sum())} of {len(u)} brews state no uncertainty of their tightness: a probe good to "
        f"{PROBE_SD} K from brew to brew assumed"
    )
    return np.where(np.isnan(u), usual, u)


def shrink(tight: np.ndarray, sd: np.ndarray, group: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Draw each tightness towards the mean of its control sensor, the more the less certain it is.

    Parameters
    ----------
    tight, sd : numpy.ndarray
        Tightness and its standard uncertainty. [K]
    group : numpy.ndarray
        Control sensor of each brew.

    Returns
    -------
    numpy.ndarray, numpy.ndarray
        Drawn values [K] and the variance that is left [K^2].

    Notes
    -----
    lambda = w2 / (w2 + u^2), w2 = max(var - mean u^2, 0.05 var, 1e-4) within the group. A group of one stays as it is.
    """
    drawn, left = tight.copy(), sd**2
    for word in np.unique(group):
        inside = group == word
        if inside.sum() < 2:
            continue
        u2 = sd[inside] ** 2
        variance = tight[inside].var(ddof=1)
        between = max(variance - u2.mean(), 0.05 * variance, 1e-4)
        share = between / (between + u2)
        mean = tight[inside].mean()
        drawn[inside] = mean + share * (tight[inside] - mean)
        left[inside] = share * u2
    return drawn, left


def _columns(
    table: pd.DataFrame,
    order: np.ndarray,
    covariates: Sequence[Covariate],
    own: dict[str, pd.Series],
    control: np.ndarray,
    notes: list[str],
) -> tuple[Column, ...]:
    scale = _batch_scale(table, notes).iloc[order].to_numpy()
    columns = []
    for item in covariates:
        if item.name in own:
            values = own[item.name].to_numpy()[order]
        elif item.name in table.columns:
            numbers, said = as_numbers(table, item.name)
            notes += said
            values = numbers.to_numpy()[order]
        else:
            values = np.full(len(order), np.nan)
        absurd = np.isfinite(values) & ~((values >= item.low) & (values <= item.high))
        for row in np.flatnonzero(absurd):
            notes.append(
                f"column {item.name}, brew {brew_labels(table)[order][row]}: found {values[row]:.4g}, expected "
                f"{item.low:g} to {item.high:g}; treated as not recorded"
            )
        values = np.where(absurd, np.nan, values) / item.step
        if item.batch:
            values = values * scale
        if np.isnan(values).all():
            notes.append(f"{item.words} was never recorded: it is not in the model, and could hide behind tightness")
            continue
        if np.nanmax(values) == np.nanmin(values) and not np.isnan(values).any():
            notes.append(f"{item.words} never changed: it cannot explain a difference and is not in the model")
            continue
        columns.append(fill(item, values, control))
    return tuple(columns)


def _batch_scale(table: pd.DataFrame, notes: list[str]) -> pd.Series:
    """Factor that brings a brew's masses and volumes to a planned pre-boil volume of 20 L."""
    nothing = pd.Series(np.nan, index=table.index)
    if not {"planned_volume", "pre_boil_volume"} & set(table.columns):
        notes.append(NO_VOLUME)
        return nothing.fillna(1.0)
    rig = table["rig"].astype("string").fillna("") if "rig" in table else pd.Series("", index=table.index)
    planned = as_numbers(table, "planned_volume")[0] if "planned_volume" in table else nothing
    seen = as_numbers(table, "pre_boil_volume")[0] if "pre_boil_volume" in table else nothing
    planned, seen = planned.where(planned > 0), seen.where(seen > 0)
    volume = planned
    if volume.isna().any():
        for candidate in (planned, seen):
            volume = volume.fillna(candidate.groupby(rig).transform("median"))
        volume = volume.fillna(volume.median())
    if volume.isna().any():
        if {"grist", "sparge"} & set(table.columns):
            notes.append(NO_VOLUME)
        return pd.Series(1.0, index=table.index)
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
    for word in np.unique(control):
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
