"""The extract balance of one brew: from its records to its efficiencies."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
from uncertainties import ufloat
from uncertainties.core import AffineScalarFunc, LinearCombination

from brewlog.logbook.records import Brew, Rig
from brewlog.sucrose import DENSITY_PER_SG, density_float, density_slope_float, sg_from_extract_float
from brewlog.wort.account import INDEX, STAGE_STATES
from brewlog.wort.books import Books, open_books
from brewlog.wort.checks import account_checks
from brewlog.wort.efficiencies import efficiencies, potentials
from brewlog.wort.instruments import DEAD_VOLUME_SD
from brewlog.wort.inventory import sum_additions
from brewlog.wort.judgement import Judgement, judge
from brewlog.wort.potential import weigh_grist
from brewlog.wort.reconcile import Array
from brewlog.wort.result import ExtractBalance
from brewlog.wort.stated import usable_rig

if TYPE_CHECKING:
    import pandas as pd

CONTRADICTION = "the readings contradict each other too far for any account: a unit, a stage or a decimal may be wrong"
"""Why nothing is known where no states come near the readings."""


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
        per kg] and `transfer_loss` [L: dead volume, hops, trub and hoses together], columns `estimate`, `sd`, `brews`.
        They join the account as further readings, with the offset of the instruments that they were once read with.

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
    rig, notes = usable_rig(rig)
    added = sum_additions(brew.additions)
    grist, no_potential = weigh_grist((*brew.malts, *added.malts))
    if ("mash", "extract") in added.unknown:
        grist, no_potential = None, "the mass of the extract added to the mash is not recorded"
    books = open_books(brew, rig, constants, grist, added)
    found = judge(books, rig)
    notes = [*notes, *(grist.notes if grist else ()), *added.notes, *books.notes, *found.notes]
    states, volume, gravity, mass = _stages(books, found)
    potential, coarse = potentials(grist, added)
    values, reasons = efficiencies(potential, no_potential, states, mass, gravity, books, notes)
    for quantity, known in (("pre_boil_volume", volume), ("pre_boil_gravity", gravity)):
        if "pre-boil" not in known:
            reasons[quantity] = f"no pre-boil {quantity.rsplit('_', 1)[1]} was read"
    if not found.final.converged:
        reasons = {name: reason if name == "potential" else CONTRADICTION for name, reason in reasons.items()}
    return ExtractBalance(
        brew=brew.label,
        potential=potential,
        potential_coarse=coarse,
        grist=None if grist is None else grist.grist,
        malt_extract=None if grist is None else 100.0 * grist.malt_extract,
        extract_mass=mass,
        volume=volume,
        gravity=gravity,
        states=states,
        **values,
        reasons=reasons,
        make_checks=partial(account_checks, brew, rig, books, found, values, states, grist),
        notes=tuple(dict.fromkeys(notes)),
        read=books.read,
        dead_volume=None if rig.dead_volume is None else ufloat(rig.dead_volume, DEAD_VOLUME_SD, tag="dead volume"),
    )


def _stages(books: Books, found: Judgement) -> tuple[Mapping[str, Any], ...]:
    """States that are known; volume at 20 degC, gravity and extract mass by stage. All share their errors."""
    final, widen = found.final, found.widen
    doubts = ["which reading slipped"] * (final.errors.shape[1] - books.parts.shape[1])
    variables = [ufloat(0.0, 1.0, tag=source) for source in [*(books.sources or [""]), *doubts]]

    def linear(value: float, row: Array) -> Any:
        return AffineScalarFunc(
            float(value),
            LinearCombination({variables[k]: float(row[k]) * widen for k in np.flatnonzero(row)}),
        )

    sane = final.converged and bool(np.all(np.isfinite(final.state)) and np.all(np.isfinite(final.errors)))
    known = {name: sane and bool(final.determined[k]) for name, k in INDEX.items()}
    states = {name: linear(final.state[k], final.errors[k]) for name, k in INDEX.items() if known[name]}
    volume, gravity, mass = {}, {}, {}
    for stage, (volume_state, extract_state) in STAGE_STATES.items():
        litres = 0.0
        if volume_state is not None and known[volume_state]:
            litres = float(final.state[INDEX[volume_state]])
        if litres > 0.0 and volume_state is not None:
            volume[stage] = states[volume_state]
        if not known[extract_state]:
            continue
        w, errors = np.array(final.state[INDEX[extract_state]]), final.errors[INDEX[extract_state]]
        rho, slope = float(density_float(w, 20.0)), float(density_slope_float(w, 20.0))
        gravity[stage] = linear(float(sg_from_extract_float(w)), errors * slope / DENSITY_PER_SG)
        if litres > 0.0 and volume_state is not None:
            row = final.errors[INDEX[volume_state]] * rho * float(w) + errors * litres * (rho + float(w) * slope)
            mass[stage] = linear(litres * rho * float(w) / 1000.0, row / 1000.0)
    if known["dissolved"]:
        mass["dissolved"] = states["dissolved"]
    return states, volume, gravity, mass
