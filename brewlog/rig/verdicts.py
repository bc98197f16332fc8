"""The table of constants: intervals over brews, verdicts in words, and what each rests on."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from brewlog.logbook.records import Rig
from brewlog.rig.bounds import BOUND_SD, LEAST_LAG, MASH_BOUND, MODEL_BOUND, PROBE_SD, walls_sd, with_bound, with_lag
from brewlog.rig.day import LOGGED_ROOM_SD
from brewlog.rig.interval import Interval, far_off, over_brews
from brewlog.rig.lackoffit import LackOfFit, lack_of_fit
from brewlog.rig.mashes import Mashes, Ready
from brewlog.rig.remarks import remarks
from brewlog.rig.vessel import Vessel, with_vessel
from brewlog.rig.watertests import WaterTests

UNITS = {
    "heat_share": "1",
    "vessel_heat_capacity": "J/K",
    "heat_loss": "W/K",
    "bed_flow": "L/min",
    "bed_conductance": "W/K",
    "probe_lag": "s",
    "probe_offset": "K",
    "vapour_loss": "W/kPa",
    "boil_off": "L/h",
    "absorption": "L/kg",
    "transfer_loss": "L",
}
"""Constants of a rig and their units, in the order of the table."""

LEARN = {
    "heat_share": "log mash_water and the grist, or a heat-up of measured water (water_tests.csv)",
    "vessel_heat_capacity": "log two heat-ups with very different litres (water_tests.csv)",
    "heat_loss": "log ambient_temp, or a cool-down of measured water (water_tests.csv)",
    "bed_flow": "log mash_temp and base_temp over a ramp",
    "bed_conductance": "log mash_temp and base_temp over a ramp",
    "probe_lag": "log mash_temp while the probe is moved from cold into hot stirred water",
    "probe_offset": "log mash_temp while the probe stands beside a good thermometer in stirred water",
    "vapour_loss": "log power, base_temp, pre-boil volume and gravity on the way to the boil",
    "boil_off": "log pre-boil and post-boil volumes and boil_time",
    "absorption": "log mash_water, sparge_water and the pre-boil volume",
    "transfer_loss": "log post-boil and fermenter volumes",
}
"""What would tell a constant that these data do not tell."""

IDENTIFIED, RATIO, UNTOLD = "identified", "only as ratio", "not told by these data"
_LIMITS = {"heat_share": (0.15, 0.0)}
"""Half-width up to which a constant counts as identified, relative and absolute; others 0.4 relative."""


def constants_table(
    record: Rig,
    per_brew: pd.DataFrame,
    mashes: Mashes,
    ready: Ready,
    vessel: Vessel,
    vessel_words: str,
    trials: WaterTests,
    volumes: Mapping[str, tuple[Interval, str]],
) -> tuple[pd.DataFrame, pd.DataFrame, LackOfFit, list[str]]:
    """Table of constants and the notes below it.

    Parameters
    ----------
    record : Rig
    per_brew : pandas.DataFrame
    mashes : Mashes
    ready : dict
    vessel : Vessel
    vessel_words : str
        What the vessel's prior rests on.
    trials : WaterTests
        Their heat-ups join the brews' heater shares; their losses count where no mash tells it, because water alone
        loses less than a mash.
    volumes : mapping of str to (Interval, str)

    Returns
    -------
    table : pandas.DataFrame
    spread : pandas.DataFrame
        Intervals without the bound of the model, that bound, and how much of it was added.
    lack : LackOfFit
    notes : list of str
    """
    notes: list[str] = []
    rows: dict[str, dict[str, object]] = {}
    spread: dict[str, dict[str, float]] = {}
    power_sd = float(np.median([r[0].power_sd for r in ready.values()])) if ready else 0.0
    scaled = any(r[3] is not None for r in ready.values())
    lack = lack_of_fit(mashes.fits[label] for label in mashes.lags if label in mashes.fits)
    for name in UNITS:
        if name in volumes:
            interval, rests = volumes[name]
            bound = BOUND_SD.get(name, 0.0)
            spread[name] = _spread(interval, bound, bound)
            rows[name] = _row(name, with_bound(interval, bound), rests)
        elif name == "vessel_heat_capacity":
            rows[name] = _vessel_row(vessel, vessel_words)
        elif name == "bed_flow" and mashes.model.name == "two nodes":
            continue
        else:
            interval, rests = _over(name, per_brew, trials, notes, mashes.lag_slope, vessel)
            absolute = name in PROBE_SD or name == "vapour_loss"
            bound = PROBE_SD.get(name, BOUND_SD.get(name, 0.0))
            if name == "vapour_loss":
                bound = walls_sd(float(rows["heat_loss"]["estimate"]))  # type: ignore[arg-type]
            if name in ("heat_share", "heat_loss"):  # all brews lean on the one vessel: their spread does not show it
                interval = with_bound(interval, _vessel_part(ready, vessel))
            added = 0.0 if spared(name, interval.estimate, lack) else bound
            if name == "heat_loss":
                bound, added = float(np.hypot(bound, power_sd)), float(np.hypot(added, power_sd))
            spread[name] = _spread(interval, bound, added)
            wide = with_bound(interval, 0.0, added) if absolute else with_bound(interval, added)
            words = f"{added:.2g} {UNITS[name]}" if absolute else f"{added:.1%}"
            rows[name] = _row(name, wide, rests + (f"; model ±{words}" if added else ""))
    _special(rows, record, per_brew, ready, scaled, notes)
    notes += remarks(per_brew, mashes, ready, scaled, power_sd, lack)
    table = pd.DataFrame.from_dict(rows, orient="index")
    table.index.name = "constant"
    return table, pd.DataFrame.from_dict(spread, orient="index"), lack, notes


def spared(name: str, estimate: float, lack: LackOfFit) -> bool:
    """Whether the bound of the model is not added, because brews show nothing that the model leaves out.

    A lag at the end of its range is not spared: there all brews agree without knowing it.
    """
    at_end = name == "probe_lag" and estimate < LEAST_LAG
    return name in MASH_BOUND and lack.excluded and not at_end


def _spread(interval: Interval, bound: float, added: float) -> dict[str, float]:
    return {"low": interval.low, "high": interval.high, "bound_sd": bound, "added_sd": added}


def _vessel_part(ready: Ready, vessel: Vessel) -> float:
    """Sd of the vessel's heat capacity as part of what stands in the kettle. [1]"""
    totals = [with_vessel(r[3], vessel).total for r in ready.values() if r[3] is not None]
    return vessel.sd / float(np.median(totals)) if totals else 0.0


