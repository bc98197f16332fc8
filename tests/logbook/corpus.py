"""A corpus of logbooks, each made by code from one small good logbook with one thing changed.

Each case states what a careful person would make of it: `clean` (nothing to say), `note` (read, perhaps not as meant),
`problem` (something could not be read), `nothing` (nothing could be read).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

Files = dict[str, bytes | None]


def mash_day(start: float = 0.0, rows: int = 420, step: float = 20.0) -> list[tuple[float, float, float, float, int]]:
    """Elapsed, bed, base, set temperature and heater of a plain mash: two rests, noise without a random generator."""
    bed, day = 64.0, []
    for k in range(rows):
        target = 65.0 if k < rows // 2 else 72.0
        heating = bed < target - 0.3
        bed += (0.45 if heating else 0.04 * (target - bed)) * step / 20
        wobble = 0.06 * math.sin(1.7 * k) + 0.05 * math.sin(0.61 * k + 1)
        base = bed + (5.5 if heating else 1.1 + 0.3 * math.sin(0.2 * k)) + wobble
        day.append((start + k * step, round(bed + wobble, 2), round(base, 2), target, int(heating)))
    return day


def elapsed_trace() -> str:
    """Trace with elapsed times."""
    rows = [f"{t:.0f},{bed},{base},{goal},{on}" for t, bed, base, goal, on in mash_day()]
    return "\n".join(["elapsed [s],mash_temp,base_temp,set_temp,heater", *rows]) + "\n"


def clock_trace(start: str = "2024-03-09T09:00:00", form: str = "%Y-%m-%dT%H:%M:%S", zone: str = "") -> str:
    """Trace with clock times."""
    first = datetime.fromisoformat(start)
    rows = [
        f"{(first + timedelta(seconds=t)).strftime(form)}{zone},{bed},{base},{goal},{on}"
        for t, bed, base, goal, on in mash_day()
    ]
    return "\n".join(["time,mash_temp,base_temp,set_temp,heater", *rows]) + "\n"


GOOD: dict[str, str] = {
    "brews.csv": (
        "brew,date,rig,recipe,heater_follows,mash_water [L],sparge_water [L],sparge_temp [degC],mill_gap [mm],"
        "grain_temp [degC],ambient_temp [degC],boil_time [min],cooling,altitude [m],planned_gravity,planned_volume [L],"
        "changes,pair,notes\n"
        "l1,2024-03-02,shed,Quarry,mash,22,9,74,1.1,16,15,60,chilled,120,1.046,27,,1 tight,\n"
        'l2,2024-03-09,shed,Quarry,base,22.5,9.5,75,1.15,17,14,60,chilled,120,1.046,27,new hose,1 loose,"slow, calm"\n'
        "l3,2024-03-16,kitchen,Weir,mash,19,8,75,1.05,18,16,75,hot-filled,120,1.051,24,,,\n"
    ),
    "rigs.csv": (
        "rig,heater_power [W],kettle_volume [L],dead_volume [L],sensor_sd [K],volume_sd [L],gravity_sd,"
        "hydrometer_temp [degC],refractometer_factor,vessel_mass [kg],vessel_material,notes\n"
        "shed,3200,60,1.2,0.2,0.4,0.001,20,1.04,13,stainless steel,\n"
        "kitchen,2200,34,0.7,0.2,0.3,0.001,20,1.03,7,aluminium,lid on\n"
    ),
    "grist.csv": (
        "brew,malt,mass [kg],extract [%],fine_coarse [%],moisture [%]\n"
        "l1,pale malt,5.20,81.0,1.4,4.3\nl1,wheat malt,0.55,83.5,1.5,4.8\n"
        "l2,pale malt,5.25,81.0,1.4,4.3\nl3,pale malt,4.60,81.5,1.3,4.1\n"
    ),
    "additions.csv": (
        "brew,what,mass [kg],volume [L],temp [degC],stage,extract [%],event,time\n"
        "l1,sugar,0.25,,,boil,99.5,boil,\nl3,water,,1.5,12,boil,,boil end,\n"
    ),
    "rests.csv": (
        "brew,rest,temp [degC],time [min],headroom [K],power [%],purpose\n"
        "l1,1,65,60,8,100,saccharification\nl1,2,72,60,8,80,mash-out\n"
        "l2,1,65,60,8,100,saccharification\nl2,2,72,60,8,80,mash-out\nl3,1,65,70,6,100,saccharification\n"
    ),
    "readings.csv": (
        "brew,stage,quantity,value,unit,temp [degC],instrument,sd,time\n"
        "l1,pre-boil,gravity,1.0455,SG,21,hydrometer,,\nl1,pre-boil,volume,28.5,L,97,sight glass,0.3,\n"
        "l1,fermenter,gravity,1.052,SG,20,hydrometer,0.001,\nl1,fermenter,volume,23.2,L,20,scale,,\n"
        "l2,pre-boil,gravity,11.2,degP,20,refractometer,0.1,\nl2,pre-boil,volume,28.2,L,96,sight glass,,\n"
        "l2,pre-boil,pH,5.35,,20,,,\nl3,pre-boil,gravity,1.050,SG,22,hydrometer,,\n"
        "l3,pre-boil,volume,25,L,95,sight glass,,\n"
    ),
    "events.csv": (
        "brew,time,elapsed [s],event\nl1,,0,mash-in\nl1,,4200,mash-out\nl1,,8300,lift\n"
        "l2,2024-03-09T09:00:00,,mash-in\nl2,2024-03-09T11:15:00,,lift\n"
    ),
    "channels.csv": (
        "rig,channel,column,unit\nkitchen,elapsed,secs run,s\nkitchen,mash_temp,probe A,degC\n"
        "kitchen,base_temp,probe B,degC\n"
    ),
    "water_tests.csv": (
        "test,rig,date,water [L],water_temp [degC],kind,water_after [L]\nw1,shed,2024-02-20,30,14,heat-up,\n"
    ),
    "traces/l1.csv": elapsed_trace(),
    "traces/l2.csv": clock_trace(),
    "traces/l3.csv": elapsed_trace().replace(
        "elapsed [s],mash_temp,base_temp,set_temp,heater", "secs run,probe A,probe B,set_temp,heater"
    ),
    "traces/w1.csv": "elapsed [s],base_temp,power [%]\n"
    + "".join(f"{20 * k},{14 + 0.31 * k + 0.03 * math.sin(k):.2f},100\n" for k in range(150)),
}
"""Files of the good logbook."""


@dataclass(frozen=True)
class Case:
    """One changed logbook."""

    family: str
    name: str
    files: Files
    expect: str
    """`clean`, `note`, `problem` or `nothing`."""


CASES: list[Case] = []


def case(family: str, name: str, expect: str, changes: Mapping[str, str | bytes | None]) -> None:
    """Add a case."""
    files: Files = {file: None if text is None else _bytes(text) for file, text in {**GOOD, **changes}.items()}
    CASES.append(Case(family, name, files, expect))


def swap(file: str, old: str, new: str, count: int = 1) -> dict[str, str | bytes | None]:
    """The good logbook's file with a piece of it changed."""
    assert old in GOOD[file], (file, old)
    return {file: GOOD[file].replace(old, new, count)}


def rows(file: str, edit: Callable[[list[str]], list[str]]) -> dict[str, str | bytes | None]:
    """The good logbook's file with its lines edited."""
    return {file: "\n".join(edit(GOOD[file].splitlines())) + "\n"}


def cells(file: str, column: int, edit: Callable[[int, str], str]) -> dict[str, str | bytes | None]:
    """The good logbook's file with each cell of one column edited, the header being row 0."""

    def each(lines: list[str]) -> list[str]:
        result = []
        for k, line in enumerate(lines):
            parts = line.split(",")
            parts[column] = edit(k, parts[column])
            result.append(",".join(parts))
        return result

    return rows(file, each)


def german(text: str) -> str:
    """Semicolons between columns, decimal comma."""
    return text.replace(",", ";").replace(".", ",")


def _bytes(text: str | bytes) -> bytes:
    return text if isinstance(text, bytes) else text.encode("utf-8")
