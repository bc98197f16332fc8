"""Habits of spreadsheets, loggers and people in a hurry: what each file is taken as, and what must come out of it.

Every case was written with its outcome before it was run.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest

from brewlog.logbook import Logbook
from tests.logbook.corpus import GOOD, Files, clock_trace, german, mash_day

GRIST, BREWS, READINGS, RESTS, RIGS, EVENTS = (
    GOOD[f"{name}.csv"] for name in ("grist", "brews", "readings", "rests", "rigs", "events")
)
L1, L2 = GOOD["traces/l1.csv"], GOOD["traces/l2.csv"]
NO_L2 = "\n".join(line for line in EVENTS.splitlines() if not line.startswith("l2")) + "\n"
PLAIN = BREWS.replace('"slow, calm"', "slow")
HEAD = "mash_temp,base_temp,set_temp,heater"


@dataclass(frozen=True)
class Habit:
    """A changed logbook, what it is taken as, words that must be said, and what must come out."""

    name: str
    taken: str
    changes: dict[str, str | bytes | None]
    said: tuple[str, ...]
    outcome: tuple[tuple[Callable[[Logbook], Any], Any], ...]

    @property
    def files(self) -> Files:
        """All files of the changed logbook."""
        both = {**GOOD, **self.changes}
        return {name: text.encode() if isinstance(text, str) else text for name, text in both.items()}


HABITS: list[Habit] = []


def habit(name: str, taken: str, changes: dict, *outcome: tuple[Callable, Any], said: tuple[str, ...] = ()) -> None:
    """Add a case."""
    HABITS.append(Habit(name, taken, changes, said, outcome))


def masses(*labels: str) -> Callable[[Logbook], list]:
    """Masses of the malts of some brews."""
    return lambda book: [malt.mass for label in labels for malt in book.brews[label].malts]


def field(name: str, label: str = "l1") -> Callable[[Logbook], Any]:
    """A field of a brew."""
    return lambda book: getattr(book.brews[label], name)


def day_of(label: str) -> Callable[[Logbook], float]:
    """How far a trace is from the plain mash day, in seconds or kelvin; infinite where rows are lost."""

    def off(book: Logbook) -> float:
        trace, rows = book.brews[label].trace, np.array(mash_day())
        if trace is None or len(trace) != len(rows):
            return float("inf")
        late = np.abs(trace["elapsed"].to_numpy() - rows[:, 0]).max()
        return float(max(late, np.abs(trace["mash_temp"].to_numpy() - rows[:, 1]).max()))

    return off


def is_day(label: str) -> tuple[Callable[[Logbook], bool], bool]:
    """The plain mash day comes out, to what the digits of the file leave of it."""
    off = day_of(label)
    return (lambda book: off(book) < 0.06), True


KEPT = (masses("l1", "l2", "l3"), [5.2, 0.55, 5.25, 4.6])


def logged(head: str, row: Callable[[float, datetime, tuple], str]) -> str:
    """The plain mash day as some logger writes it."""
    start = datetime(2024, 3, 9, 9)
    lines = [row(day[0], start + timedelta(seconds=day[0]), day[1:]) for day in mash_day()]
    return "\n".join([head, *lines]) + "\n"


def edited(text: str, edit: Callable[[int, list[str]], list[str]]) -> str:
    """A file with the cells of each line edited; the header is line 0."""
    return "\n".join(",".join(edit(k, line.split(","))) for k, line in enumerate(text.splitlines())) + "\n"


def headers() -> None:
    habit("group header above the names", "note", {"brews.csv": ",,,,Mash,,,,Malt,,,,,,Plan,,,,\n" + BREWS},
          (field("mash_water"), 22.0))  # fmt: skip
    bare = GRIST.replace(" [kg]", "").replace(" [%]", "").replace("\n", "\n,,kg,%,%,%\n", 1)
    habit("group header, names and units in three rows", "note", {"grist.csv": "Grist,,Analysis,,,\n" + bare}, KEPT,
          said=("a row of units",))  # fmt: skip
    habit("line break inside a header", "clean", {"grist.csv": GRIST.replace("mass [kg]", '"mass\n[kg]"')}, KEPT)
    habit("unit behind a slash", "note", {"grist.csv": GRIST.replace("mass [kg]", "mass / kg")}, KEPT)
    coloned = RESTS.replace("]", "]:").replace("brew,rest", "brew:,rest:").replace("purpose", "purpose:", 1)
    habit("colon behind every header", "note", {"rests.csv": coloned},
          (lambda book: [rest.temp for rest in book.brews["l1"].rests], [65.0, 72.0]))  # fmt: skip
    habit("footnote behind a header", "note", {"grist.csv": GRIST.replace("mass [kg]", "mass [kg]*")}, KEPT)
    side = "\n".join(",".join(cells) for cells in zip(*[line.split(",") for line in PLAIN.splitlines()], strict=True))
    habit("brews on their side", "nothing", {"brews.csv": side}, said=("one below the other",))
    side = "\n".join(",".join(cells) for cells in zip(*[line.split(",") for line in GRIST.splitlines()], strict=True))
    habit("grist on its side", "problem", {"grist.csv": side}, said=("one below the other",))


def blanks_and_footers() -> None:
    parted = edited(GRIST, lambda k, cells: [*cells[:3], "", *cells[3:]])
    habit("blank column between blocks", "clean", {"grist.csv": parted}, KEPT)
    habit("blank first column", "clean", {"grist.csv": edited(GRIST, lambda k, cells: ["", *cells])}, KEPT)
    habit("total row", "problem", {"grist.csv": GRIST + "Total,,15.60,,,\n"}, KEPT, said=("Total",))
    habit("total row without a label", "problem", {"grist.csv": GRIST + ",,15.60,,,\n"}, KEPT, said=("line 6",))
    habit("page footer", "problem", {"rests.csv": RESTS + "\n\nPage 1 of 1,,,,,,\n"}, said=("line 9: found 'Page 1",))
    habit("rows of separators", "clean", {"grist.csv": GRIST.replace("\nl2", "\n,,,,,\n,,,,,\nl2")}, KEPT)
    habit("second table below", "problem", {"grist.csv": GRIST + "\nhop,alpha [%]\nnorth,8\n"}, KEPT, said=("hop",))
    habit("end of a log", "problem", {"traces/l1.csv": L1 + "End of log,,,,\n"}, is_day("l1"), said=("End of log",))


def numbers() -> None:
    for name, form in (("formula in quotes", '"=""5.20"""'), ("formula", '="5.20"')):
        habit(name, "note", {"grist.csv": GRIST.replace("5.20", form)}, KEPT, said=("read as 5.20",))
    formed = edited(L1, lambda k, cells: [cells[0], f'="{cells[1]}"', *cells[2:]] if k else cells)
    habit("formulas in a trace", "note", {"traces/l1.csv": formed}, is_day("l1"), said=(f"read as {mash_day()[0][1]}",))
    habit("apostrophe in thousands", "clean", {"rigs.csv": RIGS.replace("3200", "3'200")},
          (lambda book: book.rigs["shed"].heater_power, 3200.0))  # fmt: skip
    habit("negative in brackets", "problem", {"grist.csv": GRIST.replace("5.20", "(5.20)")}, said=("(5.20)",))
    habit("no-break blanks", "clean", {"grist.csv": GRIST.replace("5.20", "\u00a05.20\u00a0")}, KEPT)
    mixed = GRIST.replace("5.20", "5200 g").replace("4.60", "10 lb")
    habit("a unit in every other cell", "note", {"grist.csv": mixed},
          (masses("l1", "l3"), pytest.approx([5.2, 0.55, 10 * 0.45359237])), said=("5200 g", "10 lb"))  # fmt: skip
    for cell in ("11 lb 7 oz", "~5", "ca. 5", "5 (approx)", "5-6", "#DIV/0!", "#REF!", "unknown", "k.A."):
        habit(f"mass of {cell}", "problem", {"grist.csv": GRIST.replace("5.20", cell)},
              (masses("l1", "l2", "l3"), [None, 0.55, 5.25, 4.6]), said=(cell,))  # fmt: skip
    united = german(GRIST.replace(" [kg]", "").replace(" [%]", "")).replace("\n", "\n;;kg;%;%;%\n", 1)
    habit("decimal comma and a row of units", "note", {"grist.csv": united}, KEPT)
    rigs = german(RIGS).replace("3200", "3.200,0").replace("2200", "2.200,0")
    habit("point in thousands and decimal comma", "note", {"rigs.csv": rigs},
          (lambda book: [(rig.heater_power, rig.dead_volume) for rig in book.rigs.values()],
           [(3200.0, 1.2), (2200.0, 0.7)]))  # fmt: skip
    habit("dashes for no value", "clean", {"grist.csv": GRIST.replace("81.5", "----")}, KEPT)
    absurd = BREWS.replace("mash,22,9,74,1.1,16,15,60", "mash,22000,-9,740,110,160,-150,6000")
    lost = ("mash_water", "sparge_water", "sparge_temp", "mill_gap", "grain_temp", "ambient_temp", "boil_time")
    habit("absurd numbers", "problem", {"brews.csv": absurd}, *((field(name), None) for name in lost),
          said=("'22000'", "'-9'", "'740'", "'110'", "'160'", "'-150'", "'6000'"))  # fmt: skip
    plato = PLAIN.replace("planned_gravity", "planned_gravity [°P]").replace("1.046", "11.4").replace("1.051", "12.6")
    plans = (lambda book: [round(brew.planned_gravity, 3) for brew in book.brews.values()], [1.046, 1.046, 1.051])
    habit("plan in Plato with decimal commas", "note", {"brews.csv": german(plato)}, plans)


