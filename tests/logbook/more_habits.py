"""More habits: units that nobody wrote, units inside cells, words and times of people in a hurry."""

from __future__ import annotations

import pytest

from tests.logbook.corpus import GOOD, clock_trace
from tests.logbook.habits import (
    BREWS,
    EVENTS,
    GRIST,
    HABITS,
    KEPT,
    L1,
    READINGS,
    RESTS,
    RIGS,
    edited,
    field,
    habit,
    is_day,
    masses,
)

__all__ = ["HABITS"]


def reading(place: int, label: str = "l1"):
    """Value of one reading of a brew."""
    return lambda book: book.brews[label].readings[place].value


def rests(book) -> list:
    """Temperature and time of the rests of l1."""
    return [(rest.temp, rest.time) for rest in book.brews["l1"].rests]


def events(label: str):
    """Events of a brew and their times."""
    return lambda book: [(event.event, event.elapsed) for event in book.brews[label].events]


MOMENTS = [("mash-in", 0.0), ("mash-out", 4200.0), ("lift", 8300.0)]


def unwritten_units() -> None:
    hours = RESTS.replace(",60,", ",1,").replace(",70,", ",1.2,")
    habit("rests in hours", "clean", {"rests.csv": hours.replace("time [min]", "time [h]")},
          (rests, [(65.0, 60.0), (72.0, 60.0)]))  # fmt: skip
    habit("rests in hours without a unit", "note", {"rests.csv": hours.replace("time [min]", "time")},
          said=("rests.csv, line 1, column time: found 'values up to 1.2 without a unit', expected min, or the unit in "
                "the header: time [h]; read in min",))  # fmt: skip
    short = RESTS.replace("l1,2,72,60", "l1,2,72,1").replace(" [min]", "")
    habit("one rest of a minute", "clean", {"rests.csv": short}, (rests, [(65.0, 60.0), (72.0, 1.0)]))
    boil = (
        BREWS.replace("boil_time [min]", "boil_time").replace(",60,chill", ",1,chill").replace(",75,hot", ",1.25,hot")
    )
    habit("boil in hours without a unit", "note", {"brews.csv": boil}, said=("boil_time [h]",))
    gaps = BREWS.replace("74,1.1,", "74,0.043,").replace("75,1.15", "75,0.045").replace("75,1.05", "75,0.09")
    habit(
        "gap in inches",
        "clean",
        {"brews.csv": gaps.replace("[mm]", "[in]")},
        (field("mill_gap"), pytest.approx(1.0922)),
    )
    habit("gap in inches without a unit", "problem", {"brews.csv": gaps.replace(" [mm]", "")},
          *((field("mill_gap", label), None) for label in ("l1", "l2", "l3")),
          said=("0.043", "0.045", "0.09"))  # fmt: skip
    habit("a small malt in grams", "problem", {"grist.csv": GRIST.replace("0.55", "550")},
          (masses("l1"), [5.2, None]), said=("line 3, column mass: found '550 kg'", "mass [g]"))  # fmt: skip
    bare = RIGS.replace("shed,3200,60", "shed,3200,").replace("kitchen,2200,34", "kitchen,2200,")
    habit("a small malt in grams, kettle not known", "problem",
          {"grist.csv": GRIST.replace("0.55", "550"), "rigs.csv": bare}, (masses("l1"), [5.2, None]))  # fmt: skip
    habit("water misplaced by a digit", "note", {"brews.csv": BREWS.replace("mash,22,", "mash,2.2,")}, KEPT,
          said=("line 2, column mass: found '5.20 kg in 2.2 L",))  # fmt: skip
    habit("more water than the kettle holds", "note", {"brews.csv": BREWS.replace("mash,22,", "mash,220,")}, KEPT,
          (field("mash_water"), 220.0),
          said=("line 2, column mash_water: found '220 L', expected at most the 60 L",))  # fmt: skip
    kilowatts = RIGS.replace(" [W]", "").replace("3200", "3.2")
    habit("kilowatts without a unit", "problem", {"rigs.csv": kilowatts}, said=("'3.2'",))


def weighed_water() -> None:
    # 0.998203 kg/L at 20 degC: Kell 1975
    kilos = BREWS.replace("mash_water [L]", "mash_water [kg]")
    habit("water by weight", "note", {"brews.csv": kilos},
          (field("mash_water"), pytest.approx(22 / 0.998203, rel=1e-6)),
          said=("line 1, column mash_water [kg]: found 'unit kg', expected L; read as water at 20 degC",))  # fmt: skip
    pounds = BREWS.replace("mash,22,", "mash,48.5 lb,")
    habit("pounds of water in a cell", "note", {"brews.csv": pounds},
          (field("mash_water"), pytest.approx(48.5 * 0.45359237 / 0.998203, rel=1e-6)),
          said=("48.5 lb, 22.04 L",))  # fmt: skip
    plan = BREWS.replace("planned_volume [L]", "planned_volume [kg]")
    habit("wort by weight", "problem", {"brews.csv": plan}, (field("planned_volume"), None), said=("unit kg",))


