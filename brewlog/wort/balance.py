"""The extract balance of one brew: from its records to its efficiencies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from math import sqrt
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import chdtrc
from uncertainties import ufloat
from uncertainties.core import AffineScalarFunc, LinearCombination

from brewlog.logbook.records import Brew, Rig
from brewlog.wort.account import INDEX, STAGE_STATES, STATES, WATER_20, Account
from brewlog.wort.checks import account_checks
from brewlog.wort.inventory import default_volume_sd, rig_data, sum_additions, water_data
from brewlog.wort.potential import Grist, weigh_grist
from brewlog.wort.properties import density_float, density_slope_float, sg_from_extract_float
from brewlog.wort.readings import OFFSET, Datum, read_brew
from brewlog.wort.reconcile import Array, Reconciled, reconcile
from brewlog.wort.result import ExtractBalance
from brewlog.wort.suspects import ALARM, Suspect, average_fits, deciding_reading, find_suspects, weigh_suspects

if TYPE_CHECKING:
    import pandas as pd

BOUND_WATER_SD = 0.005
"""Share of the mash water that starch may take up as it is split, one sd. It takes up about 1 % (stoichiometry), but in
the laboratory mash too, where nobody counts it either: the difference is what is left."""
_FROM_EARLIER_BREWS = (INDEX["loss"], INDEX["held"], INDEX["evaporated"])
UNTRUSTED = 10.0
"""An efficiency with a larger sd is not given: the readings cannot tell. [%]"""


@dataclass
class Books:
    """Everything known of one brew, laid out for `reconcile`."""

    data: list[Datum]
    states: list[int]
    """State of each datum."""
    sources: dict[str, int]
    readings: Array
    parts: Array
    apart: Array
    """As `parts`, with the offset of an instrument drawn anew for each of its readings."""
    unknown: np.ndarray
    account: Account
    notes: list[str] = field(default_factory=list)
    read: frozenset[str] = frozenset()
    """Names of the states that were read."""

    def solve(self, aside: Sequence[int] = ()) -> Reconciled:
        """Reconcile, with the readings of some states set aside."""
        unknown = self.unknown.copy()
        unknown[list(aside)] = True
        return reconcile(self.readings, self.parts, unknown, self.account)

    def test(self) -> Reconciled:
        """Reconcile as if no error were shared.

        The balances are differences, in which a shared offset cancels. How much of a stated standard deviation is
        offset nobody states; a test that assumed too much of it would cry wolf.
        """
        return reconcile(self.readings, self.apart, self.unknown, self.account)


def extract_balance(brew: Brew, rig: Rig | None, constants: pd.DataFrame | None = None) -> ExtractBalance:
    """Account of one brew's extract: what the malt could give, and what was dissolved, rinsed, boiled and fermented.

    Whatever is not recorded is missing from the result with its reason; nothing in a record raises an error. Readings
    are brought to 20 degC. Where more was read than needed, the readings are adjusted within their standard deviations
    so that water and extract balance; a reading that cannot be reconciled with the others is named and set aside.

    Parameters
    ----------
    brew : Brew
    rig : Rig or None
        The rig it was brewed on; None takes the defaults of its instruments.
    constants : pandas.DataFrame, optional
        What earlier brews of the rig tell, as `RigFit.constants`: rows `boil_off` [L/h], `absorption` [L of water
        per kg] and `dead_volume` [L, with trub and hops], columns `estimate`, `sd`, `brews`. They join the account as
        further readings, with the offset of the instruments that they were once read with.

    Returns
    -------
    ExtractBalance

    Notes
    -----
    Extract in wort = volume x density x mass fraction, all at 20 degC. Potential = sum of malt mass x (1 - moisture) x
    fine grind extract on dry basis. conversion = extract dissolved at the end of the mash / potential; lauter = extract
    in the kettle / extract dissolved; mash = conversion x lauter; brewhouse = extract from malt in the fermenter /
    potential. What was dissolved follows from the first wort, ``w (water + dissolved) = dissolved``.

    References
    ----------
    .. [1] Narasimhan, S., Jordache, C., "Data Reconciliation and Gross Error Detection", 2000.

    Examples
    --------
    >>> from brewlog.logbook.records import Brew, Malt, Reading, Rig
    >>> brew = Brew("1", malts=(Malt("1", "pale malt", 5.2, malt_extract=0.81, moisture=0.04),), readings=(
    ...     Reading("1", "pre-boil", "gravity", 1.0440, "SG", 20.0),
    ...     Reading("1", "pre-boil", "volume", 28.6, "L", 70.0)))
    >>> print(f"{extract_balance(brew, Rig('kitchen')).mash:.1f}")
    79.2+/-1.7
    """
    rig = Rig("") if rig is None else rig
    added = sum_additions(brew.additions)
    grist, no_potential = weigh_grist((*brew.malts, *added.malts))
    books = _open_books(brew, rig, constants, grist, added)
    final, test = books.solve(), books.test()
    suspects: list[Suspect] = []
    decider, widen = None, 1.0
    notes = [*(grist.notes if grist else ()), *added.notes, *books.notes]
    if test.df and test.p_value < ALARM:
        sizes = [abs(datum.value) if datum.is_reading else np.inf for datum in books.data]
        suspects = find_suspects(test, books.states, [datum.name for datum in books.data], sizes)
        without = [books.solve([suspect.state]) for suspect in suspects]
        if without and all(np.array_equal(one.determined, final.determined) for one in without):
            final = average_fits(without, weigh_suspects(suspects))
            names = " or ".join(suspect.name for suspect in suspects)
            notes.append(f"{names}: does not fit the rest of the account, the figures do without it.")
        if len(suspects) > 1:
            decider = deciding_reading(without, _candidates(books, rig))
        left, df = test.chi_square - (suspects[0].gain if suspects else 0.0), test.df - bool(suspects)
        if df and chdtrc(df, left) < ALARM:
            widen = sqrt(left / df)
            notes.append(f"the account does not close even so; every standard deviation is widened by {widen:.1f}.")
    return _result(brew, grist, no_potential, added, books, test, final, suspects, decider, widen, notes)


def _open_books(brew: Brew, rig: Rig, constants: pd.DataFrame | None, grist: Grist | None, added: Any) -> Books:
    """Lay out states, readings and sources of error."""
    data, notes = read_brew(brew, rig)
    data += water_data(brew, rig, added)
    data += rig_data(brew, constants, grist.grist if grist else None, data)
    size = len(STATES)
    values: dict[int, float] = {}
    entries: list[tuple[int, str, float]] = []
    states: list[int] = []
    repeats: list[int] = []
    for datum in data:
        state = _state_of(datum)
        if state in values:
            repeats.append(state)
            state = size
            size += 1
        values[state] = datum.value
        states.append(state)
        entries += [(state, source, part) for source, part in datum.parts.items() if part]
    values[INDEX["bound_water"]] = 0.0
    water = values.get(INDEX["mash_water"], 0.0)
    entries.append((INDEX["bound_water"], "water taken up by starch", BOUND_WATER_SD * water))
    no_rinse = brew.sparge_water is not None and brew.sparge_water == 0.0
    if grist is not None:
        values[INDEX["malt_water"]] = grist.water
        entries.append((INDEX["malt_water"], "moisture of the malts", grist.water_sd))
    for name, stage, amount, sd in (
        ("boil_extract", "boil", added.extract, added.extract_sd),
        ("boil_water", "boil", added.water, added.water_sd),
        ("fermenter_added_extract", "fermenter", added.extract, added.extract_sd),
        ("fermenter_added_water", "fermenter", added.water, added.water_sd),
    ):
        values[INDEX[name]] = amount[stage]
        if sd[stage]:
            entries.append((INDEX[name], f"addition: {name.replace('_', ' ')}", sd[stage]))
    sources: dict[str, int] = {}
    for _, source, _ in entries:
        sources.setdefault(source, len(sources))
    parts = np.zeros((size, max(len(sources), 1)))
    apart = np.zeros((size, max(len(entries), 1)))
    for number, (state, source, part) in enumerate(entries):
        parts[state, sources[source]] += part
        if not (source.endswith(OFFSET) and state in _FROM_EARLIER_BREWS):
            apart[state, number] = part
    unknown = np.ones(size, dtype=bool)
    unknown[list(values)] = False
    readings = _first_guess(brew, values, size)
    account = Account(no_rinse, added.extract["fermenter"] == 0 and added.water["fermenter"] == 0, tuple(repeats))
    read = frozenset(
        STATES[state] for datum, state in zip(data, states, strict=True) if datum.is_reading and state < len(STATES)
    )
    return Books(data, states, sources, readings, parts, apart, unknown, account, notes, read)


def _state_of(datum: Datum) -> int:
    """State that a datum reads."""
    if datum.quantity in INDEX:
        return INDEX[datum.quantity]
    volume, extract = STAGE_STATES[datum.stage]
    name = extract if datum.quantity == "extract" else volume
    assert name is not None  # the volume of the first wort is not read
    return INDEX[name]


def _first_guess(brew: Brew, values: Mapping[int, float], size: int) -> Array:
    """Readings, and a plausible start where there are none."""
    x = np.zeros(size)

    def pick(*names: str, default: float) -> float:
        return next((values[INDEX[name]] for name in names if INDEX[name] in values), default)

    pre = pick("pre_volume", default=pick("post_volume", "fermenter_volume", default=brew.planned_volume or 25.0) * 1.1)
    strength = pick("pre_extract", "post_extract", "fermenter_extract", default=0.11)
    x[INDEX["pre_volume"]] = pre
    x[INDEX["post_volume"]] = pick("post_volume", default=pre * 0.9)
    x[INDEX["fermenter_volume"]] = pick("fermenter_volume", default=x[INDEX["post_volume"]] * 0.95)
    x[INDEX["pre_extract"]] = strength
    x[INDEX["post_extract"]] = pick("post_extract", "fermenter_extract", default=strength * 1.1)
    x[INDEX["fermenter_extract"]] = x[INDEX["post_extract"]]
    x[INDEX["first_wort"]] = pick("first_wort", default=1.2 * strength)
    x[INDEX["mash_water"]] = pick("mash_water", default=pre)
    x[INDEX["dissolved"]] = x[INDEX["first_wort"]] * x[INDEX["mash_water"]] / (1.0 - x[INDEX["first_wort"]])
    x[INDEX["held"]] = 4.0
    x[INDEX["evaporated"]] = 3.0
    x[INDEX["loss"]] = 1.0
    for state, value in values.items():
        x[state] = value
    return x


def _candidates(books: Books, rig: Rig) -> dict[str, tuple[int, float]]:
    """Readings that were not taken, with the sd they would have."""
    out = {}
    volume_sd = default_volume_sd(rig)
    extract_sd = (rig.gravity_sd or 0.0007) / 0.0042 / 100.0
    for stage, (volume, extract) in STAGE_STATES.items():
        for state, sd, what in ((volume, volume_sd, "volume"), (extract, extract_sd, "gravity")):
            if state is not None and state not in books.read:
                out[f"{stage} {what}"] = (INDEX[state], sd)
    return out


def _result(
    brew: Brew,
    grist: Grist | None,
    no_potential: str | None,
    added: Any,
    books: Books,
    test: Reconciled,
    final: Reconciled,
    suspects: list[Suspect],
    decider: str | None,
    widen: float,
    notes: list[str],
) -> ExtractBalance:
    """Put the adjusted states into the terms of the trade."""
    doubts = ["which reading slipped"] * (final.errors.shape[1] - books.parts.shape[1])
    variables = [ufloat(0.0, 1.0, tag=source) for source in [*(books.sources or [""]), *doubts]]

    def linear(value: float, row: Array) -> Any:
        return AffineScalarFunc(
            float(value),
            LinearCombination({variables[k]: float(row[k]) * widen for k in np.flatnonzero(row)}),
        )

    sane = np.all(np.isfinite(final.state))
    known = {name: bool(sane and final.determined[INDEX[name]]) for name in STATES}
    state = {name: linear(final.state[k], final.errors[k]) for name, k in INDEX.items() if known[name]}
    volume, gravity, mass = {}, {}, {}
    for stage, (volume_state, extract_state) in STAGE_STATES.items():
        assert extract_state is not None
        w, k = float(final.state[INDEX[extract_state]]), INDEX[extract_state]
        if known[extract_state]:
            rho, slope = float(density_float(np.array(w), 20.0)), float(density_slope_float(np.array(w), 20.0))
            gravity[stage] = linear(
                float(sg_from_extract_float(np.array(w))), final.errors[k] * slope / (1000.0 * WATER_20 - 1.2)
            )
        if volume_state is not None and known[volume_state]:
            litres = float(final.state[INDEX[volume_state]])
            if litres > 0:
                volume[stage] = state[volume_state]
                if known[extract_state]:
                    row = final.errors[INDEX[volume_state]] * rho * w + final.errors[k] * litres * (rho + w * slope)
                    mass[stage] = linear(litres * rho * w / 1000.0, row / 1000.0)
    if known["dissolved"]:
        mass["dissolved"] = state["dissolved"]
    potential, coarse = _potentials(grist, added, variables, books)
    efficiencies, reasons = _efficiencies(potential, no_potential, state, mass, gravity, books, notes)
    for quantity, known_stages in (("pre_boil_volume", volume), ("pre_boil_gravity", gravity)):
        if "pre-boil" not in known_stages:
            reasons[quantity] = f"no pre-boil {quantity.rsplit('_', 1)[1]} was read"
    return ExtractBalance(
        brew=brew.label,
        potential=potential,
        potential_coarse=coarse,
        grist=None if grist is None else grist.grist,
        malt_extract=None if grist is None else grist.malt_extract,
        extract_mass=mass,
        volume=volume,
        gravity=gravity,
        states=state,
        **efficiencies,
        reasons=reasons,
        make_checks=partial(account_checks, brew, books, test, final, suspects, decider, efficiencies, state, grist),
        notes=tuple(dict.fromkeys(notes)),
        read=books.read,
    )


def _potentials(grist: Grist | None, added: Any, variables: list[Any], books: Books) -> tuple[Any, Any]:
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


def _efficiencies(
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
    kettle, dissolved, fermenter = mass.get("pre-boil"), mass.get("dissolved"), mass.get("fermenter")
    if kettle is not None and not {"pre_volume", "post_volume"} & books.read:
        kettle = None
    if dissolved is None:
        lacking = _lacking(
            books,
            {"mash_water": "the mash water", "first_wort": "the gravity of the first wort (or a mash without rinsing)"},
        )
        reasons["conversion"] = f"{lacking} would tell what was dissolved"
    elif potential is not None:
        values["conversion"] = 100.0 * dissolved / potential
    if kettle is None:
        lacking = _lacking(books, {"pre_volume": "pre-boil volume", "pre_extract": "pre-boil gravity"})
        reasons["mash"] = f"not recorded: {lacking}"
    elif potential is not None:
        values["mash"] = 100.0 * kettle / potential
        worked_out = [
            words
            for name, words in (("pre_volume", "pre-boil volume"), ("pre_extract", "pre-boil gravity"))
            if name not in books.read
        ]
        if worked_out:
            notes.append(f"{' and '.join(worked_out)} not read: worked out from the other readings.")
    if kettle is not None and dissolved is not None:
        values["lauter"] = 100.0 * kettle / dissolved
    else:
        reasons["lauter"] = "; ".join(reasons[name] for name in ("mash", "conversion") if name in reasons)
    if fermenter is None or "fermenter_volume" not in books.read:
        lacking = _lacking(
            books,
            {"fermenter_volume": "fermenter volume"}
            | ({} if "fermenter" in gravity else {"fermenter_extract": "fermenter or post-boil gravity"}),
        )
        reasons["brewhouse"] = f"not recorded: {lacking}"
    elif potential is not None:
        values["brewhouse"] = 100.0 * _from_malt(fermenter, mass, state) / potential
        if "fermenter_extract" not in books.read:
            notes.append("fermenter gravity not read: taken from the post-boil wort, which is as strong.")
    if potential is None:
        for name in ("conversion", "mash", "brewhouse"):
            reasons[name] = no_potential or "no potential"
        reasons["potential"] = no_potential or "no potential"
    for name, value in values.items():
        if value is not None and not value.std_dev < UNTRUSTED:
            reasons[name] = f"the readings cannot tell: {value.nominal_value:.0f} +- {value.std_dev:.0f} %"
            values[name] = None
    return values, reasons


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