def dates() -> None:
    days = ("2024-03-02", "2024-03-09", "2024-03-16")

    def written(name: str, taken: str, *forms: str, said: tuple[str, ...] = ()) -> None:
        text = BREWS
        for day, form in zip(days, forms, strict=True):
            text = text.replace(day, form)
        outcome = ((lambda book: [str(brew.date) for brew in book.brews.values()], list(days)),)
        habit(name, taken, {"brews.csv": text}, *(outcome if taken != "problem" else ()), said=said)

    written("two forms of dates", "note", days[0], "09.03.2024", days[2], said=("09.03.2024",))
    written("weekday before the date", "note", *(f"Sat {day} March 2024" for day in (2, 9, 16)))
    written("weekday before an ISO date", "clean", *(f"Sat {day}" for day in days))
    written("point behind the date", "note", *(f"{day.replace('-', '.')}." for day in days))
    written("ordinals", "note", "2nd March 2024", "9th March 2024", "16th Mar 2024")
    written("no year", "problem", "2 Mar", *days[1:], said=("2 Mar",))


def texts() -> None:
    ends = GRIST.replace("\n", "\r\n", 2).replace("4.8\n", "4.8\r", 1)
    habit("three line ends in one file", "clean", {"grist.csv": ends}, KEPT)
    marked = b"\xef\xbb\xbf" + ("sep=;\r\n" + GRIST.replace(",", ";").replace("\n", "\r\n")).encode()
    habit("mark, sep line and semicolons", "note", {"grist.csv": marked}, KEPT)
    lines = GRIST.splitlines(keepends=True)
    joined = "\ufeff" + "".join(lines[:3]) + "\ufeff" + "".join([lines[0], *lines[3:]])
    habit("two marked files in one", "note", {"grist.csv": joined}, KEPT, said=("column names again",))
    quoted = edited(GRIST, lambda k, cells: [f"'{cell}'" for cell in cells])
    habit("single quotes around all cells", "note", {"grist.csv": quoted}, KEPT, said=("'brew'",))
    padded = "\n".join("\t".join(cell.ljust(12) for cell in line.split(",")) for line in GRIST.splitlines())
    habit("tabs and padding", "note", {"grist.csv": padded}, KEPT)
    wide = L1.replace(",", "\t").replace(".", ",").encode("utf-16")
    habit("trace in UTF-16 with tabs and decimal commas", "note", {"traces/l1.csv": wide}, is_day("l1"))


