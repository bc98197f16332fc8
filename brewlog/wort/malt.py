"""What a grist could give: malt analyses, defaults by malt type, and the strongest first wort."""

from __future__ import annotations

import re
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from brewlog.quantities import to_float


class MaltDefault(NamedTuple):
    """Analysis assumed for a type of malt where none is recorded."""

    kind: str
    malt_extract: float
    """Fine grind, dry basis, mass fraction. [1]"""
    malt_extract_sd: float
    moisture: float
    """Mass fraction. [1]"""
    moisture_sd: float
    fine_coarse: float
    """Fine-coarse difference, dry basis, mass fraction. [1]"""
    fine_coarse_sd: float
    malted: bool = True
    """False: a sugar or an unmalted adjunct."""


MALT_DEFAULTS: tuple[tuple[str, MaltDefault], ...] = (
    # Base malts: 80 to 83 % fine grind dry basis, moisture 3 to 5 %, fine-coarse difference 1.3 to 1.9 % for malts of
    # the usual quality (Master Brewers, malt shipment ranges; common practice, no source). The others, and every sd:
    # common practice, no source. The first row whose words are found in the malt's name counts.
    (r"dextrose|glucose", MaltDefault("dextrose", 1.0, 0.005, 0.09, 0.005, 0.0, 0.0, False)),
    (r"dry (malt )?extract|dme|spray", MaltDefault("dry malt extract", 1.0, 0.01, 0.04, 0.015, 0.0, 0.0, False)),
    (r"extract|syrup", MaltDefault("malt extract syrup", 1.0, 0.01, 0.20, 0.02, 0.0, 0.0, False)),
    (r"honey", MaltDefault("honey", 1.0, 0.01, 0.18, 0.02, 0.0, 0.0, False)),
    (r"sugar|sucrose|candi", MaltDefault("sugar", 1.0, 0.005, 0.002, 0.002, 0.0, 0.0, False)),
    (r"rice hull|oat hull|husk", MaltDefault("husks", 0.0, 0.01, 0.08, 0.03, 0.0, 0.0, False)),
    (r"rice", MaltDefault("rice", 0.92, 0.03, 0.12, 0.02, 0.02, 0.015, False)),
    (r"maize|corn", MaltDefault("maize", 0.87, 0.03, 0.11, 0.02, 0.02, 0.015, False)),
    (r"oat", MaltDefault("oats", 0.70, 0.05, 0.09, 0.02, 0.03, 0.02, False)),
    (
        r"(un-?malted|raw|flaked|torrefied).*(wheat|barley|rye|spelt)|(wheat|barley|rye|spelt).*(un-?malted|raw|flaked)",
        MaltDefault("unmalted grain", 0.77, 0.04, 0.11, 0.02, 0.03, 0.02, False),
    ),
    (r"roast|black|chocolate|coffee", MaltDefault("roasted malt", 0.70, 0.04, 0.03, 0.01, 0.02, 0.015)),
    (r"crystal|cara|brown|amber|dextrin", MaltDefault("crystal malt", 0.76, 0.03, 0.06, 0.02, 0.02, 0.015)),
    (r"acid|sour", MaltDefault("acidulated malt", 0.75, 0.04, 0.06, 0.015, 0.02, 0.015)),
    (r"smoke|peat", MaltDefault("smoked malt", 0.80, 0.015, 0.045, 0.008, 0.017, 0.007)),
    (r"wheat|spelt", MaltDefault("wheat malt", 0.84, 0.015, 0.045, 0.008, 0.017, 0.007)),
    (r"rye", MaltDefault("rye malt", 0.83, 0.025, 0.05, 0.01, 0.02, 0.01)),
    (r"munich|melanoid|aromatic", MaltDefault("munich malt", 0.80, 0.015, 0.042, 0.008, 0.018, 0.007)),
    (r"vienna|mild", MaltDefault("vienna malt", 0.805, 0.013, 0.042, 0.008, 0.017, 0.007)),
    (
        r"pils|lager|pale|base|two-?row|2-?row|kolsch|k.lsch|spring|winter|golden|ale",
        MaltDefault("base malt", 0.815, 0.010, 0.042, 0.007, 0.016, 0.006),
    ),
)
"""Pattern in the malt's name and the analysis assumed for it, in the order in which they are tried."""

UNKNOWN_MALT = MaltDefault("unknown malt", 0.79, 0.04, 0.045, 0.012, 0.018, 0.01)
"""Assumed where the name tells nothing: the sd covers base, crystal and most roasted malts."""

