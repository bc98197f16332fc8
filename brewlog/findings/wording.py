"""Sentences of a relation: what the log says of tightness, and of moving the control sensor."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brewlog.findings import sentences
from brewlog.findings.effects import control_changes
from brewlog.findings.model import Fit
from brewlog.findings.notes import culprit_words, moves_sentence
from brewlog.findings.power import MOST_PAIRS, pairs_chance, pairs_for_chance
from brewlog.findings.sentences import kelvin, points
from brewlog.findings.verdict import rival

if TYPE_CHECKING:
    from brewlog.findings.relation import Relation

WANTED_EFFECT = 2.0
"""Effect that the sentence plans for where the log cannot settle it. [points]"""
WANTED_CHANCE = 0.8


def relation_sentence(relation: Relation) -> str:
    """The finding in plain words."""
    template = sentences.RELATION[relation.verdict]
    if relation.refused is not None:
        reason, help_ = relation.refused
        return template.format(response=relation.response, reason=reason, help=help_)
    fit, sides, gain = relation.fit, relation.sides, relation.gain
    assert fit is not None
    assert sides is not None
    low, high = gain.low, gain.high
    values: dict[str, object] = {
        "n": relation.n,
        "response": relation.response,
        "tight": kelvin(relation.rows.tight[sides.tight].mean()),
        "loose": kelvin(relation.rows.tight[~sides.tight].mean()),
        "gain": points(gain.estimate),
        "low": points(low),
        "high": points(high),
        "loss": points(-gain.estimate),
        "less_low": points(-high),
        "less_high": points(-low),
        "allowed": _allowed(fit),
        "rests_on": sentences.join(relation.rests_on),
    }
    if relation.verdict == "not settled":
        scatter = fit.pair_scatter
        pairs = pairs_for_chance(WANTED_EFFECT, scatter, WANTED_CHANCE) or MOST_PAIRS
        hardest = "" if relation.culprit is None else sentences.HARDEST.format(culprit=culprit_words(fit))
        chance = pairs_chance(pairs, WANTED_EFFECT, scatter)
        values |= {"hardest": hardest, "brews": 2 * pairs}
        values |= {"effect": f"{WANTED_EFFECT:.0f}", "chance": f"{100 * chance:.0f}"}
        if low > 0:
            found = rival(fit)
            assert found is not None
            template = sentences.COINCIDES
            values |= {"rival": found.words, "worth": points(found.points), "when": _moved(fit)}
    text = template.format(**values)
    if relation.verdict != "supported":
        move = moves_sentence(fit)
        text += f" {move}" if move else ""
    return text


def _moved(fit: Fit) -> str:
    """When the control sensor was moved for good, in words."""
    moves = fit.design.moves
    if len(moves) == 1:
        return f"once ({moves[0].when})"
    return f"once on each rig ({sentences.join([move.name.removeprefix('step ') for move in moves])})"


def _allowed(fit: Fit) -> str:
    words = [column.words for column in fit.rows.columns]
    kinds = {"trend": "steady learning", "rig": "the rig", "step": "what may have come unwritten with the move"}
    words += [word for kind, word in kinds.items() if kind in fit.design.kinds]
    words += ["the mash programme"] if (fit.rows.programme != "").any() else []
    return sentences.join(words)


def control_sentence(relation: Relation) -> str:
    """What moving the control sensor does, in plain words."""
    if relation.control_effect.distribution is None:
        return sentences.CONTROL_UNKNOWN.format(reason=relation.control_effect.reason)
    caused = set(control_changes(relation.rows) or {}) & {"mash_time", "mash_out"}
    words = [word for name, word in (("mash_time", "mash time"), ("mash_out", "mash-out")) if name in caused]
    return sentences.CONTROL.format(
        gain=points(relation.control_effect.estimate),
        low=points(relation.control_effect.low),
        high=points(relation.control_effect.high),
        response=relation.response,
        caused=f", and what it does to {sentences.join(words)}" if words else "",
        bound=_bound(relation),
    )


def _bound(relation: Relation) -> str:
    """The same with whatever else came unwritten with the move; said in words where the digits are the same."""
    if relation.fit is not None and not relation.fit.design.moves:
        return sentences.CONTROL_NO_STEP
    effect, bound = (
        {"gain": points(one.estimate), "low": points(one.low), "high": points(one.high)}
        for one in (relation.control_effect, relation.control_bound)
    )
    return sentences.CONTROL_SAME if effect == bound else sentences.CONTROL_BOUND.format(**bound)


def mill_sentence(relation: Relation) -> str:
    """What a finer mill gap went with, in plain words; empty where the gap is not in the model."""
    fit = relation.fit
    column = next((one for one in relation.rows.columns if one.name == "mill_gap"), None)
    if fit is None or column is None:
        return ""
    finer = -0.1  # [mm]
    low, high = sorted(finer * relation.conf_int().loc["mill_gap"].to_numpy(dtype=float))
    gaps = (column.values + column.centre)[~column.filled]
    place = fit.design.index("mill_gap")
    sd = abs(finer) * float(fit.design.sd[place])
    gain, usual = (
        f"{float(points(value)):+.1f}"
        for value in (finer * relation.params["mill_gap"], finer * fit.design.mean[place])
    )
    return sentences.MILL.format(
        gain=gain,
        low=points(low),
        high=points(high),
        response=relation.response,
        verdict=sentences.MILL_OPEN if low <= 0 <= high else "",
        finest=f"{gaps.min():.2f}",
        widest=f"{gaps.max():.2f}",
        usual=sentences.MILL_USUAL.format(usual=usual, sd=points(sd)) if np.isfinite(sd) else "",
    )
