"""Writing a simulated logbook: tables and traces as CSV files."""

from __future__ import annotations

import csv
import gzip
import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from brewlog.simulate.history import SimulatedHistory
from brewlog.simulate.tables import Row, Tables, brew_tables, rig_rows

if TYPE_CHECKING:
    import pandas as pd

DIGITS = {"mash_temp": 1, "base_temp": 1, "wort_temp": 1, "ambient_temp": 1, "set_temp": 1, "flow": 2}


@dataclass(frozen=True, slots=True)
class TraceLayout:
    """How a logger writes its files."""

    start: datetime | None = None
    """Clock time of the first row; None: seconds since the first row."""
    headers: Mapping[str, str] = field(default_factory=dict)
    """Header of each channel that is not written under its own name; an empty header leaves the channel out."""
    nameplate: float | None = None
    """With it power is written in kilowatts. [W]"""
    separator: str = ","
    decimal: str = "."


def trace_text(trace: pd.DataFrame, layout: TraceLayout) -> str:
    """Trace as the text of a file; missing values are empty cells.

    Examples
    --------
    >>> import pandas as pd
    >>> trace = pd.DataFrame({"elapsed": [0.0, 10.0], "base_temp": [12.2, float("nan")], "power": [100.0, 50.0]})
    >>> print(trace_text(trace, TraceLayout(nameplate=2400.0)), end="")
    elapsed [s],base_temp,power [kW]
    0,12.2,2.40
    10,,1.20
    """
    columns: dict[str, list[str]] = {}
    if layout.start is None:
        columns[layout.headers.get("elapsed", "elapsed [s]")] = [f"{value:.0f}" for value in trace["elapsed"]]
    else:
        clock = [layout.start + timedelta(seconds=float(value)) for value in trace["elapsed"]]
        columns[layout.headers.get("time", "time")] = [moment.isoformat(timespec="seconds") for moment in clock]
    for name in trace.columns.drop(["elapsed", "time"], errors="ignore"):
        values, digits = trace[name].to_numpy(), DIGITS.get(name, 0)
        header = layout.headers.get(name, f"{name} [%]" if name in ("power", "pump") else name)
        if not header:
            continue
        if name == "power" and layout.nameplate is not None:
            values, digits = values / 100 * layout.nameplate / 1000, 2
            header = layout.headers.get(name, "power [kW]")
        cells = ["" if np.isnan(value) else f"{value:.{digits}f}" for value in values]
        columns[header] = [cell.replace(".", layout.decimal) for cell in cells]
    lines = [layout.separator.join(columns)]
    lines += [layout.separator.join(cells) for cells in zip(*columns.values(), strict=True)]
    return "\n".join(lines) + "\n"


def table_text(rows: list[Row]) -> str:
    """Table as the text of a CSV file."""
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def check_empty(folder: str | Path) -> Path:
    """Return the folder as a path if it is new or empty.

    Raises
    ------
    FileExistsError
        If it holds anything, or is a file.
    """
    folder = Path(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise FileExistsError(f"{folder} holds something already; expected a new or empty folder.")
    return folder


def write_files(folder: str | Path, tables: Tables, traces: Mapping[str, str]) -> None:
    """Write a logbook's files into a new or empty folder.

    Parameters
    ----------
    folder : path
    tables : dict
        Rows by file name without ending; empty tables are not written.
    traces : mapping of str to str
        Text by file name; names that end in `.gz` are compressed.

    Raises
    ------
    FileExistsError
        If the folder holds anything: no logbook is ever overwritten.
    """
    folder = check_empty(folder)
    (folder / "traces").mkdir(parents=True, exist_ok=True)
    for name, rows in tables.items():
        if rows:
            (folder / f"{name}.csv").write_text(table_text(rows), encoding="utf-8", newline="\n")
    for name, content in traces.items():
        data = content.encode("utf-8")
        # without name and time in the gzip header the same seed gives the same bytes
        (folder / "traces" / name).write_bytes(gzip.compress(data, mtime=0) if name.endswith(".gz") else data)


def write_history(folder: str | Path, history: SimulatedHistory) -> None:
    """Write a simulated history as a plain, complete logbook without slips.

    Parameters
    ----------
    folder : path
        New or empty.
    history : SimulatedHistory
    """
    tables = {"rigs": rig_rows(history.settings.rigs), **brew_tables(history.brews)}
    traces = {f"{brew.day.plan.brew}.csv": trace_text(brew.day.trace, TraceLayout()) for brew in history.brews}
    write_files(folder, tables, traces)
