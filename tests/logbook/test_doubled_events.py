"""An event that was recorded twice: both are named, one counts, and which one is said."""

from __future__ import annotations

import pytest

import brewlog
from brewlog.logbook.records import Brew, Event
from brewlog.mash.marks import find_marks
from brewlog.wort.inventory import boil_minutes
from tests.logbook.conftest import GOOD

HEAD = "brew,elapsed [s],event\n"


def book_of(make_book, *rows, head=HEAD, **changes):
    return brewlog.read_logbook(make_book({"events.csv": head + "".join(f"{row}\n" for row in rows), **changes}))


def events(book, label="b1"):
    return [(event.event, event.elapsed) for event in book.brews[label].events]


def said(book):
    return [(problem.severity, str(problem)) for problem in book.problems]


def test_of_two_mash_ins_the_first_counts_and_both_are_named(make_book):
    book = book_of(make_book, "b1,100,mash-in", "b1,145,mash in", "b1,1900,lift")
    assert events(book) == [("mash-in", 100.0), ("lift", 1900.0)]
    assert said(book) == [
        (
            "note",
            "events.csv, line 3, column elapsed: found 'mash-in at 145 s, 45 s after mash-in at 100 s in line 2', "
            "expected every mash-in of a day once; line 2 counts, this one is left out.",
        )
    ]
    assert find_marks(book.brews["b1"]).mash_in == 100.0


@pytest.mark.parametrize("event", ["mash-in", "mash-out", "lift", "boil", "boil end"])
@pytest.mark.parametrize("gap", [0, 30, 300])
def test_the_order_of_rows_does_not_matter(make_book, event, gap):
    book = book_of(make_book, f"b1,{1000 + gap},{event}", f"b1,1000,{event}")
    assert events(book) == [(event, 1000.0)]
    told = [p for p in book.problems if p.severity == "note" and "without" not in p.found]
    assert [p.line for p in told] == [3 if gap == 0 else 2]
    assert "line 2 counts" in told[0].cost if gap == 0 else "line 3 counts" in told[0].cost


def test_three_of_a_kind_are_two_notes(make_book):
    book = book_of(make_book, "b1,1500,lift", "b1,1520,lift", "b1,1500,lift")
    assert events(book) == [("lift", 1500.0)]
    assert [(p.line, p.severity) for p in book.problems] == [(3, "note"), (4, "note")]


def test_where_one_of_two_is_out_of_order_the_other_counts(make_book):
    # a lift before mash-in and mash-out was a slip of the finger
    book = book_of(make_book, "b1,20,lift", "b1,100,mash-in", "b1,1200,mash-out", "b1,1800,lift")
    assert events(book) == [("mash-in", 100.0), ("mash-out", 1200.0), ("lift", 1800.0)]
    assert [(p.line, p.found, p.cost) for p in book.problems] == [
        (2, "lift at 20 s, 1780 s before lift at 1800 s in line 5", "line 5 counts, this one is left out")
    ]


@pytest.mark.parametrize("event", ["rest", "heat-up", "fill", "pump off", "pump on"])
def test_what_may_happen_again_is_doubled_within_two_minutes_only(make_book, event):
    book = book_of(make_book, f"b1,100,{event}", f"b1,160,{event}", f"b1,900,{event}")
    assert events(book) == [(event, 100.0), (event, 900.0)]
    assert [(p.line, p.severity) for p in book.problems] == [(3, "note")]


def test_a_pump_that_went_off_and_on_and_off_is_not_doubled(make_book):
    book = book_of(make_book, "b1,100,pump off", "b1,120,pump on", "b1,140,pump off")
    assert [time for _, time in events(book)] == [100.0, 120.0, 140.0]
    assert book.problems == ()


def test_hops_at_one_time_may_be_of_two_kinds(make_book):
    book = book_of(make_book, "b1,1800,hops,north", "b1,1800,hops,south", head="brew,elapsed [s],event,hop\n")
    assert [time for _, time in events(book)] == [1800.0, 1800.0]
    assert [p.column for p in book.problems] == ["hop"]


def test_the_same_event_of_two_brews_is_not_doubled(make_book):
    book = book_of(make_book, "b1,100,mash-in", "b2,100,mash-in")
    assert book.problems == ()


def test_clock_times_and_elapsed_times_of_one_event_are_compared(make_book):
    lines = GOOD["traces/b1.csv"].splitlines()
    clocked = [f"2024-05-01T{9 + k // 360:02d}:{k // 6 % 60:02d}:{10 * k % 60:02d}{line[line.index(','):]}"
               for k, line in enumerate(lines[1:])]  # fmt: skip
    trace = "\n".join([lines[0].replace("elapsed [s]", "time"), *clocked]) + "\n"
    rows = ("b1,,100,mash-in", "b1,2024-05-01T09:02:00,,mash-in")
    book = book_of(make_book, *rows, head="brew,time,elapsed [s],event\n", **{"traces/b1.csv": trace})
    assert events(book) == [("mash-in", 100.0)]
    assert [(p.line, p.column) for p in book.problems] == [(3, "time")]


def test_of_two_boils_in_a_record_the_first_counts_everywhere():
    moments = (Event("1", "boil", 100.0), Event("1", "boil", 400.0), Event("1", "boil end", 3700.0))
    brew = Brew("1", load_trace=lambda: (None, (), moments))
    assert boil_minutes(brew) == (60.0, 1.0)
    assert find_marks(brew).boil == 100.0


@pytest.mark.parametrize(
    ("rows", "found"),
    [
        (["b1,300,boil"], "boil without boil end in brew b1"),
        (["b1,300,boil", "b2,200,boil", "b2,150,lift"], "boil without boil end in 2 brews (b1, b2)"),
        (["b1,1900,boil end"], "boil end without boil in brew b1"),
        (["b1,300,boil", "b1,1900,boil end", "b2,150,lift"], None),
    ],
)
def test_half_a_boil_is_told_once_with_what_is_missing(make_book, rows, found):
    told = [p for p in book_of(make_book, *rows).problems if p.file == "events.csv"]
    assert [(p.severity, p.line, p.found, p.expected) for p in told] == (
        [("note", 2, found, "both, the start and the end of the boil")] if found else []
    )
