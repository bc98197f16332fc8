"""`explain_change`: the difference between two periods, in pieces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from brewlog.findings import sentences
from brewlog.findings.model import Fit
from brewlog.findings.relation import Relation, relate
from brewlog.findings.sentences import join, points
from brewlog.findings.verdict import MATTERS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PIECES = ["estimate", "low", "high", "before", "after", "unit", "what"]


@dataclass(frozen=True)
class Change:
    """What the difference of an efficiency between two periods is made of. Points are percentage points."""

    response: str
    before: str
    """The period, in words."""
    after: str
    counts: tuple[int, int]
    """Usable brews before and after."""
    total: float
    """Mean after minus mean before, as measured. [points]"""
    pieces: pd.DataFrame
    """One row per column of the model: estimate, low, high [points], means of both periods in `unit`, what it is."""
    unexplained: float
    """`total` minus the sum of the pieces. [points]"""
    noise: float
    """What measuring error alone would make: two standard deviations. [points]"""
    relation: Relation
    """The one fit behind all pieces."""
    where: pd.DataFrame | None = None
    """Part of the change in conversion and in lauter, in points of mash efficiency; None where it cannot be told."""
    control: pd.DataFrame | None = None
    """Moving the control sensor as a whole, and the part of it that goes through tightness. [points]"""
    reason: str | None = None
    """Why nothing is said."""
    notes: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """The change in plain words, the largest piece first."""
        return _sentence(self)

    def summary(self) -> str:
        """The sentence, the pieces, and the notes."""
        lines = [self.sentence, ""]
        if len(self.pieces):
            lines += [self.pieces.to_string(float_format="{:.2f}".format), ""]
        for name in ("where", "control"):
            frame = getattr(self, name)
            if frame is not None:
                lines += [frame.to_string(float_format="{:.2f}".format), ""]
        lines += [f"[{number}] {note}" for number, note in enumerate(self.notes, start=1)]
        return "\n".join(lines)

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the pieces with their 95 % ranges, and what is unexplained; return the Axes drawn on."""
        from brewlog.figures import plot_change

        return plot_change(self, ax=ax)

    def __str__(self) -> str:
        return self.sentence

    def _repr_html_(self) -> str:
        return f"<p>{escape(self.sentence)}</p>"


def explain_change(
    table: pd.DataFrame,
    before: Any,
    after: Any,
    response: str = "brewhouse",
    relation: Relation | None = None,
) -> Change:
    """Explain the change of an efficiency between two periods, piece by piece.

    Parameters
    ----------
    table : pandas.DataFrame
        As from `brew_table`.
    before, after : str, (start, end) or boolean Series
        A control word (`base` or `mash`), a range of dates with both ends in it (None = open), or a condition on the
        rows of the table. The two must not share a brew.
    response : str
        `brewhouse`, `mash`, `conversion` or `lauter`.
    relation : Relation, optional
        From `relate` on the same table, for example with own columns; made with its defaults where not given.

    Returns
    -------
    Change

    Raises
    ------
    ValueError
        If a period cannot be read, holds no brew of the table, or shares brews with the other.

    Notes
    -----
    piece_k = b_k x (mean after - mean before), all from one fit, so no order matters; the interval carries b_k and the
    means that were filled or are uncertain. noise = 2 sqrt(sum u^2 / n_b^2 + sum u^2 / n_a^2); where the instrument
    changed between the periods, what all its readings share no longer cancels and joins the noise.

    Examples
    --------
    >>> import pandas as pd
    >>> few = pd.DataFrame({"brewhouse": [70.0, 73.0], "hold_rms": [1.5, 0.4], "control": ["base", "mash"]})
    >>> explain_change(few, "base", "mash").total
    3.0
    """
    if relation is None:
        relation = relate(table, response)
    elif relation.response != response:
        raise ValueError(
            f"the relation is about {relation.response!r} and response is {response!r}; expected the same."
        )
    masks, words = [], []
    for name, period in (("before", before), ("after", after)):
        mask, text = select(table, period, name)
        if not mask.any():
            raise ValueError(f"{name} ({text}) holds no brew of the table.")
        masks.append(mask)
        words.append(text)
    both = int((masks[0] & masks[1]).sum())
    if both:
        raise ValueError(f"before ({words[0]}) and after ({words[1]}) share {both} brews; expected none in both.")
    rows = relation.rows
    sides = [mask[rows.source] for mask in masks]
    counts = (int(sides[0].sum()), int(sides[1].sum()))
    if relation.fit is None or min(counts) < 2:
        return _refused(relation, words, counts, sides)
    pieces = _pieces(relation.fit, *sides)
    total = float(rows.response[sides[1]].mean() - rows.response[sides[0]].mean())
    noise, notes = _noise(table, relation, *sides)
    return Change(
        response=response,
        before=words[0],
        after=words[1],
        counts=counts,
        total=total,
        pieces=pieces,
        unexplained=total - float(pieces["estimate"].sum()),
        noise=noise,
        relation=relation,
        where=where_changed(table, *masks) if response in ("brewhouse", "mash") else None,
        control=_control(relation),
        notes=(*notes, *relation.notes),
    )