def _over(
    name: str, per_brew: pd.DataFrame, trials: WaterTests, notes: list[str], lag_slope: float, vessel: Vessel
) -> tuple[Interval, str]:
    """Interval of one constant over brews; brews far off the others are named and left out."""
    values = per_brew[name].dropna().astype(float) if name in per_brew else pd.Series(dtype=float)
    if name in ("bed_flow", "bed_conductance") and len(values):
        both = values[per_brew.loc[values.index, "sees"] == "base and bed"]
        values = both if len(both) >= 3 else values
    brews = len(values)
    if name == "heat_share" and "effective_power" not in per_brew:
        tests = {k: s * with_vessel(w, vessel).total / w.total for k, (w, s) in trials.heat_ups.items()}
        values = pd.concat([values, pd.Series(tests, dtype=float)])
    single = None
    if len(values) == 1 == brews and f"{name}_sd" in per_brew:
        single = float(per_brew.loc[values.index[0], f"{name}_sd"])
    away = far_off(values.to_numpy())
    if away.any():
        labels = ", ".join(str(label) for label in values.index[away])
        notes.append(f"{name}: brew {labels} left out, further from the other brews than these are from each other.")
        values = values[~away]
    heat_ups = sum(str(label).startswith("test ") for label in values.index)
    rests = f"spread between {len(values) - heat_ups} brews" + (f" and {heat_ups} water tests" if heat_ups else "")
    if name == "heat_loss" and trials.losses and values.empty:
        values = pd.Series(dict(trials.losses), dtype=float)
        rests = f"{len(values)} cool-down tests with water alone"
    if name in ("heat_share", "heat_loss", "bed_flow", "bed_conductance") and "scale_from" in per_brew:
        sources = per_brew["scale_from"].value_counts()
        rests += "; scale from " + ", ".join(f"{source} ({n})" for source, n in sources.items())
    interval = over_brews(values.to_numpy(), single)
    if name in ("bed_flow", "bed_conductance") and "probe_lag" in per_brew and interval.brews > 1:
        interval = with_lag(interval, over_brews(per_brew["probe_lag"]), lag_slope)
    return interval, rests