def loggers() -> None:
    paged = L1.replace("\n4000,", "\n-- new page --\n4000,")
    habit("page line amid a trace", "problem", {"traces/l1.csv": paged}, is_day("l1"), said=("-- new page --",))
    open_loop = edited(L1, lambda k, cells: [cells[0], "OL" if 60 <= k < 63 else cells[1], *cells[2:]])
    habit("open loop", "problem", {"traces/l1.csv": open_loop}, said=("'OL'",))
    parts = logged(f"time,{HEAD}", lambda s, t, day: f"{0.375 + s / 86400:.8f},{','.join(map(str, day))}")
    habit("time as a fraction of the day", "note", {"traces/l2.csv": parts}, is_day("l2"),
          (lambda book: [event.elapsed for event in book.brews["l2"].events], [0.0, 8100.0]))  # fmt: skip
    parts = logged(f"elapsed [d],{HEAD}", lambda s, t, day: f"{s / 86400:.8f},{','.join(map(str, day))}")
    habit("elapsed days", "clean", {"traces/l1.csv": parts}, is_day("l1"))
    hours = logged(f"time [h],{HEAD}", lambda s, t, day: f"{s / 3600:.6f},{','.join(map(str, day))}")
    habit("elapsed hours are no fractions of a day", "note", {"traces/l1.csv": hours}, is_day("l1"))
    midnight = clock_trace("2024-03-09T22:50:00", form="%H:%M:%S").replace("\n00:00:00", "\n24:00:00")
    habit("24:00:00 without a date", "note", {"traces/l2.csv": midnight, "events.csv": NO_L2}, is_day("l2"))
    pointed = {"traces/l2.csv": clock_trace(form="%H.%M.%S"), "events.csv": NO_L2}
    habit("points in times of day", "note", pointed, is_day("l2"))
    dated = {"traces/l2.csv": clock_trace(form="%d.%m.%y"), "events.csv": NO_L2}
    habit("dates in place of times", "problem", dated, (field("trace", "l2"), None))
    first = edited(L2, lambda k, cells: [cells[0], *cells[2:]])
    second = logged(
        "Date/Time;Bed (°F)",
        lambda s, t, day: f"{t:%m/%d/%Y %I:%M:%S %p};{f'{1.8 * day[0] + 32:.2f}'.replace('.', ',')}",
    )
    habit("a second logger in degF under other names", "note", {"traces/l2.csv": first, "traces/l2.2.csv": second},
          is_day("l2"))  # fmt: skip
    switched = edited(L1, lambda k, c: [c[0], f"{1.8 * float(c[1]) + 32:.1f}", *c[2:]] if k >= 200 else c)
    habit(
        "a unit switched midway",
        "problem",
        {"traces/l1.csv": switched},
        said=("mash_temp: found 'temperatures around 149.4 without a unit'",),
    )
    long = "elapsed [s],sensor,value\n" + "".join(
        f"{d[0]:.0f},mash,{d[1]}\n{d[0]:.0f},base,{d[2]}\n" for d in mash_day()
    )
    habit("a row for each sensor", "problem", {"traces/l1.csv": long}, (field("trace"), None), said=("no channel",))
    probes = L1.replace(HEAD, "Temp 1,Temp 2,Temp 3,Relay")
    habit("numbered probes", "problem", {"traces/l1.csv": probes}, (field("trace"), None), said=("channels.csv",))
    checked = edited(L1, lambda k, cells: [str(k or "no"), *cells, f"{k * 7919 % 65536:04X}" if k else "crc"])
    habit("counter and checksum", "note", {"traces/l1.csv": checked}, is_day("l1"))
    worded = edited(L1, lambda k, cells: [*cells[:-1], {"1": "ja", "0": "nein"}.get(cells[-1], cells[-1])])
    habit("heater in words of another language", "problem", {"traces/l1.csv": worded}, is_day("l1"), said=("heater",))
    habit("a trace downloaded twice", "problem", {"traces/l1 (1).csv": L1}, is_day("l1"), said=("l1 (1)",))


def labels() -> None:
    again = BREWS + "l1,2024-04-02,shed,Quarry,mash,21,9,74,1.1,16,15,60,chilled,120,1.046,27,,,\n"
    habit("a label on two days", "problem", {"brews.csv": again}, (field("mash_water"), 22.0), said=("l1 (line 2",))
    tables = ("grist.csv", "rests.csv", "readings.csv", "events.csv", "additions.csv")
    changes: dict = {name: GOOD[name].replace("\nl1,", "\n1,").replace("\nl2,", "\n2,") for name in tables}
    changes |= {"brews.csv": BREWS.replace("l1,", "01,").replace("l2,", "02,"), "traces/l1.csv": None}
    changes |= {"traces/l2.csv": None, "traces/01.csv": L1, "traces/02.csv": L2}
    habit("labels that lost their zeros", "problem", changes, said=("perhaps '01'", "perhaps '02'"))


for fill in (headers, blanks_and_footers, numbers, dates, texts, loggers, labels):
    fill()
