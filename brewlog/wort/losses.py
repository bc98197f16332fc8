"""Where extract and water went: the steps from potential to fermenter, and the water account."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from brewlog.sucrose import AIR_DENSITY, DENSITY_PER_SG
from brewlog.wort.account import WATER_20

if TYPE_CHECKING:
    from brewlog.wort.result import ExtractBalance


def waterfall(balance: ExtractBalance) -> pd.DataFrame:
    """Steps of extract from potential to fermenter.

    Parameters
    ----------
    balance : ExtractBalance

    Returns
    -------
    pandas.DataFrame
        Index = step; `estimate`, `sd`, `low`, `high` [kg], `share` and `share_sd` [% of potential], `kind` (`level`
        or `step`) and `would_tell`: the reading that would split a step which the readings cannot split. Empty where
        nothing is known.

    Notes
    -----
    The steps sum to the difference of the levels. A step that is not known is joined with the next.
    """
    mass, potential = balance.extract_mass, balance.potential
    rows: list[tuple[str, Any, str, str]] = []
    kettle = mass.get("pre-boil") if balance.mash is not None or potential is None else None
    dissolved = mass.get("dissolved") if balance.conversion is not None else None
    fermenter = mass.get("fermenter") if "fermenter_volume" in balance.read else None
    level, told = potential, ""
    if potential is not None:
        rows.append(("potential of the grist", potential, "level", ""))
    if level is not None and dissolved is not None:
        rows.append(("not dissolved in the mash", dissolved - level, "step", ""))
        level = dissolved
    if level is not None and kettle is not None:
        if dissolved is not None:
            rows.append(("left in the grain and the mash vessel", kettle - level, "step", ""))
        else:
            told = "What was not dissolved and what was not rinsed out cannot be told apart: " + _teller(balance)
            rows.append(("not dissolved or left in the grain", kettle - level, "step", told))
        rows.append(("in the kettle before the boil", kettle, "level", ""))
    if level is not None and fermenter is not None:
        rows += _into_fermenter(balance, kettle, level if kettle is None else kettle, fermenter, told)
    table = {}
    for step, value, kind, would_tell in rows:
        estimate, sd = value.nominal_value, value.std_dev
        row: dict[str, Any] = {
            "estimate": estimate,
            "sd": sd,
            "low": estimate - 1.96 * sd,
            "high": estimate + 1.96 * sd,
        }
        if potential is not None and potential.nominal_value > 0:
            share = 100.0 * value / potential
            row |= {"share": share.nominal_value, "share_sd": share.std_dev}
        table[step] = row | {"kind": kind, "would_tell": would_tell}
    columns = ["estimate", "sd", "low", "high", "share", "share_sd", "kind", "would_tell"]
    frame = pd.DataFrame.from_dict(table, orient="index", columns=columns)
    frame.index.name = "step"
    frame.attrs["units"] = {"estimate": "kg", "sd": "kg", "low": "kg", "high": "kg", "share": "%", "share_sd": "%"}
    return frame


def _into_fermenter(
    balance: ExtractBalance, kettle: Any, level: Any, fermenter: Any, told: str
) -> list[tuple[str, Any, str, str]]:
    """Steps from the kettle, or from the last level known, to the fermenter."""
    added, into = balance.states.get("boil_extract"), balance.states.get("fermenter_added_extract")
    arrived = ("in the fermenter", fermenter, "level", "")
    if added is None or into is None:
        words = "The mass of what was added later would tell how much was lost."
        return [("lost, less what was added unweighed", fermenter - level, "step", words), arrived]
    lost = fermenter - into - added - level
    rows = [("added in the boil", added, "step", "")] if added.nominal_value else []
    rows += (
        _transfer(balance, lost) if kettle is not None else [("lost on the way to the fermenter", lost, "step", told)]
    )
    rows += [("added in the fermenter", into, "step", "")] if into.nominal_value else []
    return [*rows, arrived]


def _transfer(balance: ExtractBalance, lost: Any) -> list[tuple[str, Any, str, str]]:
    """Steps of the way into the fermenter: what stayed under the tap apart from the rest, where the rig states it."""
    if balance.dead_volume is None or not {"post-boil"} <= balance.extract_mass.keys() & balance.volume.keys():
        told = (
            "What stayed under the tap, with hops and trub, and in hoses cannot be told apart: dead_volume in rigs.csv "
            "would tell the first."
        )
        return [("left in the kettle, hops, trub, hoses", lost, "step", told)]
    under_tap = balance.dead_volume * balance.extract_mass["post-boil"] / balance.volume["post-boil"]
    return [
        ("left under the tap", -under_tap, "step", ""),
        ("left with hops, trub and in hoses", lost + under_tap, "step", ""),
    ]


def _teller(balance: ExtractBalance) -> str:
    lacking = [
        words
        for name, words in (("first_wort", "the gravity of the first wort"), ("mash_water", "the mash water"))
        if name not in balance.read
    ]
    return f"{' and '.join(lacking) or 'a second gravity of the first wort'} would tell."


def water_account(balance: ExtractBalance) -> pd.DataFrame:
    """Water into and out of a brew.

    Parameters
    ----------
    balance : ExtractBalance

    Returns
    -------
    pandas.DataFrame
        Index = place; `estimate`, `sd`, `low`, `high` [kg] and `kind`: `in`, `out` or `level`. Places that are not
        known have no row.
    """
    states = balance.states
    rows: list[tuple[str, Any, str]] = []
    for name, words in (
        ("mash_water", "mash water"),
        ("malt_water", "moisture of the malt"),
        ("sparge_water", "rinse water"),
    ):
        if name in states:
            rows.append((words, states[name], "in"))
    if "held" in states:
        rows.append(("held by the grain", states["held"] * WATER_20, "out"))
    _level(balance, "pre-boil", "in the kettle before the boil", rows)
    _added(balance, "boil", rows)
    if "evaporated" in states:
        rows.append(("evaporated", states["evaporated"], "out"))
    _level(balance, "post-boil", "in the kettle after the boil", rows)
    if "loss" in states and "post-boil" in balance.gravity:
        per_litre = _water_per_litre(balance, "post-boil")
        if per_litre is not None:
            rows.append(("left in the kettle, hops, trub, hoses", states["loss"] * per_litre, "out"))
    _added(balance, "fermenter", rows)
    _level(balance, "fermenter", "in the fermenter", rows)
    frame = pd.DataFrame.from_dict(
        {
            words: {
                "estimate": value.nominal_value,
                "sd": value.std_dev,
                "low": value.nominal_value - 1.96 * value.std_dev,
                "high": value.nominal_value + 1.96 * value.std_dev,
                "kind": kind,
            }
            for words, value, kind in rows
        },
        orient="index",
        columns=["estimate", "sd", "low", "high", "kind"],
    )
    frame.index.name = "place"
    frame.attrs["units"] = dict.fromkeys(["estimate", "sd", "low", "high"], "kg")
    return frame


def _water_per_litre(balance: ExtractBalance, stage: str) -> Any:
    """Kilograms of water in a litre of the wort of a stage: its density less its extract."""
    if stage not in balance.extract_mass or stage not in balance.volume:
        return None
    density = (balance.gravity[stage] * DENSITY_PER_SG + AIR_DENSITY) / 1000.0
    return density - balance.extract_mass[stage] / balance.volume[stage]


def _level(balance: ExtractBalance, stage: str, words: str, rows: list[tuple[str, Any, str]]) -> None:
    per_litre = _water_per_litre(balance, stage)
    if per_litre is not None:
        rows.append((words, balance.volume[stage] * per_litre, "level"))


def _added(balance: ExtractBalance, stage: str, rows: list[tuple[str, Any, str]]) -> None:
    name = {"boil": "boil_water", "fermenter": "fermenter_added_water"}[stage]
    if name in balance.states and balance.states[name].nominal_value:
        rows.append((f"added in the {stage}", balance.states[name], "in"))
