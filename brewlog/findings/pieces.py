"""Pieces of a change: what each column of the one fit makes of the difference between two periods."""

from __future__ import annotations

import numpy as np
import pandas as pd

from brewlog.findings.cells import texts
from brewlog.findings.effects import Effect, control_changes
from brewlog.findings.model import Fit
from brewlog.findings.relation import Relation

PIECES = ["estimate", "low", "high", "before", "after", "unit", "what"]


def pieces_of(fit: Fit, before: np.ndarray, after: np.ndarray, loose: Fit | None = None) -> pd.DataFrame:
    """Coefficient times the change of its column's mean, one row per column: see `Change.pieces`.

    With `loose`, the same fit under wider priors, a range reaches as far as that of either fit: the settings changed
    with the sensor, so a setting whose effect is unlike what was assumed would else be told too narrowly.
    """
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
        known = [one.posterior.along(contrast, float(one.squares[members[0]]) * extra) for one in (fit, loose) if one]
        lows, highs = zip(*(one.interval() for one in known), strict=True)
        found[name] = (known[0].mean, min(lows), max(highs), *_means(fit, name, before, after))
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


def noise_of(
    table: pd.DataFrame, relation: Relation, before: np.ndarray, after: np.ndarray
) -> tuple[float, tuple[str, ...]]:
    """What measuring error alone would make of the difference [points], and a note where an instrument changed."""
    u = relation.rows.response_sd
    variance = sum(float((u[side] ** 2).sum()) / int(side.sum()) ** 2 for side in (before, after))
    notes: tuple[str, ...] = ()
    if "instruments" in table.columns:
        used = texts(table, "instruments")[relation.rows.source]
        usual = [max(sorted(set(words)), key=words.count) for words in (used[before].tolist(), used[after].tolist())]
        first, second = (set(words.split(", ")) for words in usual)
        if all(usual) and not (first <= second or second <= first):
            variance += sum(float((u[side] ** 2).mean()) for side in (before, after))
            notes = (
                f"the instruments changed between the periods ({usual[0]}, then {usual[1]}): an offset that all "
                "readings of one of them share does not cancel and is in the noise",
            )
    return 2.0 * variance**0.5, notes


def control_of(relation: Relation) -> pd.DataFrame | None:
    """Effect of moving the control sensor, and the part of it that goes through tightness. [points]"""
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
