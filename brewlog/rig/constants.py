"""`calibrate`: one rig's constants from its brew days, each with its interval and what it rests on."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import pandas as pd

from brewlog.logbook.records import Brew, Rig
from brewlog.rig.alignment import Alignment, align, earlier, earlier_day
from brewlog.rig.boiling import Told, boil_share
from brewlog.rig.brewrows import HeatUps, StretchRow, brew_rows
from brewlog.rig.capacity import Inventory, vessel_from_records
from brewlog.rig.checks import checks
from brewlog.rig.daily import TYPICAL, DayFit, bed_model, fit_heat_up, fit_mash, prepare, prepare_heat_up
from brewlog.rig.fitting import ModelFit
from brewlog.rig.mashes import Ready, fit_mashes
from brewlog.rig.rigfit import RigFit
from brewlog.rig.series import Series
from brewlog.rig.standing import standing_water
from brewlog.rig.verdicts import constants_table
from brewlog.rig.vessel import Vessel, fit_vessel
from brewlog.rig.volumes import StageVolumes, stage_volumes, volume_constants
from brewlog.rig.watertests import WaterTests, water_test_rows


def calibrate(book: Any, rig: Rig | str, *, model: str | None = None, brews: Iterable[str] | None = None) -> RigFit:
    """Find one rig's constants from its brews and water tests.

    Each brew is fitted by itself; intervals come from the spread between brews, wider by what the model may leave out
    unless six mashes or more show nothing of the kind (see the notes). Brews without a usable trace, and
    stretches that cannot be used, are listed in `left_out` with the reason. Nothing raises for lack of data: a constant
    that the data do not tell says so in its verdict.

    Single wild readings lose their weight; dropouts are not seen, and over more than five minutes without base sensor
    or power nothing is bridged. Without a power channel a brew is left out; without nameplate power or without litres
    and kilograms only ratios are told. One sensor alone tells share and loss, with the parting of the heat capacity and
    the lag of the other brews. A controller that falls back to the base sensor, or a missing set temperature, changes
    nothing: heater and temperatures say it all (set temperature serves the power limits of a 0/1 log only).

    Parameters
    ----------
    book : Logbook
    rig : str or Rig
        Label of the rig, or its record.
    model : str, optional
        `layered bed` or `two nodes`; if None the layered bed, unless two nodes leave clearly less of the temperatures
        unexplained (the notes say so).
    brews : iterable of str, optional
        Labels to use; all brews of the rig if None.

    Returns
    -------
    RigFit

    Raises
    ------
    KeyError
        If the logbook has no such rig.
    ValueError
        If `model` is neither of the two words.
    """
    record = book.rigs[rig] if isinstance(rig, str) else rig
    wanted = None if brews is None else set(brews)
    chosen = [b for b in book.brews_of(record.label) if wanted is None or b.label in wanted]
    tests = [t for t in book.water_tests.values() if t.rig in (record.label, None)]
    return fit_rig(record, chosen, tests, model=model)


def fit_rig(record: Rig, brews: Iterable[Brew], tests: Iterable[Any] = (), *, model: str | None = None) -> RigFit:
    """Find one rig's constants from records: `calibrate` without a logbook.

    Parameters
    ----------
    record : Rig
    brews : iterable of Brew
    tests : iterable of WaterTest
    model : str, optional
        As of `calibrate`.

    Returns
    -------
    RigFit
    """
    brews = list(brews)
    left_out: dict[str, str] = {}
    ready = _ready(brews, record, left_out)
    alignment = _alignment(ready, model or "layered bed")
    if alignment.before:
        ready = {
            k: (earlier_day(d), [earlier(s) for s in series], sees, i) for k, (d, series, sees, i) in ready.items()
        }
    mashes = fit_mashes(ready, model, left_out)
    losses = [f.constants["heat_loss"] for f in mashes.fits.values()]
    loss = float(np.median(losses)) if losses else TYPICAL["heat_loss"]
    trials = water_test_rows(list(tests), record, loss, left_out)
    heat_ups = _heat_ups(brews, record, ready, loss, trials, left_out)
    vessel, words = _vessel(record, ready, heat_ups, trials)
    stages = _stages(brews, record, left_out)
    boils = _boils(brews, ready, stages, loss, left_out)
    per_brew, per_stretch = brew_rows(ready, mashes, heat_ups, vessel, boils)
    per_stretch += trials.rows + checks(brews, record, ready, mashes, per_brew, stages, loss, vessel, left_out)
    volumes = volume_constants(brews, record, stages)
    table, spread, lack, notes = constants_table(record, per_brew, mashes, ready, vessel, words, trials, volumes)
    notes += [words for words in (_weights(per_stretch), alignment.words()) if words]
    days = {label: _day(label, ready[label], mashes.fits.get(label), heat_ups.get(label)) for label in ready}
    notes += _account(left_out, brews)
    stretches = pd.DataFrame(per_stretch, columns=["brew", "stretch", "constant", "estimate", "sd", "weight"])
    why = pd.Series(left_out, dtype=object, name="reason")
    return RigFit(
        record.label,
        table,
        per_brew,
        stretches,
        why,
        tuple(notes),
        mashes.model,
        record,
        days,
        spread,
        alignment.before,
        lack,
    )


def _ready(brews: list[Brew], record: Rig, left_out: dict[str, str]) -> Ready:
    """Arrays of every brew whose mash can be used; reasons for the others."""
    ready: Ready = {}
    for brew in brews:
        try:
            ready[brew.label] = prepare(brew, record)
        except ValueError as error:
            left_out[brew.label] = str(error)
    return ready


def _alignment(ready: Ready, model: str) -> Alignment:
    def fit(label: str, series: list[Series]) -> ModelFit | None:
        day, _, _, inventory = ready[label]
        try:
            return fit_mash(series, bed_model(model), inventory, day.room_sd, powered=day.power is not None)
        except (ValueError, np.linalg.LinAlgError):
            return None

    return align({label: r[1] for label, r in ready.items() if r[2] == "base and bed"}, fit)


def _heat_ups(
    brews: list[Brew], record: Rig, ready: Ready, loss: float, trials: WaterTests, left_out: dict[str, str]
) -> HeatUps:
    """Heating of the strike water, and its standing where it stood, of every brew."""
    found: HeatUps = {}
    for brew in brews:
        if brew.label not in ready:
            continue
        day = ready[brew.label][0]
        try:
            stood, water = standing_water(brew, record, day)
            trials.losses[brew.label] = stood
            trials.rows.append((brew.label, "cool-down", "heat_loss", stood, stood * water.sd / water.total, 1.0))
        except ValueError:
            pass  # most strike water never stands
    standing = float(np.median(list(trials.losses.values()))) if trials.losses else None
    for brew in brews:
        if brew.label not in ready:
            continue
        try:
            day = ready[brew.label][0]
            series, water = prepare_heat_up(brew, record, day)
            found[brew.label] = fit_heat_up(series, water, loss, day.power is not None, standing), water
        except ValueError as error:
            left_out[f"{brew.label}, heat-up"] = str(error)
    return found


def _vessel(record: Rig, ready: Ready, heat_ups: HeatUps, trials: WaterTests) -> tuple[Vessel, str]:
    """Heat capacity of the vessel from records and heat-ups, and what the records rest on."""
    value, sd, words = vessel_from_records(record)
    powered = [label for label in heat_ups if ready[label][0].power is not None]
    vessel = fit_vessel(
        [heat_ups[label][1] for label in powered] + [w for w, _ in trials.heat_ups.values()],
        [heat_ups[label][0].constants["heat_share"] for label in powered] + [s for _, s in trials.heat_ups.values()],
        (value, sd),
    )
    return vessel, words


def _stages(brews: list[Brew], record: Rig, left_out: dict[str, str]) -> dict[str, StageVolumes]:
    stages = {}
    for brew in brews:
        try:
            stages[brew.label] = stage_volumes(brew, record)
        except ValueError as error:
            left_out[f"{brew.label}, volumes"] = str(error)
    return stages


def _boils(
    brews: list[Brew], ready: Ready, stages: dict[str, StageVolumes], loss: float, left_out: dict[str, str]
) -> dict[str, Told]:
    """Heater share from the boil of every brew; no reason is listed for brews of which no volume was read."""
    found = {}
    for brew in brews:
        if brew.label in ready and stages.get(brew.label) and stages[brew.label].volume:
            try:
                found[brew.label] = boil_share(brew, ready[brew.label][0], stages[brew.label], loss)
            except ValueError as error:
                left_out[f"{brew.label}, boil"] = str(error)
    return found


def _day(label: str, ready: tuple, mash: ModelFit | None, heat_up: tuple[ModelFit, Inventory] | None) -> DayFit:
    heat, water = heat_up if heat_up is not None else (None, None)
    return DayFit(label, ready[0], mash, ready[3], heat, water, ready[2], {})


def _weights(rows: list[StretchRow]) -> str:
    """Which stretches the heater share rests on, and what was shown as a check only."""
    shares = [row for row in rows if row[2] == "heat_share" and not row[0].startswith("test ")]
    if not shares:
        return ""
    brews = len({row[0] for row in shares})
    parts = {
        stretch: sum(row[5] for row in shares if row[1] == stretch) / brews for stretch in ("heat-up", "mash", "boil")
    }
    text = ", ".join(f"{stretch} {100 * part:.0f} %" for stretch, part in parts.items() if part > 0)
    text = f"The heater share rests on {text}, weighed by what each stretch knows."
    if any(row[1] == "mash-in" for row in rows):
        text += " The drop at mash-in is shown as a check and does not count: steam while stirring makes it 8 % low."
    return text


def _account(left_out: dict[str, str], brews: list[Brew]) -> list[str]:
    """How many brews were used, and why the others were not."""
    labels = {brew.label for brew in brews}
    whole = [reason for label, reason in left_out.items() if label in labels]
    text = f"{len(brews)} brews of this rig; {len(brews) - len(whole)} used"
    if whole:
        counts = pd.Series(whole).value_counts()
        text += "; left out: " + ", ".join(f"{reason} ({n})" for reason, n in counts.items())
    return [text + "."]
