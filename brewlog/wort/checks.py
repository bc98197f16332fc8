"""What the account says about its own readings: the test of the whole, each reading's adjustment, plausibility."""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite, nan, sqrt
from typing import Any

import numpy as np
import pandas as pd

from brewlog.logbook.records import Brew, Rig
from brewlog.sucrose import sg_from_extract_float
from brewlog.wort.books import Books
from brewlog.wort.datum import Datum
from brewlog.wort.judgement import Judgement
from brewlog.wort.plausible import plausible
from brewlog.wort.potential import Grist
from brewlog.wort.suspects import ALARM, Suspect

COLUMNS = ("value", "sd", "adjusted", "adjusted_sd", "standardised", "slip", "unit", "p", "verdict")
_COUNT = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_DIGITS = {"L": 1, "SG": 4, "kg": 2}


def account_checks(
    brew: Brew,
    rig: Rig,
    books: Books,
    found: Judgement,
    efficiencies: Mapping[str, Any],
    states: Mapping[str, Any],
    grist: Grist | None,
) -> pd.DataFrame:
    """Table of checks: the whole account, then each reading, then what is not plausible.

    `value` and `adjusted` stand in the row's `unit`; `slip` is what the reading would have to be wrong by to explain
    the misfit alone, `standardised` that slip over its sd.
    """
    rows: dict[str, dict[str, Any]] = {"whole account": _whole(books, found)}
    size, sd, gain = found.test.slips()
    named = {suspect.name for suspect in found.suspects}
    for datum, state in zip(books.data, books.states, strict=True):
        tested = isfinite(size[state])
        adjusted = float(found.final.state[state])
        shown = float(sg_from_extract_float(np.array(adjusted))) if datum.unit == "SG" else adjusted * datum.per_value
        rows[datum.name] = {
            "value": datum.shown if datum.unit == "SG" else datum.value * datum.per_value,
            "sd": datum.sd * abs(datum.per_value),
            "adjusted": shown,
            "adjusted_sd": found.widen * float(np.linalg.norm(found.final.errors[state])) * abs(datum.per_value),
            "standardised": float(size[state] / sd[state]) if tested else nan,
            "slip": float(size[state]) * datum.per_value if tested else nan,
            "unit": datum.unit,
            "verdict": _verdict(datum, named, tested, float(gain[state])),
        }
    rows |= plausible(brew, rig, efficiencies, states, grist)
    frame = pd.DataFrame.from_dict(rows, orient="index", columns=list(COLUMNS))
    frame.index.name = "check"
    return frame


def _verdict(datum: Datum, named: set[str], tested: bool, gain: float) -> str:
    """What the account says of one datum."""
    if datum.name in named:
        alone = len(named) == 1
        if datum.is_reading:
            return "most likely wrong" if alone else "may be wrong"
        return "unlike earlier brews" if alone else "may be unlike earlier brews"
    if not tested:
        return "not checked by any other reading"
    return "fits" if gain < 9.0 else "fits badly"


def _whole(books: Books, found: Judgement) -> dict[str, Any]:
    """Test of the whole account, and the sentence that goes with it."""
    test, suspects = found.test, found.suspects
    row: dict[str, Any] = {"unit": "chi-square"}
    if test.df == 0:
        missing = [
            words
            for state, words in (
                ("post_volume", "post-boil volume"),
                ("post_extract", "post-boil gravity"),
                ("fermenter_extract", "fermenter gravity"),
            )
            if state not in books.read
        ]
        told = f": {' and '.join(missing[:2])} would check the others" if missing else ""
        return row | {"verdict": f"cannot tell: no reading checks another{told}"}
    row |= {"value": test.chi_square, "sd": sqrt(2.0 * test.df), "p": test.p_value}
    degrees = f"{test.df} degree{'s' if test.df > 1 else ''} of freedom"
    result = f"chi-square {test.chi_square:.1f} at {degrees}, {_p(test.p_value)}"
    if test.p_value >= ALARM:
        return row | {"verdict": f"the readings fit together: {result}"}
    if not suspects:
        return row | {"verdict": f"the account does not close, and no single reading explains it: {result}"}
    names = [describe_slip(suspect, books) for suspect in suspects]
    if len(names) == 1:
        if not _datum(suspects[0], books).is_reading:
            return row | {"verdict": f"{names[0]}; the readings of this brew agree with each other: {result}"}
        size, _, _ = test.slips()
        checked = [isfinite(size[state]) for state in books.states]
        others = sum(datum.is_reading and told for datum, told in zip(books.data, checked, strict=True)) - 1
        return row | {"verdict": f"{names[0]} for the other {_count(others)} readings: {result}"}
    readings = [suspect.name for suspect in suspects if _datum(suspect, books).is_reading]
    decide = (
        f"{found.decider} would decide"
        if found.decider
        else f"a second reading of {' or '.join(readings)} would decide"
    )
    return row | {"verdict": f"either {', or '.join(names)}: {result}. They explain it about equally well; {decide}"}


def describe_slip(suspect: Suspect, books: Books) -> str:
    """What a suspect reads too high or too low, in its own unit; for a rig's constant, how this brew differs."""
    datum = _datum(suspect, books)
    size = suspect.slip * datum.per_value
    digits = _DIGITS.get(datum.unit, 2)
    unit = "" if datum.unit == "SG" else f" {datum.unit}"
    amount = f"{abs(size):.{digits}f}{unit}"
    if datum.is_reading:
        return f"{datum.name} reads {amount} too {'high' if size > 0 else 'low'}"
    return f"{datum.name} was {amount} {'less' if size > 0 else 'more'} than in earlier brews"


def _datum(suspect: Suspect, books: Books) -> Datum:
    return next(datum for datum in books.data if datum.name == suspect.name)


def _p(value: float) -> str:
    return "p < 0.001" if value < 0.001 else f"p = {value:.3f}" if value < 0.1 else f"p = {value:.2f}"


def _count(number: int) -> str:
    return _COUNT[number] if 0 <= number < len(_COUNT) else str(number)
