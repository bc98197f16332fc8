"""The adjusted account in the terms of the trade: potential and efficiencies, or why one is missing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from uncertainties import ufloat
from uncertainties.core import AffineScalarFunc, LinearCombination

from brewlog.wort.account import INDEX
from brewlog.wort.books import Books
from brewlog.wort.inventory import Added
from brewlog.wort.potential import Grist

UNTRUSTED = 10.0
"""An efficiency with a larger sd is not given: the readings cannot tell. [%]"""
_TELLS_DISSOLVED = {
    "mash_water": "the mash water",
    "first_wort": "the gravity of the first wort (or a mash without rinsing)",
}
_TELLS_KETTLE = {"pre_volume": "pre-boil volume", "pre_extract": "pre-boil gravity"}


def potentials(grist: Grist | None, added: Added) -> tuple[Any, Any]:
    """Potential by fine and by coarse grind; extract added to the mash counts in full."""
    if grist is None:
        return None, None
    own = {name: ufloat(0.0, 1.0, tag=name) for name in {**grist.parts, **grist.coarse_parts}}
    extra = ufloat(0.0, 1.0, tag="extract added to the mash")

    def total(value: float, parts: Mapping[str, float]) -> Any:
        combination = {own[name]: part for name, part in parts.items()}
        if added.extract_sd["mash"]:
            combination[extra] = added.extract_sd["mash"]
        return AffineScalarFunc(value + added.extract["mash"], LinearCombination(combination))

    return total(grist.potential, grist.parts), total(grist.coarse, grist.coarse_parts)


def efficiencies(
    potential: Any,
    no_potential: str | None,
    state: Mapping[str, Any],
    mass: Mapping[str, Any],
    gravity: Mapping[str, Any],
    books: Books,
    notes: list[str],
) -> tuple[dict[str, Any], dict[str, str]]:
    """Conversion, lauter, mash and brewhouse efficiency, each with its reason where it is missing."""
    values: dict[str, Any] = dict.fromkeys(("conversion", "lauter", "mash", "brewhouse"))
    reasons: dict[str, str] = {}
    kettle, dissolved = mass.get("pre-boil"), mass.get("dissolved")
    if not {"pre_volume", "post_volume"} & books.read:
        kettle = None
    if dissolved is None:
        reasons["conversion"] = f"{_lacking(books, _TELLS_DISSOLVED)} would tell what was dissolved"
    if kettle is None:
        reasons["mash"] = f"not recorded: {_lacking(books, _TELLS_KETTLE)}"
    else:
        worked_out = [words for name, words in _TELLS_KETTLE.items() if name not in books.read]
        if worked_out and potential is not None:
            notes.append(f"{' and '.join(worked_out)} not read: worked out from the other readings.")
    if kettle is not None and dissolved is not None:
        values["lauter"] = 100.0 * kettle / dissolved
    else:
        reasons["lauter"] = "; ".join(reasons[name] for name in ("mash", "conversion") if name in reasons)
    fermenter, why = _fermenter(state, mass, gravity, books)
    if fermenter is None:
        reasons["brewhouse"] = why
    if potential is None:
        reasons |= dict.fromkeys(("potential", "conversion", "mash", "brewhouse"), no_potential or "no potential")
    else:
        extracts = {"conversion": dissolved, "mash": kettle, "brewhouse": fermenter}
        values |= {name: 100.0 * one / potential for name, one in extracts.items() if one is not None}
        if fermenter is not None:
            notes += _worked_out_later(state, books)
    for name, value in values.items():
        if value is not None and not value.std_dev < UNTRUSTED:
            reasons[name] = f"the readings cannot tell: {value.nominal_value:.0f} ± {value.std_dev:.0f} %"
            values[name] = None
    return values, reasons


def _fermenter(
    state: Mapping[str, Any], mass: Mapping[str, Any], gravity: Mapping[str, Any], books: Books
) -> tuple[Any, str]:
    """Extract from malt in the fermenter, or the reason why it is not known."""
    if "fermenter" not in mass or "fermenter_volume" not in books.read:
        wanted = {"fermenter_volume": "fermenter volume"}
        if "fermenter" not in gravity:
            wanted["fermenter_extract"] = "fermenter or post-boil gravity"
        return None, f"not recorded: {_lacking(books, wanted)}"
    for name, words in (("boil_extract", "boil"), ("fermenter_added_extract", "fermenter")):
        if name not in state:
            return None, f"not recorded: mass of the extract or sugar added in the {words}"
    return _from_malt(mass["fermenter"], mass, state), ""


def _worked_out_later(state: Mapping[str, Any], books: Books) -> list[str]:
    """Notes on what the brewhouse efficiency rests on without a reading of it."""
    notes = []
    if "fermenter_extract" not in books.read:
        if books.account.plain_transfer:
            notes.append("fermenter gravity not read: taken from the post-boil wort, which is as strong.")
        else:
            notes.append("fermenter gravity not read: worked out from the post-boil wort and what was added to it.")
    for name, words in (("boil_extract", "boil"), ("fermenter_added_extract", "fermenter")):
        if books.unknown[INDEX[name]]:
            amount = state[name]
            notes.append(
                f"extract or sugar added in the {words}: {amount.nominal_value:.2f} ± {amount.std_dev:.2f} kg of "
                "extract by the other readings."
            )
    return notes


def _lacking(books: Books, wanted: Mapping[str, str]) -> str:
    """Those of the wanted readings that were not taken, in words."""
    missing = [words for name, words in wanted.items() if name not in books.read]
    return " and ".join(missing or wanted.values())


def _from_malt(fermenter: Any, mass: Mapping[str, Any], state: Mapping[str, Any]) -> Any:
    """Extract in the fermenter that came out of the mash: without what was added later and its share of the losses."""
    in_boil, in_fermenter = state["boil_extract"], state["fermenter_added_extract"]
    arrived = fermenter - in_fermenter
    if in_boil.nominal_value == 0.0:
        return arrived
    kettle = mass.get("post-boil")
    if kettle is None:
        kettle = mass["pre-boil"] + in_boil if "pre-boil" in mass else arrived
    return arrived * (1.0 - in_boil / kettle)