def _refused(relation: Relation, words: list[str], counts: tuple[int, int], sides: list[np.ndarray]) -> Change:
    reason = relation.refused[0] if relation.refused else ""
    if relation.fit is not None or not reason:
        reason = f"only {counts[0]} brews before and {counts[1]} after can be used, two of each are needed at least"
    y, u = relation.rows.response, relation.rows.response_sd
    known = min(counts) > 0
    total = float(y[sides[1]].mean() - y[sides[0]].mean()) if known else float("nan")
    noise = (
        2.0 * float(np.sqrt(sum((u[side] ** 2).sum() / side.sum() ** 2 for side in sides))) if known else float("nan")
    )
    empty = pd.DataFrame(columns=PIECES)
    first, second = words
    return Change(relation.response, first, second, counts, total, empty, total, noise, relation, reason=reason)


def select(table: pd.DataFrame, period: Any, name: str) -> tuple[np.ndarray, str]:
    """Rows of the table that belong to a period, and the period in words.

    Raises
    ------
    ValueError
        If the period is neither a control word, nor a range of dates, nor a condition on the rows.
    """
    expected = "expected 'base' or 'mash', a range of dates (start, end), or a true/false Series over the table's rows"
    if isinstance(period, str):
        if period not in ("base", "mash"):
            raise ValueError(f"{name} is {period!r}; {expected}.")
        if "control" not in table.columns:
            raise ValueError(f"{name} is {period!r}, but the table has no column 'control'; {expected}.")
        return (table["control"] == period).fillna(False).to_numpy(dtype=bool), f"{period} control"
    if isinstance(period, pd.Series):
        if period.dtype != bool and str(period.dtype) != "boolean":
            raise ValueError(f"{name} is a Series of {period.dtype}; {expected}.")
        values = period.reindex(table.index) if table.index.is_unique and period.index.is_unique else period
        if len(values) != len(table):
            raise ValueError(f"{name} has {len(values)} rows and the table {len(table)}; {expected}.")
        return values.fillna(False).to_numpy(dtype=bool), f"{name} ({int(values.sum())} brews)"
    if isinstance(period, np.ndarray) and period.dtype == bool:
        if period.shape != (len(table),):
            raise ValueError(f"{name} has shape {period.shape} and the table {len(table)} rows; {expected}.")
        return period, f"{name} ({int(period.sum())} brews)"
    if isinstance(period, Sequence) and len(period) == 2:
        return _between(table, period, name, expected)
    raise ValueError(f"{name} is {period!r}; {expected}.")


