"""What the words on the pages mean: the names of results in plain English, from `names.csv`."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import cache

from brewlog.figures.units import UnitChoice
from brewlog.logbook.layout import CHANNELS, FILES
from brewlog.quantities import names
from brewlog.report.blocks import Folded, Listing

SAID = {"hold_rms": "tightness", "hold_bias": "mean deviation", "hold_sd": "sd", "lead": "base lead"}
"""Names that pages write otherwise than with blanks for `_`."""
_WORD = re.compile(r"\b[a-z]+(?:_[a-z]+)+\b(?!\.csv)")


def said(name: str) -> str:
    """How pages write the name of a result.

    Examples
    --------
    >>> said("hold_rms"), said("mill_gap")
    ('tightness', 'mill gap')
    """
    return SAID.get(name, name.replace("_", " "))


@cache
def words_of_names() -> Mapping[str, str]:
    """How pages write the names of results; a name that a brewer writes into a file stays as it stands there."""
    written = {column.name for file in FILES for column in file.columns} | set(CHANNELS)
    return {name: said(name) for name in names() if "_" in name and name not in written}


def plain_names(text: str) -> str:
    """A sentence with the names of results as words.

    Examples
    --------
    >>> plain_names("no hold_rms; log base_temp in water_tests.csv: that tells heat_loss")
    'no tightness; log base_temp in water_tests.csv: that tells heat loss'
    """
    known = words_of_names()
    return _WORD.sub(lambda found: known.get(found[0], found[0]), text)


def meanings(wanted: Iterable[str], choice: UnitChoice, title: str = "What these words mean") -> Folded:
    """What some names mean, folded away.

    Parameters
    ----------
    wanted : iterable of str
        Names of `names.csv`; others are passed over.
    choice : UnitChoice
    title : str
    """
    known = names()
    items = [
        f"{said(name)}: "
        f"{choice.in_words(known[name].meaning.removeprefix('tightness: ').removeprefix('mash efficiency: '))}"
        for name in wanted
        if name in known
    ]
    return Folded(title, (Listing(tuple(items)),))
