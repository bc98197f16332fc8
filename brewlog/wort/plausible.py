"""What in the account of a brew cannot be, or is seldom met."""

from __future__ import annotations

from collections.abc import Mapping
from math import hypot
from typing import Any

from brewlog.logbook.records import Brew, Rig
from brewlog.wort.instruments import DEAD_VOLUME_SD
from brewlog.wort.potential import Grist

# Ranges of the trade, for remarks only (common practice, no source).
_ABSORPTION = (0.4, 1.7)
_EVAPORATION = (0.02, 0.30)
_LEFT_BEHIND = 0.35


def plausible(
    brew: Brew, rig: Rig, efficiencies: Mapping[str, Any], states: Mapping[str, Any], grist: Grist | None
) -> dict[str, dict[str, Any]]:
    """Rows for what cannot be, or is seldom met; nothing where all is as usual."""
    rows: dict[str, dict[str, Any]] = {}

    def add(name: str, value: Any, unit: str, verdict: str) -> None:
        rows[name] = {"value": value.nominal_value, "sd": value.std_dev, "unit": unit, "verdict": verdict}

    for name, value in efficiencies.items():
        if value is not None and _above(value, 100.0):
            add(f"{name} above 100 %", value, "%", "cannot be: malt mass, its analysis, or a reading is wrong")
        if value is not None and _below(value, 0.0):
            add(f"{name} below 0", value, "%", "cannot be: an addition or a reading is wrong")
    for name, words in (("boil_extract", "boil"), ("fermenter_added_extract", "fermenter")):
        if name in states and _below(states[name], 0.0):
            add(f"extract added in the {words}", states[name], "kg", "cannot be below 0: a reading is wrong")
    if grist is not None and "held" in states:
        held = states["held"] / grist.grist
        if _below(held, _ABSORPTION[0]) or _above(held, _ABSORPTION[1]):
            add("absorption", held, "L/kg", "seldom met: water volumes or the pre-boil volume may be wrong")
    _boil(brew, states, add)
    _transfer(rig, states, add)
    return rows


def _boil(brew: Brew, states: Mapping[str, Any], add: Any) -> None:
    """Evaporation below nothing, or far from what is met."""
    if "evaporated" not in states or "pre_volume" not in states:
        return
    evaporated = states["evaporated"]
    if _below(evaporated, 0.0):
        add("evaporation below 0", evaporated, "kg", "cannot be: a volume is wrong, or something was added")
    elif brew.boil_time:
        share = evaporated / states["pre_volume"] / (brew.boil_time / 60.0)
        if _below(share, _EVAPORATION[0]) or _above(share, _EVAPORATION[1]):
            add("evaporation", 100 * share, "%/h", "seldom met: a volume or the length of the boil may be wrong")


def _transfer(rig: Rig, states: Mapping[str, Any], add: Any) -> None:
    """Less than nothing left behind, less than stays under the tap, or a large part of the brew."""
    if "loss" not in states:
        return
    loss = states["loss"]
    if _below(loss, 0.0):
        add("transfer loss below 0", loss, "L", "cannot be: a volume is wrong, or something was added")
    elif rig.dead_volume and loss.nominal_value + 2 * hypot(loss.std_dev, DEAD_VOLUME_SD) < rig.dead_volume:
        verdict = "seldom met: less stayed behind than stays under the tap; a volume or dead_volume may be wrong"
        add("transfer loss below the dead volume", loss, "L", verdict)
    elif "post_volume" in states and _above(loss / states["post_volume"], _LEFT_BEHIND):
        add("transfer loss", loss, "L", "seldom met: so much wort stayed behind, or the fermenter volume may be wrong")


def _below(value: Any, limit: float) -> bool:
    return bool(value.nominal_value + 2.0 * value.std_dev < limit)


def _above(value: Any, limit: float) -> bool:
    return bool(value.nominal_value - 2.0 * value.std_dev > limit)
