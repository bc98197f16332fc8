"""Linear algebra on many small matrices at once, brews last: the arithmetic runs along memory."""

from __future__ import annotations

import numpy as np

from brewlog.wort.reconcile import Array

SIZE = 4
"""Rows of the matrices: the balances of `balance_batch`."""


def gram(left: Array, right: Array) -> Array:
    """Sum over the data of left x right, shape (4, 4, n); only the lower triangle is filled."""
    out = np.empty((SIZE, SIZE, left.shape[2]))
    for d in range(SIZE):
        for e in range(d + 1):
            out[d, e] = np.einsum("kn,kn->n", left[d], right[e])
    return out


def cholesky(matrix: Array) -> Array:
    """Lower Cholesky factors of n matrices of 4 x 4, brews last; the diagonal holds reciprocals."""
    factor = np.empty_like(matrix)
    for d in range(SIZE):
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


def forward(factor: Array, right: Array) -> Array:
    """Solve the lower triangle for right sides of shape (4, ..., n)."""
    out = np.empty_like(right)
    for d in range(SIZE):
        value = right[d].copy()
        for k in range(d):
            value -= factor[d, k] * out[k]
        out[d] = value * factor[d, d]
    return out


def solve(factor: Array, right: Array) -> Array:
    """Solve with the Cholesky factor for right sides of shape (4, ..., n)."""
    out = forward(factor, right)
    for d in range(SIZE - 1, -1, -1):
        for k in range(d + 1, SIZE):
            out[d] -= factor[k, d] * out[k]
        out[d] *= factor[d, d]
    return out


def combine(rows: Array, weights: Array) -> Array:
    """Sum over the balances, shape (8, n)."""
    return np.asarray(np.einsum("dkn,dn->kn", rows, weights))
