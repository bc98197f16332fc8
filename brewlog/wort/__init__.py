"""Wort: water, density, extract and gravity, readings brought to 20 degC, and the extract balance of a brew."""

from __future__ import annotations

from brewlog.wort.balance import extract_balance
from brewlog.wort.gravity import correct_hydrometer, extract_from_brix
from brewlog.wort.malt import as_is, first_wort_maximum, malt_default
from brewlog.wort.potential import malt_potential
from brewlog.wort.properties import (
    extract_from_density,
    extract_from_sg,
    sg_from_extract,
    specific_heat,
    wort_density,
)
from brewlog.wort.result import ExtractBalance
from brewlog.wort.volume import extract_mass, volume_at_20
from brewlog.wort.water import air_pressure, boiling_point, latent_heat, water_density, water_specific_heat

__all__ = [
    "ExtractBalance",
    "air_pressure",
    "as_is",
    "boiling_point",
    "correct_hydrometer",
    "extract_balance",
    "extract_from_brix",
    "extract_from_density",
    "extract_from_sg",
    "extract_mass",
    "first_wort_maximum",
    "latent_heat",
    "malt_default",
    "malt_potential",
    "sg_from_extract",
    "specific_heat",
    "volume_at_20",
    "water_density",
    "water_specific_heat",
    "wort_density",
]
