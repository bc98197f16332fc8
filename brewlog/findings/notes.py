"""Notes under a summary, and remarks on a fit: what was used, filled, assumed, and what cannot be told apart."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from brewlog.findings import sentences
from brewlog.findings.design import Move
from brewlog.findings.model import Fit
from brewlog.findings.sentences import join, kelvin, points
from brewlog.findings.verdict import confusion, rival, settings_moved

if TYPE_CHECKING:
    from brewlog.findings.relation import Relation

WEEK = 7
"""Days around a move in which a written change counts as made with it."""
BESIDE = {
    "trend": "steady learning over time",
    "rig": "which rig was used",
    "step": "anything unwritten that came with the move",
}
"""What is named beside the recorded column where it is harder to tell from tightness."""
CAME_WITH = 0.5
"""Squared correlation with the move above which a setting counts as changed with it."""
TIMES = {2: "twice"}
"""Counts that have a word of their own."""


def culprit_words(fit: Fit) -> str:
    """Recorded column hardest to tell from tightness, and trend and step where they are as hard."""
    values = confusion(fit)
    words = {column.name: column.words for column in fit.rows.columns}
    recorded = {name: value for name, value in values.items() if name.removesuffix(" not recorded") in words}
    if not recorded:
        return "steady learning over time"
    beaten = rival(fit)
    worst = max(recorded, key=recorded.__getitem__) if beaten is None else beaten.name
    named = words[worst.removesuffix(" not recorded")]
    if worst not in words:
        named += ", which one period never recorded"
    kinds = dict(zip(fit.design.names, fit.design.kinds, strict=True))
    harder = {kinds[name] for name, value in values.items() if value > recorded[worst]}
    plain = [words for kind, words in BESIDE.items() if kind in harder]
    return named + (f" (and {join(plain)})" if plain else "")


def written_changes(fit: Fit, moves: Sequence[Move]) -> list[str]:
    """What the brewer wrote as changed within a week of a move; the same words once, with all their brews."""
    found: dict[str, list[str]] = {}
    for row in np.flatnonzero(fit.rows.changes != ""):
        if any(_near(fit, move, int(row)) for move in moves):
            found.setdefault(str(fit.rows.changes[row]), []).append(str(fit.rows.brew[row]))
    return [f"'{text}' (brew{'s' if len(brews) > 1 else ''} {join(brews)})" for text, brews in found.items()]


def _near(fit: Fit, move: Move, row: int) -> bool:
    day = fit.rows.date.iloc[row]
    if move.first_date is not None and not pd.isna(day) and abs((day.date() - move.first_date).days) <= WEEK:
        return True
    return move.last < row <= move.first


def moves_sentence(fit: Fit) -> str:
    """What is known of the lasting moves of the control sensor, and of what changed with them; empty if none."""
    moves = fit.design.moves
    if not moves:
        return ""
    written = join(written_changes(fit, moves))
    wrote = sentences.WROTE.format(changes=written) if written else sentences.NOTHING_WRITTEN
    came = join([found.words for move in moves for found in settings_moved(fit, move, CAME_WITH)])
    wrote += sentences.CAME_WITH.format(columns=came) if came else ""
    if len(moves) == 1:
        rigs = join([rig for rig in moves[0].rigs if rig])
        return sentences.SINGLE_MOVE.format(where=f" on {rigs}" if rigs else "", when=moves[0].when, wrote=wrote)
    when = join([move.name.removeprefix("step ") for move in moves])
    return sentences.MOVES.format(count=TIMES.get(len(moves), f"{len(moves)} times"), when=when, wrote=wrote)


def numbered_notes(relation: Relation) -> tuple[str, ...]:
    """Notes of a relation, in the order in which `summary` numbers them."""
    rows, fit, sides = relation.rows, relation.fit, relation.sides
    notes = [_used(relation)]
    if sides is not None and rows.n >= 2:
        tight, loose = sides.counts
        notes.append(
            f"split at {kelvin(sides.split)} K: {tight} tight and {loose} loose brews; tightness runs over "
            f"{sides.spread:.2f} K between its 10 and 90 % points"
        )
    notes.append(_filled(relation))
    if fit is not None:
        words = {column.name: column.words for column in rows.columns}
        hardest = ", ".join(
            f"{words.get(str(name), name)} {value:.2f}" for name, value in relation.confusion.head(4).items()
        )
        notes.append(
            f"hardest to tell from tightness: {culprit_words(fit)}; squared correlation with the tightness slope: "
            f"{hardest}"
        )
        notes.append(moves_sentence(fit) or sentences.NO_STEP)
        notes.append(relation.control_sentence)
        notes.append(
            f"scatter from brew to brew {points(fit.scatter)} points; mean standard uncertainty of an efficiency "
            f"{points(float(np.sqrt((rows.response_sd**2).mean())))} points"
        )
    notes.append(
        "priors are stated beside each coefficient and can be edited; tightness is left all but free. "
        "Intervals hold if the settings that matter are among the columns or no larger than the step assumed"
    )
    if relation.split is not None:
        notes.append(where_sentence(relation.split))
    return tuple(notes) + rows.notes


def where_sentence(split: pd.DataFrame | None, reason: str = "first-wort gravity was not read often enough") -> str:
    """Where a gain sits, in the mash or in the rinse, in words."""
    if split is None:
        return sentences.WHERE_UNKNOWN.format(reason=reason)
    values: dict[str, str] = {}
    for name in ("conversion", "lauter"):
        estimate, low, high = (float(split[column].to_dict()[name]) for column in ("estimate", "low", "high"))
        values |= {name: points(estimate), f"{name}_low": points(low), f"{name}_high": points(high)}
    lows = split["low"].to_dict()
    mash, rinse = lows["conversion"] > 0, lows["lauter"] > 0
    tail = sentences.WHERE_OPEN
    if mash and not rinse:
        tail = sentences.WHERE_MASH
    elif rinse and not mash:
        tail = sentences.WHERE_RINSE
    return sentences.WHERE.format(**values) + tail


def _used(relation: Relation) -> str:
    left = relation.left_out.value_counts()
    text = f"{relation.n} brews used"
    if len(left):
        text += f"; {int(left.sum())} left out: " + ", ".join(f"{why} ({count})" for why, count in left.items())
    return text


def _filled(relation: Relation) -> str:
    parts = []
    for column in relation.rows.columns:
        if column.filled.any():
            parts.append(f"{column.words} of {int(column.filled.sum())} brews")
    if not parts:
        return "nothing was filled"
    return f"filled, with the variance of what was recorded carried: {', '.join(parts)}"


def diagnose(fit: Fit | None, confused: pd.Series) -> pd.DataFrame:
    """Remarks on a fit: brews that stand far off, correlation of neighbours, what is hard to tell apart."""
    if fit is None:
        return pd.DataFrame(columns=["value", "remark"])
    z = fit.standardised
    far = np.flatnonzero(fit.downweight > 1.0)
    named = join([f"{fit.rows.brew[k]} ({points(fit.residual[k])} points)" for k in far])
    lag = float(np.corrcoef(z[1:], z[:-1])[0, 1]) if len(z) > 3 and z.std() > 0 else float("nan")
    edge = 2.0 / np.sqrt(max(len(z), 1))
    worst = float(confused.iloc[0]) if len(confused) else float("nan")
    rows = {
        "brews far off": (
            float(len(far)),
            f"count for less: {named}; look whether a reading slipped" if len(far) else "none stands far off",
        ),
        "largest standardised residual": (float(np.abs(z).max()), "beyond 2.5 a brew counts for less"),
        "neighbour correlation": (
            lag,
            "neighbouring brews go together more than the model allows for" if abs(lag) > edge else "nothing to see",
        ),
        "hardest to tell apart": (
            worst,
            f"{confused.index[0]} shares {100 * worst:.0f} % of the slope's uncertainty" if len(confused) else "",
        ),
        "scatter": (fit.scatter, "points from brew to brew beside measuring error"),
    }
    return pd.DataFrame.from_dict(rows, orient="index", columns=["value", "remark"])
