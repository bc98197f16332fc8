"""Two brews side by side: what each reached, and the difference with its range."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from brewlog.figures.decimals import decimals
from brewlog.report.review import BrewReview, as_html, review_brew
from brewlog.report.words import value_of
from brewlog.wort.result import DEFINITIONS

if TYPE_CHECKING:
    from brewlog.logbook import Logbook
    from brewlog.rig import RigFit

INDEPENDENT = (
    "The range takes the errors of the two days as independent. What both share (one instrument, one malt analysis) "
    "cancels in the difference, so that the true range is narrower where both were measured alike."
)

TIGHTNESS = "tightness (rms distance of the bed from its rests; less is tighter)"


@dataclass(frozen=True)
class Comparison:
    """Two brews of one logbook, and their differences."""

    first: BrewReview
    second: BrewReview

    @property
    def differences(self) -> pd.DataFrame:
        """One row per number that a brew can have: `first`, `second`, `difference`, `sd`, `low`, `high`, `unit`.

        The difference is second minus first; `low` and `high` are its 95 % range. Missing numbers are NaN.
        """
        rows = {name: difference(one, other) | {"unit": unit} for name, unit, one, other in self._numbers()}
        return pd.DataFrame.from_dict(rows, orient="index")

    def _numbers(self) -> list[tuple[str, str, Any, Any]]:
        one, other = self.first.balance, self.second.balance
        found = [
            ("pre_boil_gravity", "SG", one.gravity.get("pre-boil"), other.gravity.get("pre-boil")),
            ("pre_boil_volume", "L", one.volume.get("pre-boil"), other.volume.get("pre-boil")),
        ]
        found += [(name, "%", getattr(one, name), getattr(other, name)) for name in DEFINITIONS]
        return [*found, ("hold_rms", "K", held_value(self.first), held_value(self.second))]

    @property
    def sentences(self) -> tuple[str, ...]:
        """The differences of efficiency and of tightness in plain words."""
        table = self.differences
        response = next(
            (name for name in ("brewhouse", "mash") if math.isfinite(table.loc[name, "difference"])),  # type: ignore[arg-type]
            "brewhouse",
        )
        return (
            difference_sentence(self, response, f"{response} efficiency", "points"),
            difference_sentence(self, "hold_rms", TIGHTNESS, "K"),
        )

    def to_dict(self) -> dict[str, Any]:
        """Both brews and their differences as plain values ready for JSON; missing is None."""
        rows = {
            str(name): {
                key: value if isinstance(value, str) or math.isfinite(value) else None for key, value in row.items()
            }
            for name, row in self.differences.to_dict("index").items()
        }
        return {"first": self.first.brew.label, "second": self.second.brew.label, "differences": rows}

    def _repr_html_(self) -> str:
        return as_html(self.sentences, self.first.units)


def held_value(review: BrewReview) -> Any:
    """Tightness of a brew with its uncertainty; None where it is not known. [K]"""
    from uncertainties import ufloat

    overall = review.held.overall
    if overall["hold_from"] is None:
        return None
    return ufloat(overall["hold_rms"], overall["hold_rms_sd"])


def difference(first: Any, second: Any) -> dict[str, float]:
    """Second minus first with its 95 % range, errors taken as independent.

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> difference(ufloat(70, 3), ufloat(75, 4))["sd"]
    5.0
    """
    (one, one_sd), (other, other_sd) = value_of(first), value_of(second)
    row = dict.fromkeys(("first", "second", "difference", "sd", "low", "high"), math.nan)
    row["first"] = math.nan if one is None else one
    row["second"] = math.nan if other is None else other
    if one is not None and other is not None:
        sd = math.hypot(one_sd or 0.0, other_sd or 0.0)
        middle = other - one
        row |= {"difference": middle, "sd": sd, "low": middle - 1.96 * sd, "high": middle + 1.96 * sd}
    return row


def difference_sentence(pair: Comparison, name: str, words: str, unit: str) -> str:
    """One difference in plain words; says so where the readings cannot tell the two brews apart."""
    one, other = pair.first.brew.label, pair.second.brew.label
    row: Any = pair.differences.loc[name]
    if not math.isfinite(row["difference"]):
        lacking = [label for label, key in ((one, "first"), (other, "second")) if not math.isfinite(row[key])]
        return f"The {words} of {' and '.join(lacking)} is not known, so the two cannot be compared in it."
    places = decimals(float(row["sd"]), float(row["difference"]))
    low, high = sorted((abs(row["low"]), abs(row["high"])))
    if row["low"] <= 0 <= row["high"]:
        ends = f"{row['low']:.{places}f} to {row['high']:.{places}f} {unit}".replace("-", "−")
        return f"In {words} the readings cannot tell {other} from {one}: the difference is {ends} (95 % range)."
    more = "more" if row["difference"] > 0 else "less"
    size = f"{abs(row['difference']):.{places}f} ({low:.{places}f} to {high:.{places}f}) {unit}"
    return f"In {words} brew {other} has {size} {more} than {one} (95 % range)."


def compare_brews(book: Logbook, first: str, second: str, fits: Mapping[str, RigFit] | None = None) -> Comparison:
    """Put two brews of a logbook side by side.

    Parameters
    ----------
    book : Logbook
    first, second : str
        Labels of the brews.
    fits : mapping of str to RigFit, optional
        Constants by rig; calibrated here when None.

    Returns
    -------
    Comparison

    Raises
    ------
    KeyError
        If the logbook has no such brew; the nearest label is named.
    ValueError
        If both labels are the same.
    """
    check_pair(book, first, second)
    return Comparison(review_brew(book, first, fits), review_brew(book, second, fits))


def check_pair(book: Logbook, first: str, second: str) -> None:
    """Refuse labels that are not there, and a brew beside itself.

    Raises
    ------
    KeyError
        If the logbook has no such brew.
    ValueError
        If both labels are the same.
    """
    for label in (first, second):
        _ = book.brews[label]
    if first == second:
        raise ValueError(f"brew {first!r} cannot be compared with itself; expected two labels.")
