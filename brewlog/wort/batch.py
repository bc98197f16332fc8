"""Extract balances of many brews at once, on arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from brewlog.sucrose import DENSITY_PER_SG, density_slope_float, extract_from_sg_float
from brewlog.wort.batch_account import balances, guess, shared, terms_of_the_trade, what_is_told
from brewlog.wort.instruments import OFFSET_SHARE
from brewlog.wort.reconcile import Array
from brewlog.wort.small_matrices import cholesky, combine, forward, gram, solve

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
        readings = np.where(unread, guess(readings), readings)
    per_sg = DENSITY_PER_SG / density_slope_float(readings[3:6], 20.0)
    sd = np.concatenate([sd[:3], sd[3:6] * per_sg, sd[6:]])
    if unread.any():
        sd = np.where(unread, np.array(_UNREAD)[:, None], sd)

    # as if no error were shared: the test, and a good state to linearise at
    variance = sd**2
    state = readings
    for _ in range(2):
        misfit, slope = balances(state, readings)
        spread = slope * variance
        factor = cholesky(gram(spread, slope))
        score = solve(factor, misfit)
        state = readings - combine(spread, score)
    chi_square = np.einsum("dn,dn->n", misfit, score)
    weighted = solve(factor, slope)
    information = np.einsum("dkn,dkn->kn", slope, weighted)
    pull = combine(slope, score)
    slip = pull / information
    slip[3:6] /= per_sg
    gain = pull**2 / information
    if unread.any():
        slip, gain = np.where(unread, np.nan, slip), np.where(unread, 0.0, gain)
    df, told = what_is_told(slope, unread)

    own, offsets = shared(sd, unread, share)
    misfit, slope = balances(state, readings)
    spread = slope * own
    for column in offsets:
        rows = np.einsum("dkn,kn->dn", slope, column)
        spread += rows[:, None] * column
    factor = cholesky(gram(spread, slope))
    state = readings - combine(spread, solve(factor, misfit))
    taken = forward(factor, spread)
    left = own - np.einsum("dkn,dkn->kn", taken, taken) + sum(column**2 for column in offsets)
    cross = sum(column[:3] * column[3:6] for column in offsets) - np.einsum("dkn,dkn->kn", taken[:, :3], taken[:, 3:6])
    after = np.sqrt(np.maximum(left, 0.0))
    if not told.all():
        state, after = np.where(told, state, np.nan), np.where(told, after, np.nan)
    p_value = np.where(df > 0, chdtrc(np.maximum(df, 1), np.maximum(chi_square, 0.0)), 1.0)
    return *terms_of_the_trade(state, after, cross, grist), chi_square, df, p_value, slip, gain
