"""Times under a header of another language: by a word, by what stands in the column, else asked for with an example."""

from __future__ import annotations

import pytest

import brewlog
from tests.logbook.conftest import GOOD

STAMPS = [f"{9 + s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}" for s in range(0, 6000, 30)]
COUNTS = [str(s) for s in range(0, 6000, 30)]


def trace(head: str, cells: list[str]) -> dict[str, str]:
    rows = "".join(f"{cell},{65 + 0.5 * (k % 7):.2f}\n" for k, cell in enumerate(cells))
    return {"traces/b1.csv": f"{head},mash_temp\n{rows}"}


def read(folder):
    book = brewlog.read_logbook(folder)
    frame = book.brews["b1"].trace
    said = [(p.severity, p.column, p.expected, p.cost) for p in book.problems if p.file == "traces/b1.csv"]
    return (None if frame is None else frame["elapsed"].iloc[-1]), said


@pytest.mark.parametrize(
    "head",
    [
        "Zeit",
        "Uhrzeit",
        "Zeitstempel",
        "Datum/Zeit",
        "tiempo",
        "heure",
        "tijd",
        "ora",
        "timestamp",
        "date_time",
        "czas",
    ],
)
@pytest.mark.parametrize("cells", [[f"2024-05-01T{cell}" for cell in STAMPS], STAMPS], ids=["dated", "time of day"])
def test_words_for_time_are_understood_in_other_languages(make_book, head, cells):
    last, said = read(make_book(trace(head, cells)))
    assert last == 5970.0
    assert said[0] == ("note", head, "the name of a channel, such as 'time'", "read as time")


def test_date_and_time_of_day_stand_in_two_columns_of_other_names(make_book):
    last, _ = read(make_book(trace("Datum,Uhrzeit", [f"01.05.2024,{cell}" for cell in STAMPS])))
    assert last == 5970.0


@pytest.mark.parametrize(
    ("head", "cells", "kind"),
    [
        ("temps", STAMPS, "time"),
        ("klokka", [f"2024-05-01 {cell}" for cell in STAMPS], "time"),
        ("klokka", [f"03/04/2024 {cell}" for cell in STAMPS], "time"),
        ("temps", COUNTS, "elapsed"),
        ("Laufzeit [s]", COUNTS, "elapsed"),
    ],
)
def test_a_column_of_rising_times_is_one_whatever_its_header(make_book, head, cells, kind):
    last, said = read(make_book(trace(head, cells)))
    assert last == 5970.0
    wish, cost = f"the name {kind!r}, or a row in channels.csv", f"read as {kind}, as its cells are rising times"
    assert said[0] == ("note", head, wish, cost)


def test_of_temperatures_under_a_word_that_may_mean_time_nothing_is_made(make_book):
    # in English they are temperatures
    text = trace("temps", [f"{60 + k % 5}" for k in range(200)])
    last, said = read(make_book(text))
    assert last is None
    assert [severity for severity, *_ in said] == ["note", "problem"]
    beside = trace("temps,logged at", [f"{60 + k % 5},{cell}" for k, cell in enumerate(STAMPS)])
    assert read(make_book(beside))[0] == 5970.0


def test_a_trace_without_times_is_told_what_channels_csv_would_say(make_book):
    folder = make_book({"traces/b1.csv": GOOD["traces/b1.csv"].replace("elapsed [s]", "Messpunkt")})
    wish = "a column 'time' or 'elapsed', or a row in channels.csv, such as 'attic,time,Messpunkt'"
    assert read(folder)[1][-1] == ("problem", None, wish, "this trace is left out")
    row = "rig,channel,column,unit\nattic,elapsed,Messpunkt,s\n"
    named = make_book({"channels.csv": row, "traces/b1.csv": (folder / "traces" / "b1.csv").read_text()})
    assert read(named) == (1990.0, [])
