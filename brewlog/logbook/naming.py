"""Rows of channels.csv: what the loggers of a rig call their channels."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from brewlog.logbook import layout, values
from brewlog.logbook.channels import Named
from brewlog.logbook.complaints import Complaints
from brewlog.logbook.problems import Problem
from brewlog.logbook.records import Rig
from brewlog.logbook.relations import known_rig
from brewlog.logbook.rows import Row
from brewlog.quantities import parse_unit

ByRig = dict[str | None, dict[str, Named]]
"""Named columns by rig (None = every rig) and plain header."""
_FILE = "channels.csv"


def channel_names(rows: list[Row], rigs: Mapping[str, Rig], told: Complaints) -> ByRig:
    """What each rig's loggers call their channels, as channels.csv says.

    Parameters
    ----------
    rows : list of Row
    rigs : mapping
        Rigs by label.
    told : Complaints
    """
    known = {values.plain(name): name for name in (*layout.CHANNELS, "time", "elapsed")}
    found: ByRig = {}
    lost = "this row is left out"
    for row in rows:
        channel = known.get(values.plain(row.values["channel"]))
        if channel is None:
            near = values.nearest(row.values["channel"], known.values())
            wish = f"one of {', '.join(known.values())}" + (f" (perhaps {near!r})" if near else "")
            told.complain(_FILE, row.line, "channel", row.values["channel"], wish, lost)
            continue
        rig = known_rig(layout.CHANNELS_FILE, row, rigs, told) if row.values.get("rig") else None
        if rig is None and row.values.get("rig"):
            continue
        if rig is None and len(rigs) > 1:
            told.complain(_FILE, row.line, "rig", "no rig", f"one of {', '.join(list(rigs)[:5])}",
                          "taken for the loggers of every rig", "note")  # fmt: skip
        unit = row.values.get("unit")
        if unit is not None and not _fits(unit, channel):
            canonical = "s" if channel == "elapsed" else layout.CHANNELS[channel].unit
            told.complain(_FILE, row.line, "unit", unit, f"a unit that converts to {canonical}", lost)
            continue
        column = row.values["column"]
        named = found.setdefault(rig, {})
        before = named.get(values.plain(column))
        if before is not None and before.channel != channel:
            like = f"{column} (line {before.line} gives it to {before.channel})"
            told.complain(_FILE, row.line, "column", like, "every column for one channel", lost)
            continue
        named[values.plain(column)] = Named(channel, unit, column, row.line)
    return found


def _fits(unit: str, channel: str) -> bool:
    if channel == "time" or (channel in ("pump", "heater") and values.plain(unit) in ("0/1", "on/off")):
        return True
    canonical = "s" if channel == "elapsed" else layout.CHANNELS[channel].unit
    for wanted in (canonical, "W") if channel == "power" else (canonical,):
        try:
            parse_unit(unit, wanted)
        except ValueError:
            continue
        return True
    return False


def unused_names(names: ByRig, seen: Mapping[str | None, Iterable[str]]) -> list[Problem]:
    """Notes on rows of channels.csv whose column no trace has.

    Parameters
    ----------
    names : dict
        As `channel_names` gives them.
    seen : mapping
        Plain headers of the traces that were read, by rig.
    """
    notes = []
    for rig, named in names.items():
        headers = {header for label, some in seen.items() if rig in (None, label) for header in some}
        where = "a trace" if rig is None else f"a trace of {rig}"
        for plain, one in named.items():
            if headers and plain not in headers:
                wish = f"the header of a column in {where}"
                notes.append(Problem(_FILE, one.line, "column", one.written, wish, "this row tells nothing", "note"))
    return notes
