"""Gaps and slips of the sample logbook, such as real records have."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brewlog.simulate.tables import Row, Tables, text

if TYPE_CHECKING:
    import pandas as pd

FORGOTTEN = {
    "mill_gap [mm]": 0.09,
    "grain_temp [degC]": 0.12,
    "ambient_temp [degC]": 0.10,
    "sparge_temp [degC]": 0.08,
    "boil_time [min]": 0.05,
    "mash_water [L]": 0.03,
    "heater_follows": 0.15,
}
"""Share of cells of brews.csv that were left empty."""
NO_SHEETS = ("k02", "k07")
NO_TRACE = "k05"
NOTES = {
    "k05": "logger was not started",
    "k09": "",
    "k13": "probe slipped out of the bed, put back",
    "k19": "slow run-off, stirred the top",
    "k20": "logger froze, started again",
    "s02": "did not measure the water",
    "s07": "bed set, pump had nothing to carry",
    "s06": "",
    "s14": "forgot to read the fermenter",
}


def make_slips(tables: Tables, traces: dict[str, pd.DataFrame], rng: np.random.Generator) -> None:
    """Put gaps and slips into complete tables and traces, in place.

    Parameters
    ----------
    tables : dict
        As `tables.brew_tables` gives them.
    traces : dict of str to pandas.DataFrame
        By label; the trace of one brew is taken out.
    rng : numpy.random.Generator
    """
    _forget(tables, rng)
    _slip_in_brews(tables)
    _slip_in_readings(tables, rng)
    del traces[NO_TRACE]
    traces["k13"] = probe_out(traces["k13"], at=5400.0, minutes=7.0, room=20.0)
    traces["k20"] = rows_lost(traces["k20"], at=13200.0, minutes=8.0)
    traces["s10"] = error_code(traces["s10"], at=6600.0, rows=4, code=85.0)
    traces["s09"] = error_code(traces["s09"], at=7200.0, rows=2, code=-127.0)


def _forget(tables: Tables, rng: np.random.Generator) -> None:
    for row in tables["brews"]:
        for column, share in FORGOTTEN.items():
            if rng.random() < share:
                row[column] = ""
    for row in tables["grist"]:
        if row["brew"] in NO_SHEETS:
            row |= dict.fromkeys(("extract [%]", "fine_coarse [%]", "moisture [%]"), "")
    for row in tables["readings"]:
        if row["quantity"] == "gravity" and row["brew"] < "k07" and rng.random() < 0.3:
            row["temp [degC]"] = ""


def _slip_in_brews(tables: Tables) -> None:
    for row in tables["brews"]:
        row["notes"] = NOTES.get(row["brew"], "")
        row["helper"] = "two of us" if row["brew"] in ("k04", "k11", "k18", "s06", "s12") else ""
    _row(tables["brews"], brew="s02")["mash_water [L]"] = ""
    tables["rests"] = [row for row in tables["rests"] if row["brew"] != "s08"]  # nobody wrote the rests down
    tables["readings"] = [row for row in tables["readings"] if (row["brew"], row["stage"]) != ("s14", "fermenter")]


def _slip_in_readings(tables: Tables, rng: np.random.Generator) -> None:
    readings = tables["readings"]
    gravity = _row(readings, brew="k03", stage="pre-boil", quantity="gravity")
    gravity["value"] = f"{1000 * float(gravity['value']):.0f}"
    typo = _row(readings, brew="k09", stage="pre-boil", quantity="gravity")
    typo["value"] = typo["value"].replace("1.0", "1.O")  # the letter
    misread = _row(readings, brew="s06", stage="pre-boil", quantity="volume")
    misread["value"] = text(float(misread["value"]) + 4.0, 2)
    other_case = _row(readings, brew="k11", stage="pre-boil", quantity="volume")
    other_case["brew"] = "K11"
    for label in ("s05", "s16", "k13"):  # read twice
        first = _row(readings, brew=label, stage="pre-boil", quantity="volume")
        again = first | {"value": text(float(first["value"]) + 0.5 * float(rng.choice([-1, 0, 1])), 2)}
        readings.insert(readings.index(first) + 1, again)


def _row(rows: list[Row], **cells: str) -> Row:
    """First row with these cells."""
    return next(row for row in rows if all(row[column] == cell for column, cell in cells.items()))


def probe_out(trace: pd.DataFrame, at: float, minutes: float, room: float) -> pd.DataFrame:
    """Trace in which the bed probe was in the air from `at` [s] on for some minutes."""
    trace = trace.copy()
    out = trace["elapsed"].between(at, at + 60 * minutes)
    since = trace.loc[out, "elapsed"] - at
    inside = float(trace.loc[out, "mash_temp"].ffill().bfill().iloc[0])
    trace.loc[out, "mash_temp"] = (room + 5 + (inside - room - 5) * np.exp(-since / 60)).round(1)
    return trace


def rows_lost(trace: pd.DataFrame, at: float, minutes: float) -> pd.DataFrame:
    """Trace whose logger was off from `at` [s] on for some minutes."""
    return trace[~trace["elapsed"].between(at, at + 60 * minutes)].reset_index(drop=True)


def error_code(trace: pd.DataFrame, at: float, rows: int, code: float) -> pd.DataFrame:
    """Trace in which the bed sensor gave an error code for a few rows from `at` [s] on."""
    trace = trace.copy()
    first = int((trace["elapsed"] >= at).to_numpy().argmax())
    trace.loc[trace.index[first : first + rows], "mash_temp"] = code
    return trace
