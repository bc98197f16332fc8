"""What of a trace is no measurement: found, left out, and told at its line."""

from __future__ import annotations

import numpy as np
import pandas as pd

from brewlog.logbook.bed_probe import find_fallback, find_probe_out
from brewlog.logbook.faults import find_absent, find_gaps
from brewlog.logbook.layout import CHANNELS
from brewlog.logbook.order import Told
from brewlog.logbook.records import TraceFault
from brewlog.logbook.spikes import clean_channel
from brewlog.logbook.stuck import find_frozen, find_stuck
from brewlog.logbook.telling import Teller

MOST_FAULTS = 5
"""Faults of one kind in one channel that are told one by one."""
_SENSORS = ("mash_temp", "base_temp")
SPARSE = 0.8
"""Share of a trace's time in gaps of much the same length from which its rows are that far apart. [1]"""
_WISHES = {
    "gap": "rows at most 5 min apart",
    "dropout": "values at most 5 min apart",
    "out of order": "times that rise",
    "restart": "times that rise",
    "clock reset": "times that rise",
    "newest first": "times that rise",
    "duplicate time": "each time once",
    "coarse clock": "each time once",
    "control fallback": "the bed probe's values",
}


def clean(frame: pd.DataFrame, follows: str | None = None) -> list[TraceFault]:
    """Leave out of the frame what is no measurement; what was found.

    Parameters
    ----------
    frame : pandas.DataFrame
        Changed in place.
    follows : str, optional
        Sensor that the controller follows as the brewer says, `mash` or `base`.
    """
    elapsed = frame["elapsed"].to_numpy(dtype=float)
    found = find_gaps(elapsed)
    for name, column in CHANNELS.items():
        if name in frame:
            kept, faulty = clean_channel(elapsed, frame[name].to_numpy(dtype=float), column)
            frame[name] = kept
            found += faulty
    sensors = {name: frame[name].to_numpy(dtype=float) for name in _SENSORS if name in frame}
    more = find_stuck(elapsed, sensors) + find_frozen(elapsed, sensors)
    if "mash_temp" in sensors:
        more += find_probe_out(elapsed, sensors["mash_temp"], "mash_temp")
    for fault in more:
        where = (elapsed >= fault.start) & (elapsed <= fault.end)
        frame.loc[where, str(fault.channel)] = np.nan
    found += more
    for name in ("mash_temp", "base_temp", "wort_temp", "ambient_temp"):
        if name in frame:
            absent = find_absent(elapsed, frame[name].to_numpy(dtype=float), CHANNELS[name])
            found += [fault for fault in absent if not _known_already(fault, found)]
    if {"mash_temp", "base_temp", "set_temp"} <= set(frame.columns):
        mash, base, target = (frame[name].to_numpy(dtype=float) for name in ("mash_temp", "base_temp", "set_temp"))
        found += find_fallback(elapsed, mash, base, target, follows)
    return found


def _known_already(absent: TraceFault, found: list[TraceFault]) -> bool:
    """True where a stretch without values is one that was left out."""
    rows = sum(
        fault.rows
        for fault in found
        if fault.channel == absent.channel and fault.action == "left out"
        and absent.start <= fault.start and fault.end <= absent.end
    )  # fmt: skip
    return rows > 0.8 * absent.rows


def tell_faults(told: list[tuple[Teller, Told]]) -> None:
    """Say each fault at its line; many of one kind together."""
    kinds: dict[tuple[str, str, str | None, bool], list[tuple[Teller, Told]]] = {}
    for tell, one in told:
        kinds.setdefault((tell.file, one.fault.kind, one.fault.channel, one.lost), []).append((tell, one))
    for members in kinds.values():
        if members[0][1].fault.kind == "gap" and (step := _sparse(members)):
            tell, one = members[0]
            found = f"rows about {step / 60:.3g} min apart, {len(members)} gaps"
            tell.note(one.line, None, found, _WISHES["gap"], one.fault.action)
            continue
        for tell, one in members[:MOST_FAULTS]:
            fault = one.fault
            rows = f"{fault.rows} {'row' if fault.rows == 1 else 'rows'}, " if fault.rows else ""
            found = f"{fault.kind}, {rows}{fault.start / 60:.1f} to {fault.end / 60:.1f} min"
            say = tell.problem if one.lost else tell.note
            say(one.line, one.written, found, _WISHES.get(fault.kind, "values that follow the day"), fault.action)
        if len(members) > MOST_FAULTS:
            tell, one = members[MOST_FAULTS]
            more = sum(other.fault.rows for _, other in members[MOST_FAULTS:])
            found = f"{one.fault.kind}, {len(members) - MOST_FAULTS} more stretches, {more} rows"
            say = tell.problem if one.lost else tell.note
            say(
                one.line,
                one.written,
                found,
                _WISHES.get(one.fault.kind, "values that follow the day"),
                one.fault.action,
            )


def _sparse(members: list[tuple[Teller, Told]]) -> float | None:
    """Step between the rows of a trace that consists of gaps; None where it does not. [s]"""
    if len(members) <= MOST_FAULTS:
        return None
    lengths = np.array([one.fault.end - one.fault.start for _, one in members])
    span = members[-1][1].fault.end - members[0][1].fault.start
    alike = np.abs(lengths - np.median(lengths)) < 0.5 * np.median(lengths)
    return float(np.median(lengths)) if lengths[alike].sum() >= SPARSE * span else None
