"""`explain_change`: the difference between two periods, in pieces."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from brewlog.findings import sentences
from brewlog.findings.periods import select
from brewlog.findings.pieces import PIECES, control_of, noise_of, pieces_of
from brewlog.findings.relating import relate
from brewlog.findings.relation import Relation
from brewlog.findings.result import Result
from brewlog.findings.sentences import join, points
from brewlog.findings.verdict import MATTERS
from brewlog.findings.where import where_changed
from brewlog.plain import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True)
class Change(Result):
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

    def to_dict(self) -> dict[str, Any]:
        """Return the change as plain Python values, ready for JSON; missing is None. [points]"""
        names = ["response", "sentence", "before", "after", "counts", "total", "pieces", "unexplained", "noise"]
        names += ["where", "control", "reason", "notes"]
        return {name: plain(getattr(self, name)) for name in names}


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
    means that were filled or are uncertain, and reaches as far as with the priors of covariates and trend twice as
    wide. noise = 2 sqrt(sum u^2 / n_b^2 + sum u^2 / n_a^2); where the instrument
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
    pieces = pieces_of(relation.fit, sides[0], sides[1], relation.loose)
    total = float(rows.response[sides[1]].mean() - rows.response[sides[0]].mean())
    noise, notes = noise_of(table, relation, *sides)
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
        control=control_of(relation),
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