def units_in_cells() -> None:
    def brew(name: str, old: str, new: str, attribute: str, value: float) -> None:
        habit(name, "note", {"brews.csv": BREWS.replace(old, new)}, (field(attribute), pytest.approx(value)))

    brew("an hour", "16,15,60", "16,15,1 h", "boil_time", 60.0)
    brew("hours, minutes and seconds", "16,15,60", "16,15,1:15:00", "boil_time", 75.0)
    brew("hours and minutes in letters", "16,15,60", "16,15,1h 15m", "boil_time", 75.0)
    brew("degF in a cell", "22,9,74", "22,9,168F", "sparge_temp", (168 - 32) / 1.8)
    brew("feet in a cell", "chilled,120,1.046,27,,1", "chilled,1500 ft,1.046,27,,1", "altitude", 457.2)
    for cell in ("60'", "1:00", "an hour"):
        habit(f"boil of {cell}", "problem", {"brews.csv": BREWS.replace("16,15,60", f"16,15,{cell}")}, said=(cell,))
    headroom = RESTS.replace("65,60,8,", "65,60,15 °F,", 1)
    habit("a difference in degF in a cell", "note", {"rests.csv": headroom},
          (lambda book: book.brews["l1"].rests[0].headroom, pytest.approx(15 / 1.8)))  # fmt: skip
    for unit in ("US gallons", "gallons (US)", "gallons US"):
        habit(f"volume in {unit}", "clean", {"readings.csv": READINGS.replace("28.5,L", f"7.5,{unit}")},
              (reading(1), pytest.approx(7.5 * 3.785411784)))  # fmt: skip
    habit("litre(s)", "clean", {"readings.csv": READINGS.replace("28.5,L", "28.5,litre(s)")}, (reading(1), 28.5))
    habit("S.G.", "clean", {"readings.csv": READINGS.replace(",SG,", ",S.G.,")}, (reading(0), 1.0455))
    habit("unit pH", "clean", {"readings.csv": READINGS.replace("5.35,,", "5.35,pH,")}, (reading(2, "l2"), 5.35))
    for cell in ("1 045.5", '"1.045,5"'):
        habit(f"gravity {cell}", "note", {"readings.csv": READINGS.replace("1.0455", cell)},
              (reading(0), pytest.approx(1.0455)))  # fmt: skip
    inside = READINGS.replace("28.5,L", '"28,5 L",')
    habit("value and unit in one cell", "note", {"readings.csv": inside}, (reading(1), 28.5))
    habit("line end inside a number", "clean", {"brews.csv": BREWS.replace("mash,22,", 'mash,"22\n",')},
          (field("mash_water"), 22.0))  # fmt: skip


def words() -> None:
    for old, new in (("l1,pre-boil,gravity", "l1,pre-boil,OG"), ("l1,pre-boil,volume", "l1,pre-boil (hot),volume")):
        said = (new.split(",")[1 if "hot" in new else 2],)
        habit(f"reading of {said[0]}", "problem", {"readings.csv": READINGS.replace(old, new)}, said=said)
    habit("rest numbers with a point", "clean", {"rests.csv": RESTS.replace("l1,1,65", "l1,1.,65")},
          (rests, [(65.0, 60.0), (72.0, 60.0)]))  # fmt: skip
    for cell, place in (("Rest 1", 1), ("64-66", 2), ("65 (149F)", 2)):
        row = ["l1", "1", "65"]
        row[place] = cell
        habit(f"rest of {cell}", "problem", {"rests.csv": RESTS.replace("l1,1,65", ",".join(row))}, said=(cell,))
    habit("comma inside a malt's name", "problem", {"grist.csv": GRIST.replace("wheat malt", "wheat, whole")},
          said=("grist.csv, line 3",))  # fmt: skip
    habit("comma inside the last note", "problem", {"brews.csv": BREWS.replace('"slow, calm"', "slow, calm")},
          said=("brews.csv, line 3",))  # fmt: skip
    spare = dict.fromkeys((".DS_Store", "Thumbs.db", "brews.csv.bak", "~$brews.xlsx", "traces/.hidden.csv"), "x")
    habit("files of a system", "clean", spare, KEPT)
    habit("a trace left half-written", "note", {"traces/l1.csv.part": L1[:300]}, is_day("l1"))


