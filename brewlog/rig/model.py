"""Thermal models of a rig: one node, two nodes, or a layered bed with a flow through it.

Each model is linear, ``x' = A x + B u``, and every entry of A and B is a sum of *rates* that are products of powers
of the constants (``share / C_base``, ``G / C_mash``, ...). With the logarithms of the constants as parameters the
derivative of a rate is the rate times its exponent, so one table of exponents gives the model and its sensitivities.

Inputs u: electrical power [W], room temperature [degC], one (carries the shift of the room), and the vapour pressure
above the room's [kPa] for evaporation from open hot wort.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

WORT_HEAT_PER_LITRE = 4.0e3
"""Heat capacity of a litre of mash wort: 1.02 kg/L x 3.92 kJ/kgK, 12 % extract at 65 degC. [J/K per L]"""

LOSS_AT_BASE = 0.75
"""Part of the loss that is taken from the base; the rest leaves from the bed.

Temperatures cannot tell the two losses apart, so their ratio is fixed and their sum is fitted."""

LAYERS = 6
"""Layers of the bed. Six left 15 to 30 % less rms than three on simulated days with eight layers, and a flow nearer
to the true one; where the bed is simpler they do no worse."""

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


def _assemble(
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


def one_node(*, evaporation: bool = False, base_lagged: bool = False) -> Model:
    """Well-stirred water or wort with its vessel: ``C dT/dt = share P - U (T - T_room) - e (p(T) - p_room)``.

    Parameters
    ----------
    evaporation : bool
        Adds the last term: heat carried off by vapour, `vapour_loss` [W/kPa] times the vapour pressure input.
    base_lagged : bool
        The sensor follows the liquid with the time constant `probe_lag`.

    Returns
    -------
    Model

    Examples
    --------
    >>> one_node().constants
    ('heat_share', 'base_heat_capacity', 'heat_loss')
    """
    rates = [
        ({"heat_share": 1.0, "base_heat_capacity": -1.0}, 1.0, False, [], [(0, POWER, 1.0)]),
        ({"heat_loss": 1.0, "base_heat_capacity": -1.0}, 1.0, False, [(0, 0, -1.0)], [(0, ROOM, 1.0)]),
    ]
    names: tuple[str, ...] = ("heat_share", "base_heat_capacity", "heat_loss")
    if evaporation:
        rates.append(({"vapour_loss": 1.0, "base_heat_capacity": -1.0}, 1.0, False, [], [(0, VAPOUR, -1.0)]))
        names = (*names, "vapour_loss")
    return _assemble("one node", ("base",), names, rates, None, base_lagged)


def _base_rates(coupling: str, factor: float, last: int, loss: float) -> list:
    """Rates at the base: heater, loss, and exchange with the node `last` from which the wort comes back."""
    c = {"base_heat_capacity": -1.0}
    return [
        ({"heat_share": 1.0, **c}, 1.0, False, [], [(0, POWER, 1.0)]),
        ({"heat_loss": 1.0, **c}, loss, False, [(0, 0, -1.0)], [(0, ROOM, 1.0)]),
        ({coupling: 1.0, **c}, factor, True, [(0, 0, -1.0), (0, last, 1.0)], []),
    ]


def two_node(*, base_lagged: bool = False, loss_at_base: float | None = LOSS_AT_BASE) -> Model:
    """Base and bed, each of one temperature, with a conductance between them.

    ``C_base dT_base/dt = share P - G (T_base - T_mash) - 3/4 U (T_base - T_room)``,
    ``C_mash dT_mash/dt = G (T_base - T_mash) - 1/4 U (T_mash - T_room)``; the probe follows the bed with its lag.

    Parameters
    ----------
    base_lagged : bool
        The base sensor follows the base with the same time constant.
    loss_at_base : float or None
        Part of the loss that leaves from the base, above 0 and below 1; None makes the bed's loss a constant of its
        own (`bed_loss`), which a mash cannot tell but two bodies apart may. [1]

    Returns
    -------
    Model

    Examples
    --------
    >>> two_node().constants
    ('heat_share', 'base_heat_capacity', 'mash_heat_capacity', 'bed_conductance', 'heat_loss', 'probe_lag')
    """
    bed = {"mash_heat_capacity": -1.0}
    apart = loss_at_base is None
    at_base, at_bed = (1.0, 1.0) if loss_at_base is None else (loss_at_base, 1 - loss_at_base)
    rates = [
        *_base_rates("bed_conductance", 1.0, 1, at_base),
        ({"bed_conductance": 1.0, **bed}, 1.0, True, [(1, 0, 1.0), (1, 1, -1.0)], []),
        ({"bed_loss" if apart else "heat_loss": 1.0, **bed}, at_bed, False, [(1, 1, -1.0)], [(1, ROOM, 1.0)]),
    ]
    names: tuple[str, ...] = (
        "heat_share", "base_heat_capacity", "mash_heat_capacity", "bed_conductance", "heat_loss",
    )  # fmt: skip
    if apart:
        names = (*names, "bed_loss")
    return _assemble("two nodes", ("base", "bed"), names, rates, {1: 1.0}, base_lagged)


def layered(
    layers: int = LAYERS, depth: float = 0.5, *, base_lagged: bool = False, loss_at_base: float = LOSS_AT_BASE
) -> Model:
    """Base and a bed of equal layers through which the wort flows: base to top layer, bottom layer back to base.

    The exchange is the heat that the flow carries, ``W = bed_flow x heat capacity of a litre``; there is one constant
    for it, as in `two_node`.

    Parameters
    ----------
    layers : int
        Number of layers, at least 1.
    depth : float
        Where the probe stands, from 0 (top of the bed) to 1 (its bottom); between the middles of two layers it sees
        a mix of both. [1]
    base_lagged : bool
        The base sensor follows the base with the probe's time constant.
    loss_at_base : float
        Part of the loss that leaves from the base, 0 to 1. [1]

    Returns
    -------
    Model

    Notes
    -----
    Warming steadily, layer i of L stays behind the base by i C_mash / (L W) kelvins per kelvin a second, the mean of
    the bed by (L + 1) / (2 L) C_mash / W: the same lead as a conductance of 2 L / (L + 1) W (`conductance_of_flow`).

    Examples
    --------
    >>> layered().nodes
    ('base', 'bed 1', 'bed 2', 'bed 3', 'bed 4', 'bed 5', 'bed 6')
    """
    if layers < 1:
        raise ValueError(f"layers is {layers}; expected at least 1.")
    if not 0 <= depth <= 1:
        raise ValueError(f"depth is {depth}; expected 0 (top of the bed) to 1 (its bottom).")
    w = WORT_HEAT_PER_LITRE / 60
    bed = {"mash_heat_capacity": -1.0}
    flow = [(i, j, v) for i in range(1, layers + 1) for j, v in ((i - 1, 1.0), (i, -1.0))]
    rates = [
        *_base_rates("bed_flow", w, layers, loss_at_base),
        ({"bed_flow": 1.0, **bed}, w * layers, True, flow, []),
        (
            {"heat_loss": 1.0, **bed},
            1 - loss_at_base,
            False,
            [(i, i, -1.0) for i in range(1, layers + 1)],
            [(i, ROOM, 1.0) for i in range(1, layers + 1)],
        ),
    ]
    names = ("heat_share", "base_heat_capacity", "mash_heat_capacity", "bed_flow", "heat_loss")
    nodes = ("base", *(f"bed {i}" for i in range(1, layers + 1)))
    return _assemble("layered bed", nodes, names, rates, _mix(layers, depth), base_lagged)


def _mix(layers: int, depth: float) -> dict[int, float]:
    """Weights of the layers that a probe at `depth` sees."""
    place = float(np.clip(depth * layers - 0.5, 0, layers - 1))
    above = int(min(np.floor(place), layers - 1))
    share = place - above
    mix = {1 + above: 1 - share}
    if share > 0:
        mix[2 + above] = share
    return mix


def conductance_of_flow(flow: float, layers: int = LAYERS) -> float:
    """Two-node conductance that gives the same lead while warming steadily. [W/K]

    Parameters
    ----------
    flow : float
        Recirculated wort, at least 0. [L/min]
    layers : int
        Layers of the bed, at least 1.

    Examples
    --------
    >>> round(conductance_of_flow(3.0), 1)
    342.9
    """
    return flow * WORT_HEAT_PER_LITRE / 60 * 2 * layers / (layers + 1)


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
