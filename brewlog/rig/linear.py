"""A linear thermal model whose rates are products of powers of its constants.

Each model is ``x' = A x + B u``, and every entry of A and B is a sum of *rates* that are products of powers of the
constants (``share / C_base``, ``G / C_mash``, ...). With the logarithms of the constants as parameters the derivative
of a rate is the rate times its exponent, so one table of exponents gives the model and its sensitivities.

Inputs u: electrical power [W], room temperature [degC], one (carries the shift of the room), and the vapour pressure
above the room's [kPa] for evaporation from open hot wort.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

POWER, ROOM, ONE, VAPOUR = range(4)


@dataclass(frozen=True)
class Model:
    """A linear thermal model whose rates are products of powers of its constants."""

    name: str
    """`one node`, `two nodes` or `layered bed`."""
    nodes: tuple[str, ...]
    """States that hold heat; probe states follow them."""
    constants: tuple[str, ...]
    """Positive constants, fitted as logarithms."""
    exponents: np.ndarray
    """Shape (rates, constants)."""
    factors: np.ndarray
    """Number that multiplies each rate, shape (rates,)."""
    coupled: np.ndarray
    """Rates that scale with the recirculation, shape (rates,)."""
    a: np.ndarray
    """Where each rate stands in A, shape (rates, n, n)."""
    b: np.ndarray
    """Where each rate stands in B, shape (rates, n, 4)."""
    outputs: np.ndarray
    """What the base sensor and the bed probe see of the states, shape (2, n)."""
    starts: np.ndarray
    """Start of every state from the start temperatures (base; bed, or its top and bottom), shape (n, 1 to 3)."""
    bed: np.ndarray
    """Weights of the states in the bed's mean temperature, shape (n,)."""

    def rates(self, constants: Mapping[str, float]) -> np.ndarray:
        """Every rate at the given constants. [1/s, K/J]"""
        logs = np.log([constants[name] for name in self.constants])
        return self.factors * np.exp(self.exponents @ logs)

    def matrices(self, constants: Mapping[str, float], coupling: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
        """A and B at the given constants, the recirculation scaled by `coupling`."""
        rates = self.rates(constants) * np.where(self.coupled, coupling, 1.0)
        return np.tensordot(rates, self.a, 1), np.tensordot(rates, self.b, 1)

    def expand(
        self, logs: np.ndarray, coupling: np.ndarray, room_shift: float
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """A, B and their derivatives to the log constants and (last) to the room shift, one set per coupling."""
        rates = self.factors * np.exp(self.exponents @ logs)
        scaled = rates * np.where(self.coupled, coupling[:, None], 1.0)
        kinds, (count, n, m) = coupling.size, self.b.shape
        in_a, in_b = self.a.reshape(count, n * n), self.b.reshape(count, n * m)
        k = logs.size + 1
        a, b = (scaled @ in_a).reshape(kinds, n, n), (scaled @ in_b).reshape(kinds, n, m)
        da, db = np.zeros((kinds, n, n, k)), np.zeros((kinds, n, m, k))
        slopes = scaled[:, None, :] * self.exponents.T
        da[..., :-1] = np.moveaxis((slopes @ in_a).reshape(kinds, k - 1, n, n), 1, -1)
        db[..., :-1] = np.moveaxis((slopes @ in_b).reshape(kinds, k - 1, n, m), 1, -1)
        db[..., ONE, :-1] = room_shift * db[..., ROOM, :-1]
        db[..., ONE, -1] = b[..., ROOM]
        b[..., ONE] = room_shift * b[..., ROOM]
        return a, b, da, db

    @cached_property
    def drives(self) -> int:
        """Inputs that move the model: power and room, and vapour pressure where something evaporates."""
        return 3 if self.b[..., VAPOUR].any() else 2

    @cached_property
    def wiring(self) -> tuple[np.ndarray, np.ndarray]:
        """The model as the compiled code takes it: its rates, and the entries of A and B side by side.

        A row per rate: factor, 1 where it follows the flow, powers of the constants. A row per entry: its rate, its
        place, and the number that multiplies the rate.
        """
        inputs = self.b[..., [POWER, ROOM, VAPOUR][: self.drives]]
        whole = np.concatenate([self.a, inputs], axis=2)
        which, row, column = np.nonzero(whole)
        rates = np.column_stack([self.factors, self.coupled, self.exponents])
        return rates, np.column_stack([which, row, column, whole[which, row, column]])

    @cached_property
    def shape(self) -> tuple[tuple[int, ...], ...]:
        """Tuples as long as there are states, inputs, constants and start temperatures."""
        n, starts = self.starts.shape
        return (0,) * n, (0,) * self.drives, (0,) * len(self.constants), (0,) * starts


def assemble(
    name: str,
    nodes: tuple[str, ...],
    constants: tuple[str, ...],
    rates: list[tuple[dict[str, float], float, bool, list[tuple[int, int, float]], list[tuple[int, int, float]]]],
    probe: dict[int, float] | None,
    base_lagged: bool,
) -> Model:
    """Model from its rates: (powers of constants, factor, follows the flow, entries of A, entries of B)."""
    n_nodes = len(nodes)
    lagged = ([{0: 1.0}] if base_lagged else []) + ([probe] if probe is not None else [])
    n = n_nodes + len(lagged)
    if lagged:
        entries = []
        for i, mix in enumerate(lagged):
            row = n_nodes + i
            entries += [(row, row, -1.0)] + [(row, node, weight) for node, weight in mix.items()]
        rates = [*rates, ({"probe_lag": -1.0}, 1.0, False, entries, [])]
        constants = (*constants, "probe_lag")
    a = np.zeros((len(rates), n, n))
    b = np.zeros((len(rates), n, 4))
    exponents = np.zeros((len(rates), len(constants)))
    for j, (powers, _, _, in_a, in_b) in enumerate(rates):
        for constant, power in powers.items():
            exponents[j, constants.index(constant)] = power
        for row, column, value in in_a:
            a[j, row, column] += value
        for row, column, value in in_b:
            b[j, row, column] += value
    outputs = np.zeros((2, n))
    outputs[0, n_nodes if base_lagged else 0] = 1.0
    outputs[1, -1 if probe is not None else 0] = 1.0
    starts = np.zeros((n, min(n_nodes, 3)))
    starts[0, 0] = 1.0
    if n_nodes > 1:  # a bed of layers starts on a straight line from its top to its bottom
        down = (np.arange(n_nodes - 1) + 0.5) / (n_nodes - 1)
        starts[1:n_nodes, 1:] = np.ones((1, 1)) if n_nodes == 2 else np.column_stack([1 - down, down])
    for i, mix in enumerate(lagged):
        for node, weight in mix.items():
            starts[n_nodes + i] += weight * starts[node]
    bed = np.zeros(n)
    bed[1:n_nodes] = 1 / max(n_nodes - 1, 1)
    factors = np.array([rate[1] for rate in rates])
    coupled = np.array([rate[2] for rate in rates])
    return Model(name, nodes, constants, exponents, factors, coupled, a, b, outputs, starts, bed)


def step(a: np.ndarray, b: np.ndarray, dt: float) -> tuple[np.ndarray, np.ndarray]:
    """Exact step of ``x' = A x + B u`` over `dt` with u constant: ``x(t + dt) = phi x(t) + gamma u``.

    Parameters
    ----------
    a : array_like, shape (n, n)
    b : array_like, shape (n, m)
    dt : float
        At least 0. [s]

    Returns
    -------
    phi, gamma : numpy.ndarray

    Examples
    --------
    >>> phi, gamma = step([[-0.1]], [[0.1]], 10.0)
    >>> bool(abs(phi[0, 0] - np.exp(-1)) < 1e-15), bool(abs(gamma[0, 0] - (1 - np.exp(-1))) < 1e-15)
    (True, True)
    """
    from brewlog.rig import kernels

    a, b = np.atleast_2d(np.asarray(a, float)), np.atleast_2d(np.asarray(b, float))
    da, db = np.zeros((1, *a.shape, 0)), np.zeros((1, *b.shape, 0))
    phi, gamma, _, _ = kernels.step_tables(a[None], b[None], da, db, np.array([float(dt)]))
    return phi[0], gamma[0]