def _between(table: pd.DataFrame, period: Sequence[Any], name: str, expected: str) -> tuple[np.ndarray, str]:
    if "date" not in table.columns:
        raise ValueError(f"{name} is a range of dates, but the table has no column 'date'; {expected}.")
    dates = pd.to_datetime(table["date"], errors="coerce")
    mask = dates.notna().to_numpy(copy=True)
    ends = []
    for k, end in enumerate(period):
        if end is None:
            ends.append("")
            continue
        if not isinstance(end, str | date | datetime | np.datetime64):
            raise ValueError(f"{name} is {period!r}; {expected}.")
        try:
            stamp = pd.Timestamp(end)
        except ValueError:
            raise ValueError(f"{name} holds {end!r}, which is no date; {expected}.") from None
        mask &= (dates >= stamp).to_numpy() if k == 0 else (dates <= stamp).to_numpy()
        ends.append(stamp.date().isoformat())
    start, stop = ends
    if not start and not stop:
        return mask, "all dates"
    return mask, f"{start} to {stop}" if start and stop else (f"since {start}" if start else f"up to {stop}")


def _pieces(fit: Fit, before: np.ndarray, after: np.ndarray) -> pd.DataFrame:
    design, rows = fit.design, fit.rows
    difference = design.matrix[after].mean(axis=0) - design.matrix[before].mean(axis=0)
    columns = {column.name: column for column in rows.columns}
    groups: dict[str, list[int]] = {}
    for k, (name, kind) in enumerate(zip(design.names, design.kinds, strict=True)):
        if kind == "intercept":
            continue
        key = "rig" if kind == "rig" else name.removesuffix(" not recorded") if kind == "unlogged" else name
        groups.setdefault(key, []).append(k)
    found = {}
    for name, members in groups.items():
        contrast = np.zeros(len(difference))
        contrast[members] = difference[members]
        variance = np.zeros(rows.n)
        if name == "hold_rms":
            variance = rows.shrunk_variance
        elif name in columns:
            variance = columns[name].variance
        extra = sum(float(variance[side].sum()) / int(side.sum()) ** 2 for side in (before, after))
        known = fit.posterior.along(contrast, float(fit.squares[members[0]]) * extra)
        found[name] = (known.mean, *known.interval(), *_means(fit, name, before, after))
    return pd.DataFrame.from_dict(found, orient="index", columns=PIECES)


def _means(fit: Fit, name: str, before: np.ndarray, after: np.ndarray) -> tuple[float, float, str, str]:
    """Means of a setting in both periods, its unit, and what it is."""
    if name == "hold_rms":
        tight = fit.rows.tight
        return float(tight[before].mean()), float(tight[after].mean()), "K", "tightness of the hold"
    for column in fit.rows.columns:
        if column.name == name:
            values = column.values + column.centre
            return float(values[before].mean()), float(values[after].mean()), column.per, column.words
    if name == "rig":
        return float("nan"), float("nan"), "", "share of brews on each rig"
    if name == "trend":
        trend = fit.design.matrix[:, fit.design.index("trend")] + 0.5
        return float(trend[before].mean()), float(trend[after].mean()), "of the log", "steady learning over time"
    when = name.removeprefix("step ")
    return float("nan"), float("nan"), "", f"whatever came unwritten with the move of the sensor, {when}"


def _noise(
    table: pd.DataFrame, relation: Relation, before: np.ndarray, after: np.ndarray
) -> tuple[float, tuple[str, ...]]:
    u = relation.rows.response_sd
    variance = sum(float((u[side] ** 2).sum()) / int(side.sum()) ** 2 for side in (before, after))
    notes: tuple[str, ...] = ()
    if "instruments" in table.columns:
        used = table["instruments"].astype("string").fillna("").to_numpy(dtype=str)[relation.rows.source]
        usual = [max(sorted(set(words)), key=words.count) for words in (used[before].tolist(), used[after].tolist())]
        first, second = (set(words.split(", ")) for words in usual)
        if all(usual) and not (first <= second or second <= first):
            variance += sum(float((u[side] ** 2).mean()) for side in (before, after))
            notes = (
                f"the instruments changed between the periods ({usual[0]}, then {usual[1]}): an offset that all "
                "readings of one of them share does not cancel and is in the noise",
            )
    return 2.0 * variance**0.5, notes


