"""Everything known of one brew, laid out for the reconciliation: states, readings, sources of error."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from brewlog.logbook.records import Brew, Rig
from brewlog.wort.account import INDEX, STAGE_STATES, STATES, Account
from brewlog.wort.datum import OFFSET, Datum
from brewlog.wort.inventory import Added, default_volume_sd, rig_data, water_data
from brewlog.wort.potential import Grist
from brewlog.wort.readings import read_brew
from brewlog.wort.reconcile import Array, Reconciled, reconcile

if TYPE_CHECKING:
    import pandas as pd

BOUND_WATER_SD = 0.005
"""Share of the mash water that starch may take up as it is split, one sd. It takes up about 1 % (stoichiometry), but in
the laboratory mash too, where nobody counts it either: the difference is what is left."""
_FROM_EARLIER_BREWS = (INDEX["loss"], INDEX["held"], INDEX["evaporated"])


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
        return reconcile(self.readings, self.parts, self._unknown(aside), self.account)

    def test(self, aside: Sequence[int] = ()) -> Reconciled:
        """Reconcile as if no error were shared, with the readings of some states set aside.

        The balances are differences, in which a shared offset cancels. How much of a stated standard deviation is
        offset nobody states; a test that assumed too much of it would cry wolf.
        """
        return reconcile(self.readings, self.apart, self._unknown(aside), self.account)

    def _unknown(self, aside: Sequence[int]) -> np.ndarray:
        unknown = self.unknown.copy()
        unknown[list(aside)] = True
        return unknown


def open_books(brew: Brew, rig: Rig, constants: pd.DataFrame | None, grist: Grist | None, added: Added) -> Books:
    """Lay out states, readings and sources of error."""
    data, notes = read_brew(brew, rig)
    data += water_data(brew, rig, added)
    data += rig_data(brew, constants, grist.grist if grist else None, data)
    values, states, repeats = _place(data)
    size = len(STATES) + len(repeats)
    entries = [
        (state, source, part)
        for state, datum in zip(states, data, strict=True)
        for source, part in datum.parts.items()
        if part
    ]
    entries += _unread(values, grist, added)
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
    nothing_joins = not (added.extract["fermenter"] or added.water["fermenter"])
    plain_transfer = nothing_joins and not any(stage == "fermenter" for stage, _ in added.unknown)
    account = Account(brew.sparge_water == 0.0, plain_transfer, tuple(repeats))
    read = frozenset(
        STATES[state] for datum, state in zip(data, states, strict=True) if datum.is_reading and state < len(STATES)
    )
    return Books(data, states, sources, _first_guess(brew, values, size), parts, apart, unknown, account, notes, read)


def _place(data: Sequence[Datum]) -> tuple[dict[int, float], list[int], list[int]]:
    """Value by state, the state of each datum, and the states that further readings repeat."""
    values: dict[int, float] = {}
    states: list[int] = []
    repeats: list[int] = []
    for datum in data:
        state = _state_of(datum)
        if state in values:
            repeats.append(state)
            state = len(STATES) + len(repeats) - 1
        values[state] = datum.value
        states.append(state)
    return values, states, repeats


def _unread(values: dict[int, float], grist: Grist | None, added: Added) -> list[tuple[int, str, float]]:
    """Put what is known without a reading into `values`; state, source and size of its errors."""
    water = values.get(INDEX["mash_water"], 0.0)
    values[INDEX["bound_water"]] = 0.0
    entries = [(INDEX["bound_water"], "water taken up by starch", BOUND_WATER_SD * water)]
    if grist is not None:
        values[INDEX["malt_water"]] = grist.water
        entries.append((INDEX["malt_water"], "moisture of the malts", grist.water_sd))
    for stage, prefix in (("boil", "boil"), ("fermenter", "fermenter_added")):
        for what, amount, sd in (
            ("extract", added.extract[stage], added.extract_sd[stage]),
            ("water", added.water[stage], added.water_sd[stage]),
        ):
            if (stage, what) in added.unknown:
                continue
            name = f"{prefix}_{what}"
            values[INDEX[name]] = amount
            if sd:
                entries.append((INDEX[name], f"addition: {name.replace('_', ' ')}", sd))
    return entries


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


def candidates(books: Books, rig: Rig) -> dict[str, tuple[int, float]]:
    """Readings that were not taken, with the sd they would have."""
    out = {}
    volume_sd = default_volume_sd(rig)
    extract_sd = (rig.gravity_sd or 0.0007) / 0.0042 / 100.0
    for stage, (volume, extract) in STAGE_STATES.items():
        for state, sd, what in ((volume, volume_sd, "volume"), (extract, extract_sd, "gravity")):
            if state is not None and state not in books.read:
                out[f"{stage} {what}"] = (INDEX[state], sd)
    return out
