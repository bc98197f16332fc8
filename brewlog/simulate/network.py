"""Heat between nodes that exchange heat by conduction and by flow: the exact step over a stretch of constant power."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

INPUTS = ("power", "room", "taken")
"""What acts on a network from outside: heat into the powered node [W], room temperature [degC], heat taken from the
wet node by evaporation or by a cooling coil [W]."""


def exponential(matrix: np.ndarray) -> np.ndarray:
    """Exponential of a small square matrix by scaling, Taylor series and squaring, to rounding error.

    Hundreds of small exponentials make a day; library routines hand even these to several threads, which makes a
    busy machine many times slower.

    Examples
    --------
    >>> exponential(np.array([[0.0, 1.0], [0.0, 0.0]]))
    array([[1., 1.],
           [0., 1.]])
    """
    size = float(np.abs(matrix).sum(axis=0).max())
    halvings = max(0, int(np.ceil(np.log2(max(size, 1e-300) / 0.25))))
    scaled = matrix / 2.0**halvings
    result = np.eye(len(matrix))
    term = result
    for order in range(1, 13):  # 0.25^13 / 13! is below 1e-17
        term = term @ scaled / order
        result = result + term
    for _ in range(halvings):
        result = result @ result
    return result


@dataclass(frozen=True)
class Network:
    """Nodes with heat capacities and what joins them.

    Sensors are followers: they read a weighted mean of nodes through a first-order lag and take no heat.
    """

    capacities: Mapping[str, float]
    """Heat capacity of each node, above 0. [J/K]"""
    conductances: Sequence[tuple[str, str, float]] = ()
    """Pairs of nodes and the heat exchanged per kelvin between them. [W/K]"""
    flows: Sequence[tuple[str, str, float]] = ()
    """From node, to node, mass flow times specific heat. Each node must get as much as it gives. [W/K]"""
    losses: Mapping[str, float] = field(default_factory=dict)
    """Heat lost by a node per kelvin above the room. [W/K]"""
    followers: Mapping[str, tuple[Mapping[str, float], float]] = field(default_factory=dict)
    """Sensor: weights of the nodes that it sees (they sum to 1), and its lag. [s]"""
    powered: str = "element"
    """The node that the heater's power enters."""
    wet: str = "base"
    """The node from which heat is taken: its surface steams, or the coil stands in it."""

    @property
    def states(self) -> tuple[str, ...]:
        """Names of the states in order: nodes, followers, then `lost`, the heat given to the room so far [J]."""
        return (*self.capacities, *self.followers, "lost")

    def rates(self) -> np.ndarray:
        """Matrix of the linear equations, shape (states, states + inputs), columns in the order of both."""
        at = {name: k for k, name in enumerate((*self.states, *INPUTS))}
        matrix = np.zeros((len(self.states), len(at)))
        for one, other, conductance in self.conductances:
            for here, there in ((one, other), (other, one)):
                matrix[at[here], at[there]] += conductance / self.capacities[here]
                matrix[at[here], at[here]] -= conductance / self.capacities[here]
        for source, target, carried in self.flows:
            matrix[at[target], at[source]] += carried / self.capacities[target]
            matrix[at[target], at[target]] -= carried / self.capacities[target]
        for node, loss in self.losses.items():
            matrix[at[node], at["room"]] += loss / self.capacities[node]
            matrix[at[node], at[node]] -= loss / self.capacities[node]
            matrix[at["lost"], at[node]] += loss
            matrix[at["lost"], at["room"]] -= loss
        for sensor, (weights, lag) in self.followers.items():
            matrix[at[sensor], at[sensor]] = -1 / lag
            for node, weight in weights.items():
                matrix[at[sensor], at[node]] += weight / lag
        matrix[at[self.powered], at["power"]] = 1 / self.capacities[self.powered]
        matrix[at[self.wet], at["taken"]] = -1 / self.capacities[self.wet]
        return matrix

    def step(self, seconds: float) -> np.ndarray:
        """Exact step over `seconds` with inputs held constant.

        Returns
        -------
        numpy.ndarray, shape (states, states + inputs)
            Multiply it with the states followed by the inputs to get the states `seconds` later.

        Notes
        -----
        With constant inputs u the linear equations dx/dt = A x + B u are solved exactly by the exponential of the
        matrix [[A, B], [0, 0]] times the length of the step.

        Examples
        --------
        >>> bath = Network({"base": 1000.0}, losses={"base": 10.0}, powered="base")
        >>> after = bath.step(100.0) @ [60.0, 0.0, 0.0, 20.0, 0.0]
        >>> round(float(after[0]) - 20, 3), round(40 / 2.718281828, 3)
        (14.715, 14.715)
        """
        rates = self.rates()
        square = np.zeros((rates.shape[1], rates.shape[1]))
        square[: rates.shape[0]] = rates
        return exponential(square * seconds)[: rates.shape[0]]
