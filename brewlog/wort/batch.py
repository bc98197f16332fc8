"""Extract balances of many brews at once, on arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from brewlog.wort.account import WATER_20
from brewlog.wort.instruments import OFFSET_SHARE
from brewlog.wort.properties import (
    AIR_DENSITY,
    density_float,
    density_slope_float,
    extract_from_sg_float,
)
from brewlog.wort.reconcile import Array

DATA = (
    "pre-boil volume",
    "post-boil volume",
    "fermenter volume",
    "pre-boil gravity",
    "post-boil gravity",
    "fermenter gravity",
    "evaporation",
    "transfer loss",
)
"""What the balances tie together, in the order of the columns of `slip` and `gain`."""
_PER_SG = 1000.0 * WATER_20 - AIR_DENSITY
_BLOCK = 2048  # brews worked on at a time: their arrays stay in the processor's cache
_UNREAD = (1e3, 1e3, 1e3, 1.0, 1.0, 1.0, 1e3, 1e3)  # sd of what was not read: so large that it decides nothing


@dataclass(frozen=True)
class BalanceBatch:
    """Balances of n brews; NaN where a brew's readings do not tell."""

    volume: Array
    """At 20 degC, adjusted, shape (n, 3): pre-boil, post-boil, fermenter. [L]"""
    volume_sd: Array
    extract: Array
    """Adjusted, shape (n, 3). [1]"""
    extract_sd: Array
    extract_mass: Array
    """Shape (n, 3). [kg]"""
    extract_mass_sd: Array
    mash: Array
    """Shape (n,). [%]"""
    mash_sd: Array
    brewhouse: Array
    """Shape (n,). [%]"""
    brewhouse_sd: Array
    chi_square: Array
    """Misfit of the account, as if no error were shared, shape (n,)."""
    df: NDArray[np.int_]
    """Balances that test readings, shape (n,)."""
    p_value: Array
    slip: Array
    """What each datum would have to be wrong by to explain the misfit alone, columns as `DATA`. [L or SG]"""
    gain: Array
    """Chi-square that setting it aside takes away, columns as `DATA`."""


def balance_batch(
    volume: ArrayLike,
    gravity: ArrayLike,
    volume_sd: ArrayLike,
    gravity_sd: ArrayLike,
    potential: ArrayLike,
    potential_sd: ArrayLike = 0.0,
    evaporated: ArrayLike = np.nan,
    evaporated_sd: ArrayLike = np.nan,
    loss: ArrayLike = np.nan,
    loss_sd: ArrayLike = np.nan,
    offset_share: float = OFFSET_SHARE,
) -> BalanceBatch:
    """Reconcile the kettle and fermenter readings of many brews, without additions.

    NaN means not read. The same account as `extract_balance` keeps, for arrays and without records.

    Parameters
    ----------
    volume : array_like, shape (n, 3)
        Pre-boil, post-boil and fermenter volume, brought to 20 degC. [L]
    gravity : array_like, shape (n, 3)
        Specific gravity, apparent, 20/20. [1]
    volume_sd, gravity_sd : array_like, broadcast against (n, 3)
        Standard deviations. [L], [1]
    potential, potential_sd : array_like, broadcast against (n,)
        Extract that the grist could give. [kg]
    evaporated, evaporated_sd : array_like, broadcast against (n,)
        Water boiled off as litres at 20 degC, known from elsewhere. [L]
    loss, loss_sd : array_like, broadcast against (n,)
        Wort left between kettle and fermenter, known from elsewhere. [L]
    offset_share : float
        Share of the variance that all gravities of a brew, and both kettle volumes, have in common. [1]

    Returns
    -------
    BalanceBatch

    Examples
    --------
    >>> out = balance_batch([[28.0, 25.0, 23.0]], [[1.044, 1.0495, 1.0495]], 0.25, 0.0005, potential=4.2)
    >>> out.mash.round(1), out.brewhouse.round(1)
    (array([76.3]), array([70.3]))
    """
    volumes = np.atleast_2d(np.asarray(volume, float))
    n = volumes.shape[0]
    data = np.empty((2, 8, n))  # readings and their sd, brews last: the arithmetic runs along memory
    data[0, :3], data[1, :3] = volumes.T, np.broadcast_to(np.asarray(volume_sd, float), (n, 3)).T
    data[0, 3:6] = extract_from_sg_float(np.atleast_2d(np.asarray(gravity, float)).T)
    data[1, 3:6] = np.broadcast_to(np.asarray(gravity_sd, float), (n, 3)).T
    data[0, 6], data[1, 6] = evaporated, evaporated_sd
    data[0, 7], data[1, 7] = loss, loss_sd
    grist = np.empty((2, n))
    grist[0], grist[1] = potential, potential_sd
    blocks = [
        _block(data[:, :, start : start + _BLOCK], grist[:, start : start + _BLOCK], offset_share)
        for start in range(0, n, _BLOCK)
    ]
    columns = (np.concatenate(parts, axis=-1).T for parts in zip(*blocks, strict=True))
    return BalanceBatch(*columns)


