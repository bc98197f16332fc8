"""Constants of volume: boil-off, absorption, dead volume, from readings of volume and gravity."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from brewlog.logbook.records import Brew, Rig
from brewlog.rig.capacity import grist_of
from brewlog.rig.interval import Interval, over_brews
from brewlog.wort.properties import extract_from_sg, wort_density

WATER_20 = 0.9982
"""[kg/L]"""


def stage_volumes(brew: Brew, rig: Rig | None) -> tuple[dict[str, float], dict[str, float]]:
    """Volume at 20 degC [L] and extract [1] by stage, as the extract balance has them."""
    from brewlog.wort import extract_balance

    balance = extract_balance(brew, rig)
    volume = {stage: float(v.nominal_value) for stage, v in balance.volume.items() if v is not None}
    extract = {stage: float(extract_from_sg(g.nominal_value)) for stage, g in balance.gravity.items() if g is not None}
    return volume, extract


def volume_constants(brews: Sequence[Brew], rig: Rig | None) -> tuple[dict[str, tuple[Interval, str]], dict[str, str]]:
    """Boil-off, absorption and dead volume over brews, with reasons for the brews that tell none.

    Parameters
    ----------
    brews : sequence of Brew
    rig : Rig or None

    Returns
    -------
    constants : dict
        Name to (interval, what it rests on).
    left_out : dict
        Label and matter to reason.

    Notes
    -----
    boil_off = (pre-boil - post-boil + top-up) / boil time; absorption = (water in - water in the pre-boil wort) /
    grist, steam of the mash counted with it; dead_volume = post-boil - fermenter, trub and hops counted with it.
    """
    values: dict[str, list[float]] = {"boil_off": [], "absorption": [], "dead_volume": []}
    reasons: dict[str, str] = {}
    for brew in brews:
        try:
            volume, extract = stage_volumes(brew, rig)
        except ValueError as error:
            reasons[f"{brew.label}, volumes"] = str(error)
            continue
        pre, post, last = (volume.get(stage) for stage in ("pre-boil", "post-boil", "fermenter"))
        added = _poured(brew)
        if pre is not None and post is not None and brew.boil_time and added is not None:
            values["boil_off"].append((pre - post + added) / (brew.boil_time / 60))
        if post is not None and last is not None:
            values["dead_volume"].append(post - last)
        grist = grist_of(brew)
        if pre is not None and "pre-boil" in extract and brew.mash_water is not None and grist is not None:
            poured = (brew.mash_water + (brew.sparge_water or 0.0)) * WATER_20 + grist[0] * grist[1]
            wort = pre * float(wort_density(extract["pre-boil"], 20.0)) / 1000 * (1 - extract["pre-boil"])
            values["absorption"].append((poured - wort) / WATER_20 / grist[0])
    out = {}
    for name, found in values.items():
        good = np.array(found, dtype=float)
        rests = f"volume readings of {good.size} brews"
        if name == "dead_volume":
            rests += ", trub and hops counted with it"
            if good.size == 0 and rig is not None and rig.dead_volume is not None:
                nan = float("nan")
                out[name] = (Interval(rig.dead_volume, nan, nan, nan, 0), "the value in rigs.csv")
                continue
        if name == "absorption":
            rests += ", steam of the mash counted with it"
        out[name] = (over_brews(good), rests)
    return out, reasons


def _poured(brew: Brew) -> float | None:
    """Water that joined in the boil [L]; None where its volume is not recorded."""
    total = 0.0
    for addition in brew.additions:
        if addition.stage == "boil" and addition.what == "water":
            if addition.volume is None:
                return None
            total += addition.volume
    return total
