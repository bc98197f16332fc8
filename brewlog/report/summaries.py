"""Longer texts about results (the account, a rig's fit, the findings) in the reader's units."""

from __future__ import annotations

import re
from dataclasses import replace

import pandas as pd

from brewlog.figures.units import UnitChoice
from brewlog.findings import Change, Experiment, Relation
from brewlog.report.words import folded_lines, signs
from brewlog.rig import RigFit
from brewlog.wort import ExtractBalance

_IN_UNIT = re.compile(r"(?P<per>points per )?(?P<unit>K|kg|L/kg|L)(?P<at> at [\d.]+ L)?")


def summary_in(result: RigFit | Relation | Change | Experiment | ExtractBalance, units: str = "metric") -> str:
    """`summary()` of a result in the reader's units, its sentences folded into lines.

    Parameters
    ----------
    result : RigFit, Relation, Change, Experiment or ExtractBalance
    units : str
        `metric` or `us`.

    Returns
    -------
    str
        For a fixed pitch.

    Raises
    ------
    ValueError
        If `units` is another word.
    """
    choice = UnitChoice(units)
    if isinstance(result, RigFit):
        result = replace(result, constants=choice.frame(result.constants))
    elif isinstance(result, Change):
        result = replace(result, pieces=pieces_in(result.pieces, choice))
    text = relation_text(result, choice) if isinstance(result, Relation) else result.summary()
    return folded_lines(signs(choice.in_words(text)))


def worded_unit(unit: str, choice: UnitChoice) -> tuple[float, str]:
    """Factor from a unit of the findings to the one shown, and how that is written.

    Examples
    --------
    >>> worded_unit("points per K", UnitChoice("us"))[1], worded_unit("kg at 20 L", UnitChoice("us"))[1]
    ('points per °F', 'lb at 5.3 gal')
    >>> worded_unit("10 min", UnitChoice("us"))
    (1.0, '10 min')
    """
    found = _IN_UNIT.fullmatch(unit)
    factor = None if found is None else choice.scale(1.0, found["unit"])
    if found is None or factor is None or choice.shown(found["unit"]) == found["unit"]:
        return 1.0, unit
    words = f"{found['per'] or ''}{choice.sign(found['unit'])}{choice.in_words(found['at'] or '')}"
    return (1 / factor if found["per"] else factor), words


def pieces_in(pieces: pd.DataFrame, choice: UnitChoice) -> pd.DataFrame:
    """Pieces of a change with the settings before and after in the units shown; the pieces themselves are points."""
    shown = pieces.copy()
    if len(pieces):
        told = [worded_unit(str(unit), choice) for unit in pieces["unit"]]
        for name in ("before", "after"):
            shown[name] = pieces[name].astype(float) * [factor for factor, _ in told]
        shown["unit"] = [words for _, words in told]
    return shown


def relation_text(relation: Relation, choice: UnitChoice) -> str:
    """`Relation.summary()` with its coefficients in the units shown; its sentences are still to be converted."""
    text = relation.summary()
    if relation.fit is None or choice.system == "metric":
        return text
    design = relation.fit.design
    told = [worded_unit(str(relation.units.get(name, "")), choice) for name in relation.params.index]
    factors = pd.Series([factor for factor, _ in told], index=relation.params.index)
    table = relation.conf_int().mul(factors, axis=0)
    table.insert(0, "estimate", relation.params * factors)
    table["unit"] = [words for _, words in told]
    priors = zip(design.mean * factors, design.sd * factors, strict=True)
    table["prior"] = [f"{mean:.3g} ± {sd:.3g}" for mean, sd in priors]
    head, _, rest = text.partition("\n\n")
    _, _, rest = rest.partition("\n\n")
    return "\n\n".join([head, table.to_string(float_format="{:.2f}".format), rest])
