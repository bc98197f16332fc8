"""Thermal models of a rig: one node, two nodes, or a layered bed with a flow through it."""

from __future__ import annotations

from functools import cache

import numpy as np

from brewlog.rig.linear import POWER, ROOM, VAPOUR, Model, assemble, step

__all__ = ["LAYERS", "LOSS_AT_BASE", "WORT_HEAT_PER_LITRE", "Model", "conductance_of_flow", "layered", "one_node"]
__all__ += ["step", "two_node"]

WORT_HEAT_PER_LITRE = 4.0e3
"""Heat capacity of a litre of mash wort: 1.02 kg/L x 3.92 kJ/kgK, 12 % extract at 65 degC. [J/K per L]"""

LOSS_AT_BASE = 0.75
"""Part of the loss that is taken from the base; the rest leaves from the bed.

Temperatures cannot tell the two losses apart, so their ratio is fixed and their sum is fitted."""

LAYERS = 6
"""Layers of the bed. Six left 15 to 30 % less rms than three on simulated days with eight layers, and a flow nearer
to the true one; where the bed is simpler they do no worse."""


@cache
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
    return assemble("one node", ("base",), names, rates, None, base_lagged)


def _base_rates(coupling: str, factor: float, last: int, loss: float) -> list:
    """Rates at the base: heater, loss, and exchange with the node `last` from which the wort comes back."""
    c = {"base_heat_capacity": -1.0}
    return [
        ({"heat_share": 1.0, **c}, 1.0, False, [], [(0, POWER, 1.0)]),
        ({"heat_loss": 1.0, **c}, loss, False, [(0, 0, -1.0)], [(0, ROOM, 1.0)]),
        ({coupling: 1.0, **c}, factor, True, [(0, 0, -1.0), (0, last, 1.0)], []),
    ]


@cache
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
    return assemble("two nodes", ("base", "bed"), names, rates, {1: 1.0}, base_lagged)


@cache
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
    return assemble("layered bed", nodes, names, rates, _mix(layers, depth), base_lagged)


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
