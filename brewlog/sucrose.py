"""Solutions of sucrose, float arrays: the density formula that ties mass per cent to gravity, and its inverse.

Degrees Plato are defined by it, as degC is by its zero: it stands beside the units, and all of wort rests on it.
"""

from __future__ import annotations

import numpy as np

AIR_DENSITY = 1.2
"""Density of air in which apparent specific gravity is defined. [kg/m^3]"""
EXTRACT_HIGH = 0.7
"""Largest mass fraction for which the density formula was made. [1]"""
EXTRACT_LOW = -0.06
"""A fermented wort floats a hydrometer below 1.000: its apparent extract lies below 0. [1]"""

# Kell 1975: numerator and denominator of the density of water at 101.325 kPa, degC in, kg/m3 out.
_KELL_TOP = (999.83952, 16.952577, -7.9905127e-3, -4.6241757e-5, 1.0584601e-7, -2.8103006e-10)
_KELL_BOTTOM = 16.887236e-3
# SPS-4, density of sucrose solutions: row i, column j holds the factor of ((t - 20)/100)^i w^(j+1).
_SPS4 = (
    (385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890),
    (-46.2720, -7.1720, 1.1597, 5.1126, 17.5254, 0.0),
    (59.7712, 7.2491, 12.3630, -35.4791, 0.0, 0.0),
    (-47.2207, -21.6977, 27.6301, 0.0, 0.0, 0.0),
    (18.3184, 12.3081, 0.0, 0.0, 0.0, 0.0),
)
_SPS4_BY_EXTRACT = tuple(zip(*_SPS4, strict=True))


def water_density_float(temp: np.ndarray) -> np.ndarray:
    """Density of water for a float array in degC: `water_density` without its door."""
    c0, c1, c2, c3, c4, c5 = _KELL_TOP
    top = c0 + temp * (c1 + temp * (c2 + temp * (c3 + temp * (c4 + temp * c5))))
    return top / (1.0 + _KELL_BOTTOM * temp)


_WATER_20 = float(water_density_float(np.array(20.0)))
DENSITY_PER_SG = _WATER_20 - AIR_DENSITY
"""Change of the density at 20 degC per change of the apparent specific gravity. [kg/m^3]"""


def _terms(temp: np.ndarray) -> tuple[np.ndarray, list[np.ndarray]]:
    """Density of water and the six coefficients in powers of the extract at `temp`."""
    x = (temp - 20.0) / 100.0
    return water_density_float(temp), [
        c0 + x * (c1 + x * (c2 + x * (c3 + x * c4))) for c0, c1, c2, c3, c4 in _SPS4_BY_EXTRACT
    ]


def density_float(extract: np.ndarray, temp: np.ndarray | float) -> np.ndarray:
    """Density of wort for float arrays: `wort_density` without its door."""
    water, (c1, c2, c3, c4, c5, c6) = _terms(np.asarray(temp, dtype=float))
    w = extract
    return water + w * (c1 + w * (c2 + w * (c3 + w * (c4 + w * (c5 + w * c6)))))


def density_slope_float(extract: np.ndarray, temp: np.ndarray | float) -> np.ndarray:
    """Derivative of the density of wort by the extract, float arrays. [kg/m^3]"""
    _, (c1, c2, c3, c4, c5, c6) = _terms(np.asarray(temp, dtype=float))
    w = extract
    return c1 + w * (2 * c2 + w * (3 * c3 + w * (4 * c4 + w * (5 * c5 + w * 6 * c6))))


def extract_from_density_float(density: np.ndarray, temp: np.ndarray | float) -> np.ndarray:
    """Extract of wort from its true density: `extract_from_density` without its door.

    Density rises with extract everywhere in the range and bends little, so that Newton's method from a straight line
    converges in a few steps; it is kept inside the range.
    """
    water, (c1, c2, c3, c4, c5, c6) = _terms(np.asarray(temp, dtype=float))
    excess = np.asarray(density, dtype=float) - water
    w = excess / (c1 + 0.33 * excess)
    for _ in range(8):
        value = w * (c1 + w * (c2 + w * (c3 + w * (c4 + w * (c5 + w * c6)))))
        slope = c1 + w * (2 * c2 + w * (3 * c3 + w * (4 * c4 + w * (5 * c5 + w * 6 * c6))))
        step = (value - excess) / slope
        w = np.clip(w - step, EXTRACT_LOW, EXTRACT_HIGH)
        if not np.any(np.abs(step) > 1e-10):  # NaN compares false: it does not keep the loop alive
            break
    return w


def sg_from_extract_float(extract: np.ndarray) -> np.ndarray:
    """Apparent specific gravity 20/20 for a float array: `sg_from_extract` without its door."""
    return (density_float(extract, 20.0) - AIR_DENSITY) / DENSITY_PER_SG


def extract_from_sg_float(sg: np.ndarray) -> np.ndarray:
    """Extract for a float array of gravities: `extract_from_sg` without its door."""
    return extract_from_density_float(sg * DENSITY_PER_SG + AIR_DENSITY, 20.0)
