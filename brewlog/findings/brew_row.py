"""One brew as a row of the brew table: settings, efficiencies, holds, and a reason for what is missing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from brewlog.findings.brew_day import BrewDay, brew_day

if TYPE_CHECKING:
    from brewlog.logbook import Logbook
    from brewlog.logbook.records import Brew

EFFICIENCIES = ("conversion", "lauter", "mash", "brewhouse")
COLUMNS = (
    "brew",
    "date",
    "rig",
    "control",
    "control_from",
    *(name + tail for name in EFFICIENCIES for tail in ("", "_sd")),
    "hold_rms",
    "hold_rms_sd",
    "hold_bias",
    "hold_from",
    "lateness",
    "grist",
    "malt_extract",
    "mill_gap",
    "thickness",
    "mash_time",
    "mash_out",
    "programme",
    "sparge",
    "pre_boil_volume",
    "pre_boil_gravity",
    "planned_gravity",
    "planned_volume",
    "changes",
    "pair",
    "changed_since",
    "instruments",
    "missing",
)
"""Columns of the brew table, in this order; the brewer's own columns stand before `missing`."""


def brew_row(
    book: Logbook, brew: Brew, fits: Mapping[str, Any], rig_reasons: Mapping[str, str], day: BrewDay | None = None
) -> dict[str, Any]:
    """One row of the brew table, without what changed since the brew before; `day` is worked out when None."""
    rig = book.rig_of(brew)
    fit = fits.get(rig.label) if rig is not None else None
    if day is None:
        day = brew_day(brew, rig, fit)
    missing: dict[str, str] = {}
    row: dict[str, Any] = dict.fromkeys(COLUMNS, np.nan)
    row |= {"brew": brew.label, "date": brew.date, "rig": rig.label if rig is not None else brew.rig or ""}
    row |= _settings(brew, missing)
    row |= _efficiencies(day, missing)
    why = rig_reasons.get(row["rig"], "the rig has no constants") if fit is None else ""
    row |= _holds(brew, day, why, missing)
    row |= {name: text for name, text in brew.own.items() if name not in COLUMNS and str(text).strip()}
    row["missing"] = join_missing(missing)
    return row


def join_missing(reasons: Mapping[str, str]) -> str:
    """Reasons as one text, each reason once after the names of all columns that it concerns.

    Examples
    --------
    >>> join_missing({"mill_gap": "not recorded", "hold_rms": "no trace", "sparge": "not recorded"})
    'mill_gap, sparge: not recorded; hold_rms: no trace'
    """
    groups: dict[str, list[str]] = {}
    for name, reason in reasons.items():
        groups.setdefault(reason.replace("; ", ", "), []).append(name)
    return "; ".join(f"{', '.join(columns)}: {reason}" for reason, columns in groups.items())


def programme(brew: Brew) -> str:
    """Planned rest temperatures in order, to whole degrees, without the mash-out; empty where none is planned."""
    from brewlog.mash.asked import purposes

    words = purposes(brew.rests)
    return "-".join(f"{rest.temp:.0f}" for rest, word in zip(brew.rests, words, strict=True) if word != "mash-out")


def _settings(brew: Brew, missing: dict[str, str]) -> dict[str, Any]:
    masses = [malt.mass for malt in brew.malts]
    found: dict[str, Any] = {}
    if not masses:
        missing["grist"] = "no malts in grist.csv"
    elif None in masses:
        missing["grist"] = "a malt without a mass"
    else:
        found["grist"] = float(sum(mass for mass in masses if mass is not None))
    analysed = [(malt.mass, malt.malt_extract) for malt in brew.malts if malt.mass and malt.malt_extract is not None]
    if len(analysed) == len(masses) and analysed:
        weight = sum(mass for mass, _ in analysed)
        found["malt_extract"] = 100.0 * sum(mass * extract for mass, extract in analysed) / weight
    else:
        missing["malt_extract"] = "not every malt has a laboratory extract"
    for name, value in {
        "mill_gap": brew.mill_gap,
        "sparge": brew.sparge_water,
        "planned_gravity": brew.planned_gravity,
        "planned_volume": brew.planned_volume,
    }.items():
        if value is None:
            missing[name] = "not recorded"
        else:
            found[name] = value
    if brew.mash_water is None or not found.get("grist"):
        missing["thickness"] = "mash water not recorded" if brew.mash_water is None else "mass of the grist not known"
    else:
        found["thickness"] = brew.mash_water / found["grist"]
    if brew.date is None:
        missing["date"] = "not recorded"
    used = [
        reading.instrument
        for reading in brew.readings
        if reading.quantity in ("gravity", "volume") and reading.stage != "first wort"
    ]
    found["instruments"] = ", ".join(sorted({word for word in used if word}))
    return found | {
        "changes": brew.changes or "",
        "pair": brew.pair or "",
        "changed_since": "",
        "programme": programme(brew),
    }


def _efficiencies(day: BrewDay, missing: dict[str, str]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    balance = day.balance
    if balance is None:
        lost = [*EFFICIENCIES, "pre_boil_volume", "pre_boil_gravity"]
        missing |= dict.fromkeys(lost, day.reasons.get("balance", "no extract account"))
        return found
    for name in EFFICIENCIES:
        value = getattr(balance, name)
        if value is None:
            missing[name] = balance.reasons.get(name, "not enough readings")
        else:
            found |= {name: value.nominal_value, f"{name}_sd": value.std_dev}
    for name, part in (("pre_boil_volume", balance.volume), ("pre_boil_gravity", balance.gravity)):
        value = part.get("pre-boil")
        if value is None:
            missing[name] = balance.reasons.get(name, "not read")
        else:
            found[name] = value.nominal_value
    return found


def _holds(brew: Brew, day: BrewDay, why_no_fit: str, missing: dict[str, str]) -> dict[str, Any]:
    from brewlog.mash import control_sensor

    control, source = control_sensor(brew)
    found: dict[str, Any] = {"control": control or "", "control_from": source or ""}
    if control is None:
        missing["control"] = "not recorded, and the trace does not tell"
    held = day.held
    if held is None:
        lost = ("hold_rms", "mash_time", "mash_out", "lateness")
        missing |= dict.fromkeys(lost, day.reasons.get("held", "the trace does not tell"))
        return found
    why = day.reasons.get("reconstructed", "")
    if why_no_fit and held.overall.get("hold_from") is None and brew.trace is not None:
        why = f"no bed probe, and {why_no_fit}"
    for name in ("hold_rms", "hold_rms_sd", "hold_bias", "lateness", "mash_time", "mash_out"):
        value = held.overall.get(name)
        if value is None or not np.isfinite(float(value)):
            if not name.endswith("_sd"):
                reason = held.reasons.get(name, "the trace does not tell")
                missing[name] = f"{reason}, {why}" if why else reason
        else:
            found[name] = float(value)
    found["hold_from"] = held.overall.get("hold_from") or ""
    return found