def where_changed(table: pd.DataFrame, before: np.ndarray, after: np.ndarray) -> pd.DataFrame | None:
    """Split a change of mash efficiency into conversion and lauter.

    Parameters
    ----------
    table : pandas.DataFrame
    before, after : numpy.ndarray of bool

    Returns
    -------
    pandas.DataFrame or None
        Index `conversion`, `lauter`; estimate, low, high in points of mash efficiency. None with fewer than two brews
        of either period that have both efficiencies.

    Notes
    -----
    mash = conversion x lauter; each part is its own change times the mean of the other over both periods, which is the
    average over both orders (Shapley, "A value for n-person games", 1953). The interval is a t interval of the scatter
    between brews (Welch, "The generalization of Student's problem when several different population variances are
    involved", Biometrika 34, 28-35, 1947).
    """
    from scipy import stats

    if any(name not in table.columns for name in ("conversion", "lauter")):
        return None
    pair = table[["conversion", "lauter"]].apply(pd.to_numeric, errors="coerce").to_numpy(dtype=float)
    known = np.isfinite(pair).all(axis=1)
    sides = [pair[known & side] for side in (before, after)]
    if min(len(side) for side in sides) < 2:
        return None
    middle = (sides[0].mean(axis=0) + sides[1].mean(axis=0)) / 2.0
    rows = {}
    for k, name in enumerate(("conversion", "lauter")):
        share = middle[1 - k] / 100.0
        change = share * (sides[1][:, k].mean() - sides[0][:, k].mean())
        parts = [share**2 * side[:, k].var(ddof=1) / len(side) for side in sides]
        freedom = sum(parts) ** 2 / max(
            sum(part**2 / (len(side) - 1) for part, side in zip(parts, sides, strict=True)), 1e-300
        )
        half = float(stats.t.ppf(0.975, max(freedom, 1.0))) * sum(parts) ** 0.5
        rows[name] = (change, change - half, change + half)
    return pd.DataFrame.from_dict(rows, orient="index", columns=["estimate", "low", "high"])


def _control(relation: Relation) -> pd.DataFrame | None:
    from brewlog.findings.effects import Effect, control_changes

    fit = relation.loose
    moved = control_changes(relation.rows)
    if fit is None or moved is None:
        return None
    tight = moved["hold_rms"]
    extra = fit.squares[fit.design.index("hold_rms")] * tight.sd**2
    through = Effect("points", fit.posterior.along(tight.change * fit.slope, float(extra)))
    rows = {
        "moving the control sensor": relation.control_effect,
        "of it, through tightness": through,
        "with what came unwritten": relation.control_bound,
    }
    values = {name: (effect.estimate, *effect.conf_int()) for name, effect in rows.items()}
    return pd.DataFrame.from_dict(values, orient="index", columns=["estimate", "low", "high"])


def _sentence(change: Change) -> str:
    if change.reason is not None:
        return sentences.CHANGE_REFUSED.format(response=change.response, reason=change.reason)
    pieces = change.pieces.reindex(change.pieces["estimate"].abs().sort_values(ascending=False).index)
    told, open_ = [], []
    for what, estimate, low, high in pieces[["what", "estimate", "low", "high"]].to_numpy().tolist():
        if low > 0 or high < 0:
            told.append(f"{what} {points(estimate)} ({points(low)} to {points(high)})")
        elif max(abs(low), abs(high)) > MATTERS:
            open_.append(f"{what} ({points(low)} to {points(high)})")
    text = sentences.CHANGE_TELLS.format(pieces=join(told)) if told else sentences.CHANGE_NONE
    if told and open_:
        text += sentences.CHANGE_OPEN.format(pieces=join(open_))
    if abs(change.total) <= change.noise:
        text = sentences.CHANGE_WITHIN + text
    return sentences.CHANGE.format(
        before=change.before,
        after=change.after,
        response=change.response,
        total=points(change.total),
        n_before=change.counts[0],
        n_after=change.counts[1],
        noise=points(change.noise),
        pieces=text,
        unexplained=sentences.UNEXPLAINED.format(unexplained=points(change.unexplained)),
    )