def _block(data: Array, grist: Array, share: float) -> tuple[Array, ...]:
    """Balances of one block of brews, in the order of the fields of `BalanceBatch`, brews last."""
    readings, sd = data[0], data[1]
    unread = ~np.isfinite(readings) | ~np.isfinite(sd)
    if unread.any():
        readings = np.where(unread, _guess(readings), readings)
    per_sg = _PER_SG / density_slope_float(readings[3:6], 20.0)
    sd = np.concatenate([sd[:3], sd[3:6] * per_sg, sd[6:]])
    if unread.any():
        sd = np.where(unread, np.array(_UNREAD)[:, None], sd)

    # as if no error were shared: the test, and a good state to linearise at
    variance = sd**2
    state = readings
    for _ in range(2):
        misfit, slope = _balances(state, readings)
        spread = slope * variance
        factor = _cholesky(_gram(spread, slope))
        score = _solve(factor, misfit)
        state = readings - _combine(spread, score)
    chi_square = np.einsum("dn,dn->n", misfit, score)
    weighted = _solve(factor, slope)
    information = np.einsum("dkn,dkn->kn", slope, weighted)
    pull = _combine(slope, score)
    slip = pull / information
    slip[3:6] /= per_sg
    gain = pull**2 / information
    if unread.any():
        slip, gain = np.where(unread, np.nan, slip), np.where(unread, 0.0, gain)
    df, told = _told(slope, unread)

    own, offsets = _shared(sd, unread, share)
    misfit, slope = _balances(state, readings)
    spread = slope * own
    for column in offsets:
        rows = np.einsum("dkn,kn->dn", slope, column)
        spread += rows[:, None] * column
    factor = _cholesky(_gram(spread, slope))
    state = readings - _combine(spread, _solve(factor, misfit))
    taken = _forward(factor, spread)
    left = own - np.einsum("dkn,dkn->kn", taken, taken) + sum(column**2 for column in offsets)
    cross = sum(column[:3] * column[3:6] for column in offsets) - np.einsum("dkn,dkn->kn", taken[:, :3], taken[:, 3:6])
    after = np.sqrt(np.maximum(left, 0.0))
    if not told.all():
        state, after = np.where(told, state, np.nan), np.where(told, after, np.nan)
    p_value = np.where(df > 0, chdtrc(np.maximum(df, 1), np.maximum(chi_square, 0.0)), 1.0)
    return *_terms_of_the_trade(state, after, cross, grist), chi_square, df, p_value, slip, gain


def _guess(readings: Array) -> Array:
    """Readings, and something plausible where there are none."""
    guess = readings.copy()
    ladder = [(0, 1, 1.12), (0, 2, 1.25), (1, 0, 0.89), (1, 2, 1.1), (2, 1, 0.92), (4, 5, 1.0), (5, 4, 1.0)]
    ladder += [(3, 4, 0.89), (4, 3, 1.12), (5, 4, 1.0)]
    for place, other, factor in ladder:
        guess[place] = np.where(np.isfinite(guess[place]), guess[place], factor * guess[other])
    default = np.array([25.0, 22.0, 20.0, 0.11, 0.12, 0.12, 3.0, 2.0])[:, None]
    return np.where(np.isfinite(guess), guess, default)


def _balances(x: Array, readings: Array) -> tuple[Array, Array]:
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


def _gram(left: Array, right: Array) -> Array:
    """Sum over the data of left x right, shape (4, 4, n); only the lower triangle is filled."""
    out = np.empty((4, 4, left.shape[2]))
    for d in range(4):
        for e in range(d + 1):
            out[d, e] = np.einsum("kn,kn->n", left[d], right[e])
    return out


def _cholesky(matrix: Array) -> Array:
    """Lower Cholesky factors of n matrices of 4 x 4, brews last; the diagonal holds reciprocals."""
    factor = np.empty_like(matrix)
    for d in range(4):
        for e in range(d):
            value = matrix[d, e].copy()
            for k in range(e):
                value -= factor[d, k] * factor[e, k]
            factor[d, e] = value * factor[e, e]
        value = matrix[d, d].copy()
        for k in range(d):
            value -= factor[d, k] ** 2
        factor[d, d] = 1.0 / np.sqrt(value)
    return factor


def _forward(factor: Array, right: Array) -> Array:
    """Solve the lower triangle for right sides of shape (4, ..., n)."""
    out = np.empty_like(right)
    for d in range(4):
        value = right[d].copy()
        for k in range(d):
            value -= factor[d, k] * out[k]
        out[d] = value * factor[d, d]
    return out


def _solve(factor: Array, right: Array) -> Array:
    """Solve with the Cholesky factor for right sides of shape (4, ..., n)."""
    out = _forward(factor, right)
    for d in range(3, -1, -1):
        for k in range(d + 1, 4):
            out[d] -= factor[k, d] * out[k]
        out[d] *= factor[d, d]
    return out


def _combine(rows: Array, weights: Array) -> Array:
    """Sum over the balances, shape (8, n)."""
    return np.asarray(np.einsum("dkn,dn->kn", rows, weights))


def _shared(sd: Array, unread: NDArray[np.bool_], share: float) -> tuple[Array, list[Array]]:
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


def _told(slope: Array, unread: NDArray[np.bool_]) -> tuple[NDArray[np.int_], NDArray[np.bool_]]:
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


def _terms_of_the_trade(state: Array, sd: Array, cross: Array, grist: Array) -> tuple[Array, ...]:
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