def times() -> None:
    minutes = EVENTS.replace("elapsed [s]", "elapsed [min]").replace("4200", "70").replace("8300", "138.3333333")
    habit("events in minutes", "clean", {"events.csv": minutes},
          (lambda book: [round(event.elapsed) for event in book.brews["l1"].events], [0, 4200, 8300]))  # fmt: skip
    parted = EVENTS.replace(",4200,", ",1:10:00,").replace(",8300,", ",2h 18m 20s,")
    habit("events in hours, minutes and seconds", "note", {"events.csv": parted}, (events("l1"), MOMENTS))
    shouted = EVENTS.replace("mash-in", "Mash In", 1).replace("mash-out", "MASH_OUT")
    habit("events in capitals", "clean", {"events.csv": shouted}, (events("l1"), MOMENTS))
    for first, last in (("3/9/2024 9:00 AM", "3/9/2024 11:15 AM"), ("09/03/2024 09:00", "09/03/2024 11:15")):
        moved = EVENTS.replace("2024-03-09T09:00:00", first).replace("2024-03-09T11:15:00", last)
        habit(f"events like {first}, as the trace tells their day", "clean", {"events.csv": moved},
              (events("l2"), [("mash-in", 0.0), ("lift", 8100.0)]))  # fmt: skip
    strange = EVENTS.replace("2024-03-09T11:15:00", "5/4/2024 11:15")
    habit("an event of which no day is near the trace", "problem", {"events.csv": strange},
          (events("l2"), [("mash-in", 0.0)]), said=("5/4/2024 11:15",))  # fmt: skip
    other = EVENTS.replace("mash-out", "start of mash-out")
    habit("events in other words", "problem", {"events.csv": other}, said=("start of mash-out", "perhaps 'mash-out'"))
    habit("day of the year", "note", {"traces/l2.csv": clock_trace(form="%Y-%jT%H:%M:%S")}, is_day("l2"),
          (events("l2"), [("mash-in", 0.0), ("lift", 8100.0)]))  # fmt: skip
    epoch = edited(L1, lambda k, cells: [str(1709974800 + int(cells[0])), *cells[1:]] if k else cells)
    habit("seconds since 1970 as elapsed", "note", {"traces/l1.csv": epoch}, is_day("l1"), said=("elapsed",))


def channels() -> None:
    def column(edit):
        return edited(L1, lambda k, cells: [cells[0], edit(float(cells[1])), *cells[2:]] if k else cells)

    kelvin = column(lambda bed: f"{bed + 273.15:.2f}").replace("mash_temp", "mash_temp [K]", 1)
    habit("a trace in K", "clean", {"traces/l1.csv": kelvin}, is_day("l1"))
    both = column(lambda bed: f"{1.8 * bed + 32:.2f}").replace("mash_temp,base_temp", "mash_temp (°F),base_temp (°C)")
    habit("one column in degF, one in degC", "clean", {"traces/l1.csv": both}, is_day("l1"))

    def switch(header: str, on: str, off: str) -> str:
        named = edited(L1, lambda k, cells: [*cells[:-1], {"1": on, "0": off}.get(cells[-1], header)])
        return named

    watts = switch("power [W]", '"3,200"', "0")
    habit("commas in watts", "note", {"traces/l1.csv": watts}, is_day("l1"),
          (lambda book: float(book.brews["l1"].trace["power"].max()), 100.0))  # fmt: skip
    habit("power as a word", "problem", {"traces/l1.csv": switch("power", "ON", "OFF")}, is_day("l1"), said=("power",))
    sugar = GOOD["additions.csv"].replace("sugar,0.25", "sugar,250 g")
    habit("grams of sugar in a cell", "note", {"additions.csv": sugar},
          (lambda book: book.brews["l1"].additions[0].mass, 0.25))  # fmt: skip


def others() -> None:
    words = L1.replace("elapsed [s],mash_temp,base_temp,set_temp,heater", "Zeit [s],Maische,Boden,Soll,Heizung")
    habit("a trace in another language", "problem", {"traces/l1.csv": words}, (field("trace"), None),
          said=("channels.csv",))  # fmt: skip
    lines = L1.splitlines(keepends=True)
    parts = {"traces/l1.csv": "".join(lines[1:200]), "traces/l1.2.csv": lines[0] + "".join(lines[200:])}
    habit("names in the second file only", "problem", parts, said=("problem: traces/l1.csv,",))
    across = "malt,l1,l2,l3\npale malt,5.2,5.25,4.6\nwheat malt,0.55,,\n"
    habit("a column of the grist for each brew", "problem", {"grist.csv": across}, (masses("l1"), []),
          said=("column brew: found 'no such column'",))  # fmt: skip
    points = BREWS.replace("1.046,27,,1", "46,27,,1")
    habit("plan in points", "problem", {"brews.csv": points}, (field("planned_gravity"), None), said=("'46'",))
    swapped = GOOD["channels.csv"].replace("channel,column", "column,channel")
    habit("columns of channels.csv swapped", "problem", {"channels.csv": swapped}, said=("channels.csv, line 2",))
    test = GOOD["water_tests.csv"].replace("water_temp [degC]", "water_temp [°F]").replace(",30,14,", ",30,57.2,")
    habit("a water test in degF", "clean", {"water_tests.csv": test},
          (lambda book: book.water_tests["w1"].water_temp, pytest.approx(14.0)))  # fmt: skip
    pasted = BREWS.replace("Quarry", "Düne", 1).encode() + "l4,2024-03-23,shed,Häring\n".encode("cp1252")
    habit("a row pasted from another code page", "note", {"brews.csv": pasted}, (field("recipe"), "Düne"),
          (field("recipe", "l4"), "Häring"), said=("line 5 in cp1252",))  # fmt: skip


for fill in (unwritten_units, weighed_water, units_in_cells, words, times, channels, others):
    fill()
