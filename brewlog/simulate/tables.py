"""Tables of a logbook as a brewer would type them: text cells, units in the headers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from brewlog.simulate.history import DatedDay
from brewlog.simulate.recipes import planned_volume
from brewlog.simulate.rigs import SimulatedRig
from brewlog.simulate.water_tests import SimulatedWaterTest

Row = dict[str, str]
Tables = dict[str, list[Row]]
"""File name to rows; a row maps headers to cells."""


def text(value: object, digits: int | None = None) -> str:
    """Cell as a brewer writes it; None and NaN are empty.

    Examples
    --------
    >>> text(5.50), text(1.0440, 4), text(None), text("shed")
    ('5.5', '1.0440', '', 'shed')
    """
    if value is None or (isinstance(value, float) and np.isnan(value)):
        return ""
    if isinstance(value, float | np.floating):
        return f"{value:.{digits}f}" if digits is not None else f"{float(value):.10g}"
    return str(value)


def rig_rows(rigs: Iterable[SimulatedRig]) -> list[Row]:
    """Rows of rigs.csv."""
    rows = []
    for rig in rigs:
        owned = rig.record()
        rows.append(
            {
                "rig": owned.label,
                "heater_power [W]": text(owned.heater_power),
                "kettle_volume [L]": text(owned.kettle_volume),
                "dead_volume [L]": text(owned.dead_volume),
                "sensor_sd [K]": text(owned.sensor_sd),
                "volume_sd [L]": text(owned.volume_sd),
                "gravity_sd": text(owned.gravity_sd),
                "hydrometer_temp [degC]": text(owned.hydrometer_temp),
                "refractometer_factor": text(owned.refractometer_factor),
                "vessel_mass [kg]": text(owned.vessel_mass),
                "vessel_material": text(owned.vessel_material),
                "notes": text(owned.notes),
            }
        )
    return rows


def brew_tables(brews: Sequence[DatedDay], with_events: Iterable[str] | None = None) -> Tables:
    """Tables of a history, complete and without a slip.

    Parameters
    ----------
    brews : sequence of DatedDay
    with_events : iterable of str, optional
        Labels of brews whose events were written down; None for all.

    Returns
    -------
    dict
        Rows of brews.csv, grist.csv, additions.csv, rests.csv, readings.csv and events.csv.
    """
    tables: Tables = {name: [] for name in ("brews", "grist", "additions", "rests", "readings", "events")}
    noted = None if with_events is None else set(with_events)
    for brew in brews:
        label = brew.day.plan.brew
        tables["brews"].append(_brew_row(brew))
        tables["grist"] += _grist_rows(brew)
        tables["additions"] += _addition_rows(brew)
        tables["rests"] += _rest_rows(brew)
        tables["readings"] += _reading_rows(brew)
        if noted is None or label in noted:
            tables["events"] += [
                {"brew": label, "elapsed [s]": text(event.elapsed), "event": event.event} for event in brew.day.events
            ]
    return tables


def planned_gravity(brew: DatedDay) -> float:
    """Pre-boil gravity that the recipe expects of the grist as weighed. [SG]"""
    plan = brew.day.plan
    potential = sum(malt.mass * (1 - malt.moisture) * malt.extract for malt in plan.malts)
    return 1 + 0.385 * 0.79 * potential / planned_volume(brew.day.rig)


def _brew_row(brew: DatedDay) -> Row:
    plan = brew.day.plan
    return {
        "brew": plan.brew,
        "date": brew.date.isoformat(),
        "rig": brew.day.rig.label,
        "recipe": brew.recipe,
        "style": brew.style,
        "heater_follows": plan.heater_follows,
        "mash_water [L]": text(plan.mash_water),
        "sparge_water [L]": text(plan.sparge_water),
        "sparge_temp [degC]": text(float(plan.sparge_temp)),
        "mill_gap [mm]": text(plan.mill_gap, 2),
        "grain_temp [degC]": text(plan.grain_temp),
        "ambient_temp [degC]": text(float(round(plan.room_temp))),
        "boil_time [min]": text(plan.boil_time),
        "cooling": plan.cooling,
        "altitude [m]": text(brew.day.rig.altitude),
        "planned_gravity": text(planned_gravity(brew), 3),
        "planned_volume [L]": text(planned_volume(brew.day.rig)),
        "changes": text(brew.changes),
        "pair": text(brew.pair),
        "notes": "",
    }


def _grist_rows(brew: DatedDay) -> list[Row]:
    return [
        {
            "brew": brew.day.plan.brew,
            "malt": malt.malt,
            "mass [kg]": text(malt.mass, 2),
            "extract [%]": text(100 * malt.extract, 1),
            "fine_coarse [%]": text(None if malt.fine_coarse is None else 100 * malt.fine_coarse, 1),
            "moisture [%]": text(100 * malt.moisture, 1),
        }
        for malt in brew.day.plan.malts
    ]


def _addition_rows(brew: DatedDay) -> list[Row]:
    plan, rows = brew.day.plan, []
    blank = dict.fromkeys(("mass [kg]", "volume [L]", "temp [degC]", "extract [%]"), "")
    if plan.kettle_sugar:
        sugar = {"what": "sugar", "stage": "boil", "mass [kg]": text(plan.kettle_sugar, 2), "extract [%]": "99.5"}
        rows.append({"brew": plan.brew, **blank, **sugar})
    if plan.top_up:
        water = {"what": "water", "stage": "boil", "volume [L]": text(plan.top_up), "temp [degC]": text(plan.tap_temp)}
        rows.append({"brew": plan.brew, **blank, **water, "event": "boil end"})
    for row in rows:
        row.setdefault("event", "")
    return rows


def _rest_rows(brew: DatedDay) -> list[Row]:
    return [
        {
            "brew": brew.day.plan.brew,
            "rest": str(number),
            "temp [degC]": text(rest.temp),
            "time [min]": text(rest.time),
            "headroom [K]": text(rest.headroom) if brew.day.plan.heater_follows == "mash" else "",
            "power [%]": text(rest.power),
            "purpose": rest.purpose,
        }
        for number, rest in enumerate(brew.day.plan.rests, start=1)
    ]


def _reading_rows(brew: DatedDay) -> list[Row]:
    digits = {"SG": 4, "Brix": 1, "L": 2}
    return [
        {
            "brew": reading.brew,
            "stage": reading.stage,
            "quantity": reading.quantity,
            "value": text(reading.value, digits[reading.unit]),
            "unit": reading.unit,
            "temp [degC]": text(reading.temp),
            "instrument": text(reading.instrument),
            "sd": "",
        }
        for reading in brew.day.readings
    ]


def water_test_rows(tests: Mapping[str, SimulatedWaterTest], dates: Mapping[str, str]) -> list[Row]:
    """Rows of water_tests.csv; `tests` and `dates` by label."""
    return [
        {
            "test": label,
            "rig": test.rig.label,
            "date": dates[label],
            "water [L]": text(test.water),
            "water_temp [degC]": text(test.water_temp),
            "kind": test.kind,
            "water_after [L]": text(test.water_after),
        }
        for label, test in tests.items()
    ]
