"""The balances of many brews on arrays: kettle and fermenter, brews last."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from brewlog.sucrose import density_float, density_slope_float
from brewlog.wort.account import WATER_20
from brewlog.wort.reconcile import Array


def guess(readings: Array) -> Array:
    """Readings, and something plausible where there are none."""
    filled = readings.copy()
    ladder = [(0, 1, 1.12), (0, 2, 1.25), (1, 0, 0.89), (1, 2, 1.1), (2, 1, 0.92), (4, 5, 1.0), (5, 4, 1.0)]
    ladder += [(3, 4, 0.89), (4, 3, 1.12), (5, 4, 1.0)]
    for place, other, factor in ladder:
        filled[place] = np.where(np.isfinite(filled[place]), filled[place], factor * filled[other])
    default = np.array([25.0, 22.0, 20.0, 0.11, 0.12, 0.12, 3.0, 2.0])[:, None]
    return np.where(np.isfinite(filled), filled, default)


def balances(x: Array, readings: Array) -> tuple[Array, Array]:
    """Misfit at the readings (4, n) and derivatives (4, 8, n), linearised at `x`.

    Extract and water over the boil, strength and volume over the transfer.
    """
    volume, w = x[:2], x[3:5]
    rho, drho = density_float(w, 20.0) / 1000.0, density_slope_float(w, 20.0) / 1000.0
    misfit = np.empty((4, x.shape[1]))
    slope = np.zeros((4, 8, x.shape[1]))
    extract, mass = volume * rho * w, volume * rho
    misfit[0] = extract[0] - extract[1]
    misfit[1] = mass[0] - mass[1] - x[6] * WATER_20 - misfit[0]
    misfit[2] = 20.0 * (x[4] - x[5])
    misfit[3] = x[1] - x[7] - x[2]
    by_volume, by_extract = rho * w, volume * (rho + w * drho)
    slope[0, 0], slope[0, 1] = by_volume[0], -by_volume[1]
    slope[0, 3], slope[0, 4] = by_extract[0], -by_extract[1]
    slope[1, 0], slope[1, 1] = rho[0] - by_volume[0], by_volume[1] - rho[1]
    slope[1, 3], slope[1, 4] = volume[0] * drho[0] - by_extract[0], by_extract[1] - volume[1] * drho[1]
    slope[1, 6] = -WATER_20
    slope[2, 4], slope[2, 5] = 20.0, -20.0
    slope[3, 1], slope[3, 7], slope[3, 2] = 1.0, -1.0, -1.0
    if x is not readings:
        misfit -= np.einsum("dkn,kn->dn", slope, x - readings)
    return misfit, slope


def shared(sd: Array, unread: NDArray[np.bool_], share: float) -> tuple[Array, list[Array]]:
    """Own variances, and the offsets that gravities share, and kettle volumes, as columns."""
    own = sd**2
    offset = np.sqrt(share) * sd[:6]
    if unread.any():
        offset = np.where(unread[:6], 0.0, offset)
    own[:6] -= offset**2
    kettle, fermenter, hydrometer = np.zeros_like(sd), np.zeros_like(sd), np.zeros_like(sd)
    kettle[:2], fermenter[2], hydrometer[3:6] = offset[:2], offset[2], offset[3:]
    # the transfer loss was once read on the same marks
    known = np.where(unread[7], 0.0, 1.0)
    kettle[7], fermenter[7] = known * offset[1], -known * offset[2]
    return own, [kettle, fermenter, hydrometer]


def what_is_told(slope: Array, unread: NDArray[np.bool_]) -> tuple[NDArray[np.int_], NDArray[np.bool_]]:
    """Degrees of freedom, and which data are read or follow from the others, by pattern of what was read."""
    if not unread.any():
        return np.full(unread.shape[1], 4), ~unread
    code = (1 << np.arange(8)) @ unread
    df = np.empty(unread.shape[1], dtype=int)
    told = ~unread
    for pattern_code in np.unique(code):
        rows = code == pattern_code
        pattern = unread[:, rows][:, 0]
        free = slope[:, pattern][:, :, rows][:, :, 0]
        _, s, vt = np.linalg.svd(free)
        rank = int(np.sum(s > 1e-9 * max(float(s.max(initial=0.0)), 1e-300)))
        df[rows] = 4 - rank
        follows = np.zeros(8, dtype=bool)
        follows[pattern] = np.all(np.abs(vt[rank:]) < 1e-7, axis=0)
        told[:, rows] = (~pattern | follows)[:, None]
    return df, told


def terms_of_the_trade(state: Array, sd: Array, cross: Array, grist: Array) -> tuple[Array, ...]:
    """Volumes, extract in each vessel and efficiencies, with their standard deviations."""
    volume, w = state[:3], state[3:6]
    rho, drho = density_float(w, 20.0) / 1000.0, density_slope_float(w, 20.0) / 1000.0
    by_volume, by_extract = rho * w, volume * (rho + w * drho)
    mass = volume * by_volume
    variance = (by_volume * sd[:3]) ** 2 + (by_extract * sd[3:6]) ** 2 + 2.0 * by_volume * by_extract * cross
    mass_sd = np.sqrt(np.maximum(variance, 0.0))
    percent = 100.0 / grist[0]
    mash, brewhouse = mass[0] * percent, mass[2] * percent
    relative = grist[1] / grist[0]
    mash_sd = np.hypot(mass_sd[0] * percent, mash * relative)
    brewhouse_sd = np.hypot(mass_sd[2] * percent, brewhouse * relative)
    return volume, sd[:3], w, sd[3:6], mass, mass_sd, mash, mash_sd, brewhouse, brewhouse_sd