EXTRACT_SD = 0.006
"""Sd of a recorded malt extract: delivered against declared differs by about 1 %-point at most (common practice)."""
MOISTURE_SD = 0.003
"""Sd of a recorded moisture, mass fraction (common practice, no source)."""
FINE_COARSE_SD = 0.003
"""Sd of a recorded fine-coarse difference, mass fraction (common practice, no source)."""
SCALE_SD = 0.0035
"""Relative sd of a kitchen scale that weighs malt, shared by all malts: limits 0.2 to 1 % (common practice)."""


def malt_default(malt: str) -> MaltDefault:
    """Analysis assumed for a malt of this generic type.

    Parameters
    ----------
    malt : str
        Generic type, as the brewer wrote it; upper and lower case count the same.

    Returns
    -------
    MaltDefault
        `UNKNOWN_MALT`, with a wide sd, where the name tells nothing.

    Examples
    --------
    >>> malt_default("Flaked oats").malt_extract
    0.7
    """
    name = malt.casefold()
    return next((default for pattern, default in MALT_DEFAULTS if re.search(pattern, name)), UNKNOWN_MALT)


def as_is(malt_extract: ArrayLike, moisture: ArrayLike) -> np.ndarray:
    """Extract of a malt as weighed, from its extract on dry basis.

    Parameters
    ----------
    malt_extract : array_like
        Laboratory extract on dry basis, mass fraction, 0 to 1. [1]
    moisture : array_like
        Mass fraction, 0 to 0.3. [1]

    Returns
    -------
    numpy.ndarray
        Kilograms of extract per kilogram of malt as weighed. [1]

    Raises
    ------
    ValueError
        If a fraction lies outside its range: most often per cent given as a fraction.

    Notes
    -----
    ``malt_extract * (1 - moisture)``: only the dry matter gives extract. A rule that divides by (1 + moisture) differs
    by moisture squared.

    Examples
    --------
    >>> as_is(0.78, 0.035).round(4)
    np.float64(0.7527)
    """
    dry, wet = _fraction(malt_extract, "malt_extract", 1.0), _fraction(moisture, "moisture", 0.3)
    return np.asarray(dry * (1.0 - wet))[()]


def first_wort_maximum(
    water_to_grist: ArrayLike, malt_extract: ArrayLike, moisture: ArrayLike = 0.0, basis: str = "as is"
) -> np.ndarray:
    """Strongest first wort that a mash can give: all extract of the malt dissolved in the water of the mash.

    Parameters
    ----------
    water_to_grist : array_like
        Mass of water per mass of malt as weighed, above 0. [kg/kg]
    malt_extract : array_like
        Laboratory extract of the malt, mass fraction, 0 to 1. [1]
    moisture : array_like
        Moisture of the malt, mass fraction, whose water thins the wort; 0 leaves it out of the account. [1]
    basis : str
        What `malt_extract` refers to: `as is` (malt as weighed) or `dry`.

    Returns
    -------
    numpy.ndarray
        Extract of the first wort by mass. [1]

    Raises
    ------
    ValueError
        If an argument lies outside its range or `basis` is another word.

    Notes
    -----
    ``e / (e + R + m)`` with extract as is, water R and moisture m per mass of malt: the rule of Metzger turned round.
    The water that starch takes up as it is split (about 1 % of the water) is not counted.

    References
    ----------
    .. [1] M. Metzger, brewing calculations, vocational school Karlstadt / VLB Berlin.

    Examples
    --------
    >>> first_wort_maximum([3.0, 4.0], 0.75, 0.04).round(4)
    array([0.1979, 0.1566])
    """
    if basis not in ("as is", "dry"):
        raise ValueError(f"basis is {basis!r}; expected 'as is' or 'dry'.")
    ratio = to_float(water_to_grist, "1", "water_to_grist")
    if np.any(ratio <= 0.0):
        raise ValueError(f"water_to_grist is {np.nanmin(ratio):g} kg/kg; expected above 0.")
    wet = _fraction(moisture, "moisture", 0.3)
    extract = _fraction(malt_extract, "malt_extract", 1.0)
    if basis == "dry":
        extract = extract * (1.0 - wet)
    return np.asarray(extract / (extract + ratio + wet))[()]


def _fraction(value: ArrayLike, what: str, high: float) -> np.ndarray:
    fraction = to_float(value, "1", what)
    if np.any((fraction < 0.0) | (fraction > high)):
        raise ValueError(
            f"{what} is {np.atleast_1d(fraction).ravel()[0]:g}; expected a mass fraction from 0 to {high:g} "
            "(4 per cent is 0.04)."
        )
    return fraction
