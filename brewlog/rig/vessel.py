"""Heater share and vessel from heat-ups with different litres of water."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from brewlog.rig.capacity import Inventory


@dataclass(frozen=True, slots=True)
class Vessel:
    """Heat capacity of the empty vessel: what was recorded, weighed with what heat-ups tell."""

    heat_capacity: float
    sd: float
    prior_sd: float
    heat_ups: int

    @property
    def told(self) -> bool:
        """True where the heat-ups at least halved the uncertainty of the records."""
        return self.sd < 0.5 * self.prior_sd


def fit_vessel(
    waters: Sequence[Inventory], shares: Sequence[float], prior: tuple[float, float], scatter: float = 0.025
) -> Vessel:
    """Heat capacity of the vessel from heat-ups.

    A heat-up tells (water + vessel) / share. Where the litres differ enough, share and vessel come apart; where they do
    not, the prior stays.

    Parameters
    ----------
    waters : sequence of Inventory
        Of each heat-up.
    shares : sequence of float
        As fitted with the total heat capacity of that inventory.
    prior : (float, float)
        Vessel as recorded and its sd. [J/K]
    scatter : float
        Relative scatter of one heat-up (litres, mains); from four heat-ups on their own scatter counts if larger. [1]

    Returns
    -------
    Vessel

    Notes
    -----
    Apparent capacities u = total / share fulfil u = (water + C_v) / share: fitted by Gauss-Newton in (log share, C_v)
    with the prior as one more row.
    """
    value, prior_sd = prior
    n = len(waters)
    if n == 0:
        return Vessel(value, prior_sd, prior_sd, 0)
    water = np.array([w.water for w in waters])
    seen = np.log([w.total / s for w, s in zip(waters, shares, strict=True)])
    log_share, vessel = float(np.log(np.median(shares))), value
    cov: np.ndarray = np.eye(2)
    for _ in range(20):
        rest = seen - (np.log(water + vessel) - log_share)
        width = max(scatter, float(np.sqrt((rest**2).sum() / (n - 2)))) if n >= 4 else scatter
        rows = np.column_stack([-np.ones(n), 1 / (water + vessel)]) / width
        rows = np.vstack([rows, [0.0, 1 / prior_sd]])
        right = np.append(rest / width, (value - vessel) / prior_sd)
        cov = np.linalg.inv(rows.T @ rows)
        step = cov @ rows.T @ right
        log_share += step[0]
        vessel = max(vessel + step[1], 1.0)
        if abs(step[1]) < 1e-9 * max(vessel, 1.0):
            break
    return Vessel(vessel, float(np.sqrt(cov[1, 1])), prior_sd, n)


def with_vessel(inventory: Inventory, vessel: Vessel) -> Inventory:
    """The same inventory with the vessel as fitted."""
    return replace(inventory, vessel=vessel.heat_capacity, vessel_sd=vessel.sd)
