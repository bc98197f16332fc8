"""More cases of the corpus: what the reader's first cases left open, by family."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import datetime, timedelta

from tests.logbook.cases import CASES
from tests.logbook.corpus import GOOD, case, cells, clock_trace, german, mash_day, rows, swap

__all__ = ["CASES"]

GRIST, BREWS, READINGS, RESTS, RIGS, EVENTS, NAMES = (
    GOOD[f"{name}.csv"] for name in ("grist", "brews", "readings", "rests", "rigs", "events", "channels")
)
L1, L2 = GOOD["traces/l1.csv"], GOOD["traces/l2.csv"]
HEAD = "mash_temp,base_temp,set_temp,heater"
NO_L2 = "\n".join(line for line in EVENTS.splitlines() if not line.startswith("l2")) + "\n"


def day(form: Callable[[float], str], header: str, head: str = HEAD) -> str:
    """The plain mash day with times of some form."""
    lines = [f"{form(t)},{bed},{base},{goal},{on}" for t, bed, base, goal, on in mash_day()]
    return "\n".join([f"{header},{head}", *lines]) + "\n"


def two_clocks(edit: Callable[[int, float], float], form: str = "%Y-%m-%dT%H:%M:%S") -> str:
    """The plain mash day with clock and elapsed times, the latter edited row by row."""
    lines = clock_trace(form=form).splitlines()
    timed = [f"{edit(k, 20.0 * k):g},{line}" for k, line in enumerate(lines[1:])]
    return "\n".join(["elapsed [s]," + lines[0], *timed]) + "\n"


def header_family() -> None:
    family = "odd headers"
    for header, expect in (
        ("mass {kg}", "note"), ("mass [kg", "note"), ("mass ［kg］", "note"), ("mass [[kg]]", "note"),
        ("mass [kg] (dry)", "note"), ("mass (dry) [kg]", "note"), ("mass <kg>", "note"), ("mass kg]", "note"),
        ("mass: kg", "note"), ("mass [__import__('os')]", "problem"), ("mass [x(y)]", "problem"),
        ("mass ]kg[", "problem"), ("mass = kg", "problem"), ("mass [cwt]", "problem"), ("mass [%", "problem"),
    ):  # fmt: skip
        case(family, header, expect, {"grist.csv": GRIST.replace("mass [kg]", header)})
    for header in ("mash_temp {degC}", "mash_temp (bed) [degC]", "mash_temp [degC"):
        case(family, f"trace, {header}", "note", swap("traces/l1.csv", "mash_temp", header))
    for header in ("headroom [ΔK]", "headroom [Δ°C]", "headroom [∆C]"):
        case(family, header, "clean", swap("rests.csv", "headroom [K]", header))
    case(
        family,
        "mill gap in mil",
        "clean",
        {
            "brews.csv": BREWS.replace("[mm]", "[mil]")
            .replace(",1.1", ",43.1")
            .replace("74,1.", "74,43.")
            .replace("75,1.", "75,43.")
        },
    )
    case(family, "mass twice in two units", "problem", {"grist.csv": with_last("mass [lb]", "11")})
    case(family, "channel twice in a trace", "problem", {"traces/l1.csv": with_last("mash_temp [degF]", "150", L1)})
    case(family, "row numbers before a table", "note", {"grist.csv": counted(GRIST)})
    case(family, "bars between columns", "note", {"grist.csv": GRIST.replace(",", "|")})
    case(family, "words of controllers", "note", {"traces/l1.csv": L1.replace("set_temp,heater", "SP,Duty cycle")})


def with_last(header: str, cell: str, text: str = GRIST) -> str:
    """A file with a column more."""
    lines = text.splitlines()
    return "\n".join([f"{lines[0]},{header}", *(f"{line},{cell}" for line in lines[1:])]) + "\n"


def counted(text: str) -> str:
    """A file with the number of each row before it, under no name."""
    return "\n".join(f"{k or ''},{line}" for k, line in enumerate(text.splitlines())) + "\n"


def cell_family() -> None:
    family = "cells that move"
    case(
        family,
        "decimal comma in one rest",
        "note",
        swap("rests.csv", "l1,1,65,60,8,100,saccharification", "l1,1,65,5,60,8,100,"),
    )
    rested = [line + ",,,," for line in RESTS.splitlines()[1:]]
    case(
        family, "separators behind all rows", "note", {"rests.csv": "\n".join([RESTS.splitlines()[0], *rested]) + "\n"}
    )
    case(family, "one more in a trace", "problem", {"traces/l1.csv": moved()})
    case(family, "remark amid a table", "note", {"grist.csv": GRIST.replace("\nl2", "\n# second brew\nl2")})
    case(family, "end of file as old systems write it", "clean", {"grist.csv": GRIST.encode() + b"\x1a"})
    case(family, "one degF among degC", "problem", swap("brews.csv", ",22,9,74,", ",22,9,165,"))
    case(
        family,
        "sd of one point",
        "note",
        swap("readings.csv", "1.052,SG,20,hydrometer,0.001", "1.052,SG,20,hydrometer,1"),
    )
    case(
        family,
        "sd of zero",
        "problem",
        swap("readings.csv", "1.052,SG,20,hydrometer,0.001", "1.052,SG,20,hydrometer,0"),
    )
    case(family, "sd of 400 L", "problem", swap("readings.csv", "sight glass,0.3", "sight glass,400"))
    case(family, "malt of no mass", "note", swap("grist.csv", "wheat malt,0.55", "wheat malt,0"))
    case(family, "malt without mass", "note", swap("grist.csv", "wheat malt,0.55", "wheat malt,"))
    case(family, "brew to come", "note", {"brews.csv": BREWS.replace("2024-03-16", "2093-03-16")})
    thousands = german(L1).replace("elapsed [s]", "elapsed [s]")
    lines = thousands.splitlines()
    grouped = [f"{int(x) // 1000}.{int(x) % 1000:03d};{y}" if int(x) > 999 else f"{x};{y}" for x, y in
               (line.split(";", 1) for line in lines[1:])]  # fmt: skip
    case(
        family, "points in thousands beside decimal commas", "note", {"traces/l1.csv": "\n".join([lines[0], *grouped])}
    )


def moved() -> str:
    """A trace with one row in which a decimal comma parts a cell, the last cell being empty."""
    lines = [line.rsplit(",", 1)[0] + "," for line in L1.splitlines()]
    lines[0] = L1.splitlines()[0]
    lines[40] = lines[40].replace(".", ",", 1)
    return "\n".join(lines) + "\n"


def power_family() -> None:
    family = "power"
    watts = cells("traces/l1.csv", 4, lambda k, c: "power" if not k else str(3200 * int(c) if k % 3 else 60))
    case(family, "W under a bare header", "problem", watts)
    case(family, "kW under a bare header", "problem",
         cells("traces/l1.csv", 4, lambda k, c: "power" if not k else f"{2.4 * int(c):.1f}"))  # fmt: skip
    case(family, "0 to 255", "problem", cells("traces/l1.csv", 4, lambda k, c: "duty" if not k else str(255 * int(c))))
    case(family, "W of a rig without nameplate", "note",
         {"rigs.csv": RIGS.replace("shed,3200", "shed,")}
         | cells("traces/l1.csv", 4, lambda k, c: "power [W]" if not k else str(3200 * int(c))))  # fmt: skip


def time_family() -> None:
    family = "times"
    case(family, "0 days 00:00:20", "note", {"traces/l1.csv": day(lambda t: f"0 days {clock(t)}", "elapsed")})
    case(family, "20 s in cells", "note", {"traces/l1.csv": day(lambda t: f"{t:.0f} s", "elapsed (sec)")})
    case(family, "PT20S", "note", {"traces/l1.csv": day(lambda t: f"PT{t:.0f}S", "elapsed")})
    case(family, "one duration is a word", "problem",
         {"traces/l1.csv": day(lambda t: clock(t) if t != 2000 else "soon", "elapsed")})  # fmt: skip
    case(family, "minutes without a unit", "note", {"traces/l1.csv": day(lambda t: f"{t / 60:.4f}", "elapsed")})
    case(family, "minutes said to be seconds", "note", {"traces/l1.csv": day(lambda t: f"{t / 60:.4f}", "elapsed [s]")})
    case(family, "weekday before the date", "note", {"traces/l2.csv": clock_trace(form="Sat %d %b %Y %H:%M:%S")})
    case(family, "name of a zone", "note", {"traces/l2.csv": clock_trace(form="%Y-%m-%d %H:%M:%S CET")})
    case(family, "hours of one digit", "clean", {"traces/l2.csv": L2.replace("T09:", " 9:").replace("T1", " 1")})
    serial = "\n".join(f"{45360.375 + t / 86400:.7f};{a};{b};{c};{d}".replace(".", ",") for t, a, b, c, d in mash_day())
    case(family, "serials with decimal comma", "note",
         {"traces/l2.csv": "time;" + HEAD.replace(",", ";") + "\n" + serial + "\n"})  # fmt: skip
    case(family, "clock and elapsed that agree", "clean", {"traces/l2.csv": two_clocks(lambda k, t: t)})
    case(family, "elapsed that runs fast", "note", {"traces/l2.csv": two_clocks(lambda k, t: 1.02 * t)})
    case(family, "elapsed that stands still beside a clock", "note", {"traces/l2.csv": two_clocks(lambda k, t: 0.0)})
    case(family, "0d 0h 0m 20s", "note", {"traces/l1.csv": day(lambda t: f"0d 0h 0m {t:.0f}s", "elapsed")})
    case(family, "elapsed that restarts beside a clock", "note",
         {"traces/l2.csv": two_clocks(lambda k, t: t if k < 200 else t - 4000)})  # fmt: skip
    unclear = two_clocks(lambda k, t: t).replace("2024-03-09T", "once ")
    changes = {"traces/l2.csv": unclear, "events.csv": NO_L2}
    case(family, "clock that cannot be read beside elapsed", "problem", changes)
    case(family, "some clock times unreadable beside elapsed", "problem",
         {"traces/l2.csv": two_clocks(lambda k, t: t).replace("2024-03-09T10:00:00", "noon")})  # fmt: skip
    case(family, "trace of another year", "problem",
         {"traces/l2.csv": L2.replace("2024-", "2023-"), "events.csv": NO_L2})  # fmt: skip
    case(family, "trace of a clock that was never set", "note",
         {"traces/l2.csv": L2.replace("2024-03-09", "2000-01-01"), "events.csv": NO_L2})  # fmt: skip
    case(family, "trace of another month", "note",
         {"traces/l2.csv": L2.replace("2024-03-09", "2024-09-09"), "events.csv": NO_L2})  # fmt: skip
    dated = [
        row.replace("T", ",", 1) if k else row.replace("time", "Date,Time") for k, row in enumerate(L2.splitlines())
    ]
    case(family, "date and time in two columns", "note", {"traces/l2.csv": "\n".join(dated)})
    unsure = {"brews.csv": BREWS.replace("2024-03-09", "2024-03-15"), "events.csv": NO_L2}
    case(family, "day and month that could be swapped", "note",
         {"traces/l2.csv": clock_trace(form="%m/%d/%Y %H:%M:%S")} | unsure)  # fmt: skip
    case(family, "day and month that the date of the brew tells", "note",
         {"traces/l2.csv": clock_trace(form="%m/%d/%Y %H:%M:%S")})  # fmt: skip
    american = clock_trace(form="%m/%d/%Y,%I:%M:%S %p").replace("time,", "Date,Time,", 1)
    case(family, "date and time of day with AM and PM", "note", {"traces/l2.csv": american})
    whole = clock_trace().replace("time,", "date,", 1)
    case(family, "date and time under the name date", "note", {"traces/l2.csv": whole})
    bare = clock_trace(form="%Y-%m-%d").replace("time,", "date,", 1)
    case(family, "dates without times", "problem", {"traces/l2.csv": bare, "events.csv": NO_L2})
    beside = with_last("date", "2024-03-09", L1)
    case(family, "dates beside elapsed times", "note", {"traces/l1.csv": beside})


def form_family() -> None:
    family = "forms of times"
    for form, expect in (
        ("%a %b %d %H:%M:%S %Y", "note"), ("%Y-%m-%d %I:%M:%S%p", "note"), ("%Y%m%d%H%M%S", "note"),
        ("%Y-%m-%d_%H-%M-%S", "note"), ("%Y-%m-%dT%H.%M.%S", "note"), ("%d.%m.%Y %H.%M.%S", "note"),
        ("%Y%m%dT%H%M%S", "clean"), ("%a, %d %b %Y %H:%M:%S +0100", "note"),
        ("%Y-%m-%d, %H:%M:%S", None), ("%H:%M:%S %d.%m.%Y", "note"), ("%Y-%m-%d %H:%M:%S:250", "note"),
    ):  # fmt: skip
        text = clock_trace(form=form)
        if ", " in form:  # a cell with a comma stands in quotes
            parted = [row.rsplit(",", 4) for row in text.splitlines()]
            text = "\n".join(",".join([f'"{row[0]}"', *row[1:]]) for row in parted)
        case(family, form, expect or "clean", {"traces/l2.csv": text})
    grouped = day(lambda t: f'"{t:,.0f}"', "elapsed [s]")
    case(family, "commas in thousands of elapsed seconds", "note", {"traces/l1.csv": grouped})
    case(
        family,
        "signs without width",
        "clean",
        {"grist.csv": GRIST.replace("mass", "\u200bmass").replace("l2", "l2\u2060")},
    )


def clock(seconds: float) -> str:
    return f"{int(seconds) // 3600:02d}:{int(seconds) // 60 % 60:02d}:{int(seconds) % 60:02d}"


def event_family() -> None:
    family = "events"
    case(family, "times of day in both", "note", {"traces/l2.csv": clock_trace(form="%H:%M:%S")})
    case(family, "local time beside a clock in UTC, outside", "problem",
         {"traces/l2.csv": clock_trace("2024-03-09T07:00:00", zone="Z").replace("+", "")}
         | swap("events.csv", "2024-03-09T11:15:00", "2024-03-09T12:15:00"))  # fmt: skip
    case(family, "a day late", "note", swap("events.csv", "2024-03-09T11:15:00", "2024-03-10T10:15:00"))
    case(family, "three hours before", "note", swap("events.csv", "2024-03-09T09:00:00", "2024-03-09T06:00:00"))
    case(family, "far behind by elapsed time", "note", swap("events.csv", "l1,,8300", "l1,,66000"))
    case(family, "half an hour before by elapsed time", "note", swap("events.csv", "l1,,0,", "l1,,-1800,"))
    case(family, "time and elapsed that part", "note",
         swap("events.csv", "l2,2024-03-09T11:15:00,,", "l2,2024-03-09T11:15:00,600,"))  # fmt: skip
    case(family, "time and elapsed that agree", "clean",
         swap("events.csv", "l2,2024-03-09T11:15:00,,", "l2,2024-03-09T11:15:00,8100,"))  # fmt: skip
    case(family, "clock used for events, elapsed for the trace", "note",
         {"traces/l2.csv": two_clocks(lambda k, t: 1.02 * t)})  # fmt: skip
    case(family, "UTC beside a clock on the wall", "note", swap("events.csv", "T11:15:00", "T11:15:00Z"))
    autumn = clock_trace("2024-10-27T02:00:00").splitlines()
    for k in range(181, len(autumn)):
        autumn[k] = f"{autumn[k][:11]}{int(autumn[k][11:13]) - 1:02d}{autumn[k][13:]}"
    fold = EVENTS.replace("2024-03-09T09:00:00", "2024-10-27T02:30:00").replace(
        "2024-03-09T11:15:00", "2024-10-27T03:10:00"
    )
    case(family, "a time that the day has twice", "note",
         {"traces/l2.csv": "\n".join(autumn) + "\n", "events.csv": fold,
          "brews.csv": BREWS.replace("2024-03-09", "2024-10-27")})  # fmt: skip


def fault_family() -> None:
    family = "faults"

    def column(name: str, expect: str, place: int, change: Callable[[int, str], str]) -> None:
        case(family, name, expect, cells("traces/l1.csv", place, lambda k, c: change(k, c) if k else c))

    for count in (3, 4, 5, 12):
        for value in ("0", "22", "-39"):
            column(
                f"bed at {value} in {count} rows",
                "problem",
                1,
                lambda k, c, n=count, v=value: v if 0 <= k - 60 < n else c,
            )
    column("base at 2 in 16 rows", "problem", 2, lambda k, c: "2" if 0 <= k - 60 < 16 else c)
    column("base at 0 to the end", "problem", 2, lambda k, c: "0" if k > 410 else c)
    hung = L1.splitlines()
    row = hung[240].split(",", 1)[1]
    hung[241:301] = [f"{20 * (k - 1)},{row}" for k in range(241, 301)]
    hung[301:] = [line.replace(",72", ",75", 1).replace(",7", ",8", 1) for line in hung[301:]]
    case(family, "logger hangs for 20 min", "problem", {"traces/l1.csv": "\n".join(hung)})
    column("bed dips slowly by 12 K", "problem", 1,
           lambda k, c: f"{float(c) - 12 * max(0.0, 1 - abs(k - 63) / 4):.2f}")  # fmt: skip
    heating = "elapsed [s],mash_temp,base_temp\n"
    for k in range(300):
        base = min(20 + 0.2 * k, 66) + 0.1 * math.sin(k)
        heating += f"{20 * k},{base - 1 if k < 30 else 25.1 if k < 180 else base - 1:.1f},{base:.1f}\n"
    case(family, "cold bed probe stuck while the base heats", "problem", {"traces/l1.csv": heating})
    still = "elapsed [s],mash_temp,base_temp\n" + "".join(
        f"{20 * k},20.0,{min(20 + 0.2 * k, 66) + 0.1 * math.sin(k):.1f}\n" for k in range(300)
    )
    case(family, "bed probe never moves", "problem", {"traces/l1.csv": still})
    held = ["elapsed [s],mash_temp,base_temp,set_temp"]
    for k in range(400):
        bed = "" if 150 <= k < 190 else f"{65 + 0.05 * math.sin(k):.2f}"
        held.append(f"{10 * k},{bed},{66 + 0.1 * math.sin(1.3 * k):.2f},66")
    case(family, "base never leaves the target", "note", {"traces/l1.csv": "\n".join(held), "events.csv": NO_L1})
    following = BREWS.replace("Quarry,mash", "Quarry,base")
    case(family, "base is what the controller follows", "note",
         {"traces/l1.csv": "\n".join(held), "events.csv": NO_L1, "brews.csv": following})  # fmt: skip


NO_L1 = "\n".join(line for line in EVENTS.splitlines() if not line.startswith("l1")) + "\n"


def repeat_family() -> None:
    family = "repeats"
    body = L1.splitlines()
    case(family, "block of rows again", "note", rows("traces/l1.csv", lambda r: [*r[:101], *r[61:101], *r[101:]]))
    case(family, "file again", "note", {"traces/l1.2.csv": L1})
    case(family, "second file has more rows", "note", {"traces/l1.csv": "\n".join(body[:200]), "traces/l1.2.csv": L1})
    other = [f"{line.split(',')[0]},{float(line.split(',')[1]) - 3:.2f},{line.split(',', 2)[2]}" for line in body[1:]]
    case(family, "second file begins anew", "note", {"traces/l1.2.csv": "\n".join([body[0], *other])})
    clocked = L2.splitlines()
    again = [line.replace(",6", ",5", 1) for line in clocked[100:110]]
    case(family, "second file with other values at the same times", "problem",
         {"traces/l2.2.csv": "\n".join([clocked[0], *again])})  # fmt: skip
    third = {"traces/l1.csv": body[1:140], "traces/l1.2.csv": body[280:], "traces/l1.3.csv": body[140:280]}
    case(family, "third file in a gap of the others", "clean",
         {file: "\n".join([body[0], *lines]) for file, lines in third.items()})  # fmt: skip
    case(family, "one file for two brews", "note", {"traces/l3.csv": L1, "channels.csv": None})
    case(family, "second file alone", "note", {"traces/l1.csv": None, "traces/l1.2.csv": L1})


def name_family() -> None:
    family = "names of channels"
    case(
        family,
        "two units for one column",
        "note",
        {"traces/l3.csv": GOOD["traces/l3.csv"].replace("probe B", "probe B [degF]")},
    )
    case(family, "a column that no trace has", "note", {"channels.csv": NAMES + "kitchen,wort_temp,probe C,degC\n"})
    case(family, "one column for two channels", "problem", {"channels.csv": NAMES + "kitchen,wort_temp,probe B,degC\n"})
    both = {
        "channels.csv": NAMES + "kitchen,mash_temp,probe C,degC\n",
        "traces/l3.csv": GOOD["traces/l3.csv"].replace("heater", "probe C"),
    }
    case(family, "two columns for one channel", "note", both)
    case(family, "unit that cannot be", "problem", {"channels.csv": NAMES.replace("probe B,degC", "probe B,kW")})
    case(family, "no rig though there are two", "note", {"channels.csv": NAMES + ",wort_temp,valve,degC\n",
         "traces/l1.csv": L1.replace("heater", "valve").replace(",0\n", ",20\n").replace(",1\n", ",21\n")})  # fmt: skip


def folder_family() -> None:
    family = "folders"
    gone = {file: None for file in GOOD if file.startswith("traces/")}
    below = {file.replace("traces/", "traces/2024/"): text for file, text in GOOD.items() if file.startswith("traces/")}
    case(family, "traces one folder deeper", "problem", gone | below)
    beside = {file.replace("traces/", "trace/"): text for file, text in GOOD.items() if file.startswith("traces/")}
    case(family, "folder trace", "problem", gone | beside)
    case(family, "another folder with tables", "note", {"old/brews.csv": BREWS})
    case(family, "no trace at all", "note", gone)
    case(family, "table of tabs under another name", "problem", {"grist.csv": None, "grist.tsv": GRIST})
    inner = dict.fromkeys(GOOD) | {f"inner/{file}": text for file, text in GOOD.items()}
    case(family, "whole book one folder deeper", "nothing", inner)
    case(family, "own table", "note", {"malts.csv": "malt,price\npale malt,2\n"})
    case(family, "trace beside the tables", "problem", {"traces/l1.csv": None, "l1.csv": L1})


def reset_family() -> None:
    family = "clocks that begin anew"

    def clocked(name: str, form: Callable[[int, datetime], str], expect: str = "note", events: str = EVENTS) -> None:
        start = datetime(2024, 3, 9, 9)
        times = cells("traces/l2.csv", 0, lambda k, c: form(k - 1, start + timedelta(seconds=20 * (k - 1))) if k else c)
        case(family, name, expect, times | {"events.csv": events})

    def since(zero: datetime, when: datetime, first: int) -> str:
        return (zero + (when - datetime(2024, 3, 9, 9)) - timedelta(seconds=20 * first)).isoformat()

    old, older = datetime(2000, 1, 1), datetime(1970, 1, 1)
    clocked("2000 from midway on", lambda k, t: since(old, t, 210) if k >= 210 else t.isoformat())
    clocked("1970 for the last rows", lambda k, t: since(older, t, 400) if k >= 400 else t.isoformat())
    clocked("1970 until the clock is set", lambda k, t: since(older, t, 0) if k < 30 else t.isoformat())
    clocked("2000 amid, set again", lambda k, t: since(old, t, 100) if 100 <= k < 160 else t.isoformat())
    clocked("2000 after a few rows", lambda k, t: since(old, t, 30) if k >= 30 else t.isoformat())
    clocked("midnight midway", lambda k, t: (t - timedelta(hours=10) if k >= 180 else t).strftime("%H:%M:%S"))
    clocked("twelve hours", lambda k, t: (t + timedelta(hours=3)).strftime("%I:%M:%S"), events=NO_L2)
    clocked("twelve hours and dates", lambda k, t: (t + timedelta(hours=2)).strftime("%Y-%m-%d %I:%M:%S"), events=NO_L2)
    clocked("one row of 1970", lambda k, t: older.isoformat() if k == 50 else t.isoformat(), "problem")

    def second(name: str, expect: str, lag: float, late: float = 0.0) -> None:
        lines = [line.split(",") for line in L2.splitlines()]
        start = datetime(2024, 3, 9, 9)
        own = [f"{(start + timedelta(seconds=20 * k + lag)).isoformat()},{line[1]}" for k, line in enumerate(lines[1:])]
        own = own[int(late / 20) :]
        files = {"traces/l2.csv": "\n".join(",".join([line[0], *line[2:]]) for line in lines),
                 "traces/l2.2.csv": "\n".join(["time,mash_temp", *own])}  # fmt: skip
        case(family, name, expect, files)

    second("second logger an hour ahead", "note", 3600)
    second("second logger in another year", "note", -8000 * 86400)
    start = L2.splitlines()
    anew = [line.replace("2024-03-09T", "2000-01-01T") for line in start[200:]]
    files = {"traces/l2.csv": "\n".join(start[:200]), "traces/l2.2.csv": "\n".join([start[0], *anew])}
    case(family, "second file in another year", "note", files)
    second("second logger an hour behind", "note", -3600)
    second("second logger seven minutes ahead", "note", 420)
    second("second logger an hour ahead, begun later", "note", 3600, 400)
    second("second logger begun later", "clean", 0, 3600)


def sense_family() -> None:
    family = "what cannot be"
    for name in ("wort_temp", "ambient_temp"):
        for value in ("0.0", "85.0", "-127"):
            case(family, f"{name} {value} throughout", "problem", {"traces/l1.csv": with_last(name, value, L1)})
    case(family, "ambient_temp 18 throughout", "clean", {"traces/l1.csv": with_last("ambient_temp", "18.0", L1)})
    case(family, "lift before mash-in", "note", swap("events.csv", "l1,,0,mash-in\n", "l1,,8400,mash-in\n"))
    case(family, "boil end before all", "note",
         swap("events.csv", "l1,,8300,lift\n", "l1,,8300,lift\nl1,,8390,boil\nl1,,834,boil end\n"))  # fmt: skip
    case(family, "events in another order of rows", "clean",
         swap("events.csv", "l1,,0,mash-in\nl1,,4200,mash-out\n", "l1,,4200,mash-out\nl1,,0,mash-in\n"))  # fmt: skip
    case(family, "water test of three rows", "note", rows("traces/w1.csv", lambda r: r[:4]))
    for unit, value, expect in (("degP", "11.4", "clean"), ("Brix", "11.4", "note"), ("degL", "11.4", "problem")):
        changed = BREWS.replace("planned_gravity", f"planned_gravity [{unit}]").replace("1.046", value)
        case(family, f"planned gravity in {unit}", expect, {"brews.csv": changed.replace("1.051", "12.6")})
    case(family, "ll for l1", "problem", swap("grist.csv", "l1,wheat", "ll,wheat"))
    for label, other in (("7", "7.0"), ("007", "7")):
        changed = {file: text.replace("l3,", f"{label},") for file, text in GOOD.items() if not file.startswith("t")}
        changed |= {"traces/l3.csv": None, f"traces/{label}.csv": GOOD["traces/l3.csv"]}
        changed["grist.csv"] += f"{other},wheat malt,0.2,,,\n"
        case(family, f"{other} for {label}", "problem", changed)


for fill in (
    header_family,
    cell_family,
    power_family,
    time_family,
    form_family,
    event_family,
    fault_family,
    repeat_family,
    name_family,
    folder_family,
    reset_family,
    sense_family,
):
    fill()
