"""Instruments of a brew day and how far they can be trusted when nobody stated it."""

from __future__ import annotations

import re
from math import sqrt
from typing import NamedTuple


class Instrument(NamedTuple):
    """An instrument, the limit of its own error and the scatter of reading it."""

    kind: str
    pattern: str
    """Words that name it."""
    limit: float
    """Limit of error of the instrument itself, shared by all its readings of a day; in `unit`."""
    scatter: float
    """One standard deviation of reading it once; in `unit`."""
    unit: str

    @property
    def offset_sd(self) -> float:
        """Standard deviation of the shared offset: a limit of +-a is taken as a / sqrt(3)."""
        return self.limit / sqrt(3.0)


# Limits: ISO 649-1 (density hydrometer M50, +-1 kg/m3), a hand-held density meter +-0.5 kg/m3, kettle marks +-0.5 L,
# hand refractometer +-0.2 degBrix (common practice). Scatter: half the smallest division that a careful reader tells
# apart (common practice, no source).
GRAVITY_INSTRUMENTS = (
    Instrument("refractometer", r"refract|brix", 0.2, 0.05, "%"),
    Instrument("density meter", r"density ?meter|densitometer|u-?tube|pycnometer", 0.0005, 0.0001, "SG"),
    Instrument("hydrometer", r"", 0.001, 0.0003, "SG"),
)
VOLUME_INSTRUMENTS = (
    Instrument("scale", r"scale|balance|weigh", 0.05, 0.03, "L"),
    Instrument("dipstick", r"dip ?stick|ruler|stick|tape", 0.25, 0.10, "L"),
    Instrument("flow meter", r"flow|meter", 0.3, 0.05, "L"),
    Instrument("marks", r"", 0.5, 0.15, "L"),
)
MARKS_SHARE = 0.02
"""Marks of a vessel are not better than this share of the volume, common practice (0.5 L in 25 L). [1]"""

OFFSET_SHARE = 0.5
"""Share of the variance of a stated `sd` that is the offset of the instrument, shared by all its readings. A stated sd
does not say; half and half keeps both an average of repeats and a difference of two readings honest. [1]"""

TEMP_SD = 0.5
"""Sd of a recorded temperature of a sample. [K]"""
HOT_TEMP_SD = 2.0
"""Sd of a recorded temperature of wort in a kettle, which is not equally hot throughout. [K]"""
SAMPLE_TEMP_SD = 4.0
"""Sd of the temperature of a cooled sample when none is recorded (common practice, no source). [K]"""
UNKNOWN_KETTLE_TEMP = (60.0, 23.0)
"""Temperature and sd of wort in a kettle when none is recorded: anywhere from 20 to 100 degC. [degC], [K]"""
COOLED_TEMP = (20.0, 4.0)
"""Temperature and sd of wort in a fermenter when none is recorded. [degC], [K]"""
DEAD_VOLUME_SD = 0.1
"""Sd of a rig's dead volume, which nobody states with one (common practice, no source). [L]"""
DEFAULT_FACTOR, DEFAULT_FACTOR_SD, OWN_FACTOR_SD = 1.04, 0.017, 0.01
"""Wort correction factor of a refractometer: the customary value with its sd (factors of 1.00 to 1.06 are met), and
the sd of a brewer's own factor. [1]"""
COMPENSATED = (10.0, 30.0)
"""Temperatures of a sample that a refractometer compensates for by itself (common practice, no source). [degC]"""
BRIX_PER_K = 0.07
"""What a refractometer that did not would read too low per kelvin: water's refractive index falls by 1.07e-4 per kelvin
between 20 and 30 degC, and rises by 1.55e-3 per per cent of sucrose at 11 % (CRC Handbook). [%/K]"""
PRISM_SHARE = 0.1
"""Share of a hot drop's excess that is left when the prism is read (common practice, no source). [1]"""


def instrument_of(quantity: str, words: str | None, unit: str) -> tuple[Instrument, bool]:
    """Instrument that took a reading, and whether it was recorded (else it is guessed from the unit).

    Examples
    --------
    >>> instrument_of("gravity", None, "Brix")[0].kind
    'refractometer'
    """
    if quantity == "gravity":
        table: tuple[Instrument, ...] = GRAVITY_INSTRUMENTS
        guess = {"Brix": "refractometer", "kg/m^3": "density meter"}.get(unit, "hydrometer")
    else:
        table, guess = VOLUME_INSTRUMENTS, "scale" if quantity == "mass" else "marks"
    if words and words.strip():
        name = words.casefold()
        if quantity == "gravity" and re.search(r"hydrom|sacch|spindle|areom", name):
            guess = "hydrometer"
        else:
            return next(one for one in table if re.search(one.pattern, name)), True
    return next(one for one in table if one.kind == guess), bool(words)