def _row(name: str, interval: Interval, rests: str) -> dict[str, object]:
    half = (interval.high - interval.low) / 2
    relative, absolute = _LIMITS.get(name, (0.4, 0.0))
    known = interval.brews > 0 and np.isfinite(half) and name not in MODEL_BOUND
    told = known and half <= max(relative * abs(interval.estimate), absolute)
    verdict = IDENTIFIED if told else f"{UNTOLD}, {LEARN[name]}"
    low, high = limits_of(name, interval)
    return {
        "estimate": interval.estimate,
        "sd": interval.sd,
        "low": low,
        "high": high,
        "unit": UNITS[name],
        "brews": interval.brews,
        "verdict": verdict,
        "rests_on": rests if interval.brews else "nothing",
    }


def limits_of(name: str, interval: Interval) -> tuple[float, float]:
    """Limits of a constant: a share ends at one, and only an offset goes below zero.

    An estimate beyond that is left as it is, and its limits with it.

    Examples
    --------
    >>> limits_of("heat_share", Interval(0.97, 0.02, 0.91, 1.03, 4))
    (0.91, 1.0)
    """
    low, high = interval.low, interval.high
    if name != "probe_offset" and interval.estimate >= 0:
        low = max(low, 0.0)
    if name == "heat_share" and interval.estimate <= 1:
        high = min(high, 1.0)
    return low, high


def _vessel_row(vessel: Vessel, words: str) -> dict[str, object]:
    half = 1.96 * vessel.sd
    return {
        "estimate": vessel.heat_capacity,
        "sd": vessel.sd,
        "low": max(vessel.heat_capacity - half, 0.0),
        "high": vessel.heat_capacity + half,
        "unit": "J/K",
        "brews": vessel.heat_ups,
        "verdict": IDENTIFIED if vessel.told else f"{UNTOLD}, {LEARN['vessel_heat_capacity']}",
        "rests_on": f"{words}, weighed with {vessel.heat_ups} heat-ups" if vessel.heat_ups else words,
    }


def _special(
    rows: dict[str, dict[str, object]],
    record: Rig,
    per_brew: pd.DataFrame,
    ready: Ready,
    scaled: bool,
    notes: list[str],
) -> None:
    """Verdicts that follow from what was not recorded at all."""
    if "effective_power" in per_brew:
        watts = over_brews(per_brew["effective_power"])
        rows["heat_share"]["verdict"] = f"{RATIO}, log heater_power in rigs.csv"
        notes.append(
            f"heater_power is not recorded: only its product with heat_share is told, {watts.estimate:.0f} W "
            f"({watts.low:.0f} to {watts.high:.0f}) at full power."
        )
    if ready and not scaled:
        for name in ("heat_share", "heat_loss", "bed_flow", "bed_conductance"):
            if name in rows:
                rows[name]["verdict"] = f"{RATIO}, {LEARN['heat_share']}"
        if "loss_rate" in per_brew:
            loss = over_brews(1 / per_brew["loss_rate"] / 3600)
            notes.append(
                "Without litres and kilograms only time constants are told: heat_capacity / heat_loss "
                f"{loss.estimate:.1f} h ({loss.low:.1f} to {loss.high:.1f}). "
                "The other values assume a heater share of 0.93."
            )
    if (
        rows["heat_loss"]["brews"] == 1
        and ready
        and "room_sd" in per_brew
        and per_brew["room_sd"].max() > LOGGED_ROOM_SD
    ):
        rows["heat_loss"]["verdict"] = f"{UNTOLD}, one brew cannot tell it without the room: log ambient_temp"
