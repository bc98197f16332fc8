"""What single stretches tell beside the constants' main sources: the drop at mash-in, and vapour before the boil."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from brewlog.logbook.records import Brew, Rig
from brewlog.rig.boiling import Told, vapour_on_the_way
from brewlog.rig.brewrows import StretchRow
from brewlog.rig.daily import bed_part
from brewlog.rig.mashes import Mashes, Ready
from brewlog.rig.mashin import mash_in_capacity
from brewlog.rig.vessel import Vessel, with_vessel
from brewlog.rig.volumes import StageVolumes


def checks(
    brews: Sequence[Brew],
    rig: Rig,
    ready: Ready,
    mashes: Mashes,
    per_brew: pd.DataFrame,
    stages: Mapping[str, StageVolumes],
    loss: float,
    vessel: Vessel,
    left_out: dict[str, str],
) -> list[StretchRow]:
    """Rows of the two stretches, one per brew that tells them; `per_brew` gets a column `vapour_loss`.

    Parameters
    ----------
    brews : sequence of Brew
    rig : Rig
    ready : dict
    mashes : Mashes
    per_brew : pandas.DataFrame
        Changed in place.
    stages : mapping of str to StageVolumes
    loss : float
        Of the mash. [W/K]
    vessel : Vessel
    left_out : dict
        Reasons are added here, for brews of which the needed volumes or sensors are there.

    Returns
    -------
    list of StretchRow
    """
    rows: list[StretchRow] = []
    for brew in brews:
        label = brew.label
        if label not in per_brew.index or ready[label][0].power is None:
            continue
        share = per_brew["heat_share"].get(label, np.nan) if "heat_share" in per_brew else np.nan
        if not np.isfinite(share):
            continue
        told = Told(float(share), float(per_brew.loc[label, "heat_share_sd"]))  # type: ignore[arg-type]
        if label in stages and "pre-boil" in stages[label].volume:
            try:
                vapour = vapour_on_the_way(ready[label][0], rig, stages[label], told, loss, vessel.heat_capacity)
                per_brew.loc[label, ["vapour_loss", "vapour_loss_sd"]] = vapour.estimate, vapour.sd
                rows.append((label, "way to the boil", "vapour_loss", vapour.estimate, vapour.sd, 1.0))
            except ValueError as error:
                left_out[f"{label}, way to the boil"] = str(error)
        if label in mashes.lags:
            try:
                rows.append(_drop(brew, ready, mashes, per_brew, told.estimate, vessel))
            except ValueError as error:
                left_out[f"{label}, mash-in"] = str(error)
    return rows


def _drop(brew: Brew, ready: Ready, mashes: Mashes, per_brew: pd.DataFrame, share: float, vessel: Vessel) -> StretchRow:
    day, series, _, inventory = ready[brew.label]
    if inventory is None:
        raise ValueError("mash_water or grist is not recorded")
    mash = with_vessel(inventory, vessel)
    fit = mashes.fits[brew.label]
    part = fit.constants["mash_heat_capacity"] / fit.constants["heat_capacity"]
    part = part if np.isfinite(part) else bed_part(mash)
    loss = float(per_brew.loc[brew.label, "heat_loss"])  # type: ignore[arg-type]
    told = mash_in_capacity(brew, day, series[0], mash, part, loss, share)
    return brew.label, "mash-in", "heat_capacity", told.estimate, told.sd, 0.0
