"""One scale for one day: heater share and heat capacities from every stretch that tells them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from brewlog.rig.boiling import Told
from brewlog.rig.capacity import Inventory

MASH_MODEL_SD = 0.04
"""By how much the bed's idealisation can mistake the ratio of heater share to heat capacity. [1]"""
HEAT_UP_MODEL_SD = 0.01
"""The same for stirred water. [1]"""
BOIL_MODEL_SD = 0.04
"""What the boil's balance leaves out: heat of hops and sugar, drops on the lid, marks read hot. [1]"""


@dataclass(frozen=True, slots=True)
class Scale:
    """Heater share of one day and the factor on its mash, weighed from all that sets the scale."""

    heat_share: float
    heat_share_sd: float
    factor: float
    """On heat capacity, loss and flow of the mash fit."""
    factor_sd: float
    told_by: str
    weights: Mapping[str, float] = field(default_factory=dict)
    """Part of the share that rests on each stretch. [1]"""


def weigh_scale(
    share_mash: float | None,
    mash: Inventory | None,
    share_heat_up: float | None,
    water: Inventory | None,
    boil: Told | None = None,
    mash_sd: float = 0.0,
) -> Scale | None:
    """Heater share and scale of the mash from all stretches of a day together.

    Mash and heat-up rest on the same litres of water, so an error of these does not average out; the boil rests on
    two readings of volume.

    Parameters
    ----------
    share_mash, share_heat_up : float or None
        As fitted with the heat capacity of the inventory.
    mash, water : Inventory or None
        Of the mash, of the strike water.
    boil : Told, optional
        Share from the boil.
    mash_sd : float
        Relative sd of the mash's share that its own temperatures leave: a short mash hardly tells it. [1]

    Returns
    -------
    Scale or None
        None where neither heat-up nor mash tells a share.

    Notes
    -----
    Unknown are the logarithms of the share and of two scales: of the water (prior sd 2 %) and of malt and vessel. Each
    stretch measures share over heat capacity, with its model error.

    Examples
    --------
    >>> kettle = Inventory(8e4, 0.0, 4e3, 1600.0, 0.0, 600.0, "")
    >>> scale = weigh_scale(None, None, 0.95, kettle, Told(0.93, 0.06))
    >>> round(scale.heat_share_sd, 3), {name: round(part, 2) for name, part in scale.weights.items()}
    (0.021, {'heat-up': 0.92, 'boil': 0.08})
    >>> mash = Inventory(8e4, 3e4, 4e3, 1600.0, 2000.0, 600.0, "")
    >>> [round(weigh_scale(0.6, mash, 0.95, kettle, mash_sd=sd).heat_share, 2) for sd in (0.0, 0.5)]
    [0.9, 0.95]
    """
    any_ = water or mash
    if any_ is None or (share_mash is None and share_heat_up is None):
        return None
    rest = float(np.hypot(mash.malt_sd, mash.vessel_sd) / (mash.malt + mash.vessel)) if mash is not None else 1e-6
    rows: list[list[float]] = [[0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    values, sds = [0.0, 0.0], [any_.water_sd / any_.water, rest]
    told: list[str] = []

    def add(stretch: str, row: list[float], share: float, sd: float) -> None:
        rows.append(row)
        values.append(float(np.log(share)))
        sds.append(sd)
        told.append(stretch)

    if share_heat_up is not None and water is not None:
        sd = float(np.hypot(HEAT_UP_MODEL_SD, water.vessel_sd / water.total))
        add("heat-up", [1.0, -water.water / water.total, 0.0], share_heat_up, sd)
    if share_mash is not None and mash is not None:
        part = mash.water / mash.total
        add("mash", [1.0, -part, -(1 - part)], share_mash, float(np.hypot(MASH_MODEL_SD, mash_sd)))
    if boil is not None:
        add("boil", [1.0, 0.0, 0.0], boil.estimate, float(np.hypot(boil.sd / boil.estimate, BOIL_MODEL_SD)))
    weighed = np.array(rows) / np.array(sds)[:, None]
    cov = np.linalg.inv(weighed.T @ weighed)
    gain = cov @ weighed.T / np.array(sds)
    found = gain @ np.array(values)
    share = float(np.exp(found[0]))
    grow = np.zeros(3)
    if mash is not None:
        grow = np.array([0.0, mash.water / mash.total, 1 - mash.water / mash.total])
    return Scale(
        share,
        share * float(np.sqrt(cov[0, 0])),
        float(np.exp(grow @ found)),
        float(np.sqrt(grow @ cov @ grow)),
        " and ".join(told) if len(told) < 3 else ", ".join(told[:-1]) + " and " + told[-1],
        dict(zip(told, gain[0, 2:].tolist(), strict=True)),
    )
