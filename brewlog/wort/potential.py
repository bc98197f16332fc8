"""Extract that a grist could give, with the errors of weighing and of analysis."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from uncertainties import ufloat

from brewlog.logbook.records import Malt
from brewlog.wort.malt import EXTRACT_SD, FINE_COARSE_SD, MOISTURE_SD, SCALE_SD, malt_default

_GRAM = 1e-3  # less malt or extract than this is none [kg]


@dataclass(frozen=True, slots=True)
class Grist:
    """What the malts of a brew bring."""

    grist: float
    """Mass of all malts as weighed. [kg]"""
    potential: float
    """Fine grind, dry basis, moisture taken off. [kg]"""
    parts: dict[str, float]
    """Change of `potential` for one standard deviation of each source. [kg]"""
    coarse: float
    """The same by coarse grind. [kg]"""
    coarse_parts: dict[str, float]
    water: float
    """Moisture of the malts. [kg]"""
    water_sd: float
    malt_extract: float
    """Mean fine grind extract on dry basis by mass. [1]"""
    notes: tuple[str, ...]


def weigh_grist(malts: Iterable[Malt]) -> tuple[Grist | None, str | None]:
    """Sum up a grist; None and the reason where there is none.

    A malt without analysis takes the default of its type with a wide standard deviation; a malt without mass makes the
    potential unknown.
    """
    rows = list(malts)
    if not rows:
        return None, "no malts recorded in grist.csv"
    unweighed = [row.malt for row in rows if row.mass is None or not row.mass >= 0]
    if unweighed:
        return None, f"mass not recorded for {', '.join(repr(name) for name in unweighed)}"
    impossible = [
        f"{what} of {row.malt!r} is {value:g}; expected a mass fraction (80 % is 0.8)"
        for row in rows
        for what, value in (("extract", row.malt_extract), ("moisture", row.moisture), ("fine_coarse", row.fine_coarse))
        if value is not None and not -0.05 <= value <= 1.0
    ]
    if impossible:
        return None, "; ".join(impossible)
    grist = sum(row.mass or 0.0 for row in rows)
    if grist < _GRAM:
        return None, "the malts weigh nothing"
    potential = coarse = water = water_var = dry_extract = 0.0
    parts: dict[str, float] = {}
    coarse_parts: dict[str, float] = {}
    assumed: dict[str, list[str]] = {"extract": [], "moisture": []}
    for number, row in enumerate(rows, start=1):
        default = malt_default(row.malt)
        mass = row.mass or 0.0
        fine, fine_sd = (
            (default.malt_extract, default.malt_extract_sd)
            if row.malt_extract is None
            else (row.malt_extract, EXTRACT_SD)
        )
        wet, wet_sd = (default.moisture, default.moisture_sd) if row.moisture is None else (row.moisture, MOISTURE_SD)
        gap, gap_sd = (
            (default.fine_coarse, default.fine_coarse_sd)
            if row.fine_coarse is None
            else (row.fine_coarse, FINE_COARSE_SD)
        )
        if row.malt_extract is None:
            assumed["extract"].append(f"{row.malt} {100 * fine:.1f} ± {100 * fine_sd:.1f} %")
        if row.moisture is None:
            assumed["moisture"].append(f"{row.malt} {100 * wet:.1f} ± {100 * wet_sd:.1f} %")
        dry = mass * (1.0 - wet)
        potential += dry * fine
        coarse += dry * (fine - gap)
        water += mass * wet
        water_var += (mass * wet_sd) ** 2
        dry_extract += mass * fine
        label = f"{row.malt} ({number})" if len(rows) > 1 else row.malt
        parts[f"extract of {label}"] = dry * fine_sd
        parts[f"moisture of {label}"] = -mass * wet_sd * fine
        coarse_parts |= {
            f"extract of {label}": dry * fine_sd,
            f"moisture of {label}": -mass * wet_sd * (fine - gap),
            f"fine-coarse difference of {label}": -dry * gap_sd,
        }
    if not potential >= _GRAM:
        return None, "the malts give no extract by their analysis"
    parts["malt scale"] = SCALE_SD * potential
    coarse_parts["malt scale"] = SCALE_SD * coarse
    notes = tuple(
        f"no {what} analysis recorded; taken from the type of malt: {', '.join(names)}."
        for what, names in assumed.items()
        if names
    )
    return Grist(grist, potential, parts, coarse, coarse_parts, water, water_var**0.5, dry_extract / grist, notes), None


def malt_potential(malts: Iterable[Malt]) -> tuple[Any, tuple[str, ...]]:
    """Extract that malts could give by their laboratory analysis.

    Analyses that are not recorded take the default of the malt's type, with a wide standard deviation and a note. A
    sugar or an adjunct in the grist counts with its own extract.

    Parameters
    ----------
    malts : iterable of Malt
        Malts of one brew, each with its mass. [kg]

    Returns
    -------
    potential : uncertainties.UFloat or None
        Sum of mass x (1 - moisture) x fine grind extract on dry basis; None where it cannot be told. [kg]
    notes : tuple of str
        What was assumed, or the reason for None.

    Notes
    -----
    The error of the scale is shared by all malts, those of the analyses are each malt's own.

    Examples
    --------
    >>> from brewlog.logbook.records import Malt
    >>> potential, notes = malt_potential([Malt("1", "pale malt", 5.0, malt_extract=0.81, moisture=0.04)])
    >>> print(f"{potential:.2f}")
    3.89+/-0.03
    """
    grist, reason = weigh_grist(malts)
    if grist is None:
        return None, (f"{reason}.",)
    return ufloat(grist.potential, sum(part * part for part in grist.parts.values()) ** 0.5), grist.notes
