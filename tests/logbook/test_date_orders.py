"""Day and month: all dates of a column tell the order together, one slip costs one date, a split column is refused."""

from __future__ import annotations

from datetime import date

import pytest

import brewlog

US = ["6/15/2024", "7/13/2024", "8/10/2024", "9/14/2024", "10/12/2024", "11/9/2024", "12/7/2024",
      "1/18/2025", "2/8/2025", "3/1/2025", "3/22/2025", "5/10/2025", "6/7/2025"]  # fmt: skip


def brews(*dates: str) -> str:
    return "brew,date\n" + "".join(f"b{k},{day}\n" for k, day in enumerate(dates, start=1))


def read(make_book, *dates: str):
    alone = dict.fromkeys(("rigs.csv", "grist.csv", "readings.csv", "rests.csv"))
    alone |= {"traces/b1.csv": None, "traces/b2.csv": None}
    book = brewlog.read_logbook(make_book(alone | {"brews.csv": brews(*dates)}))
    said = [(p.severity, p.line, p.found, p.expected, p.cost) for p in book.problems]
    return [brew.date for brew in book.brews.values()], said


def test_one_date_of_the_other_order_costs_that_date_alone(make_book):
    days, said = read(make_book, *US[:11], "19/4/2025", *US[11:])
    assert days[0] == date(2024, 6, 15)
    assert [k for k, day in enumerate(days) if day is None] == [11]
    assert days[9] == date(2025, 3, 1)
    assert said == [
        ("note", 1, "dates like 6/15/2024", "ISO 8601 (2024-05-31)", "read as month/day/year"),
        (
            "problem",
            13,
            "19/4/2025",
            "month/day/year, the order of 13 other dates (perhaps 2025-04-19)",
            "this date is left out",
        ),
    ]


@pytest.mark.parametrize(
    ("dates", "kept"),
    [
        (["6/15/2024", "6/16/2024", "6/17/2024", "18/6/2024"], True),  # three to one
        (["6/15/2024", "6/16/2024", "3/4/2024", "18/6/2024"], False),  # two to one: 3/4 tells nothing
        ([f"6/{day}/2024" for day in range(13, 31)] + ["18/6/2024", "19/6/2024"], True),  # two of twenty
        ([f"6/{day}/2024" for day in range(14, 31)] + ["18/6/2024", "19/6/2024"], False),  # two of nineteen
    ],
)
def test_few_contradictions_are_slips_more_are_not(make_book, dates, kept):
    days, _ = read(make_book, *dates)
    assert (days[0] is not None) == kept
    assert days[-1] is None


def test_a_split_column_is_refused_and_names_the_lines(make_book):
    days, said = read(make_book, "6/15/2024", "13/7/2024", "8/10/2024", "9/14/2024")
    assert days == [None] * 4
    wish = "an ISO 8601 date such as 2024-05-31, or one order: dates are month/day/year in lines 2 and 5, "
    wish += "day/month/year in line 3"
    assert said == [
        ("problem", line, cell, wish, "this date is left out")
        for line, cell in ((2, "6/15/2024"), (3, "13/7/2024"), (4, "8/10/2024"), (5, "9/14/2024"))
    ]


def test_a_date_in_another_notation_is_no_contradiction(make_book):
    days, said = read(make_book, "6/15/2024", "13.7.2024", "8/10/2024", "14 Sep 2024", "2024-10-12")
    assert [str(day) for day in days] == ["2024-06-15", "2024-07-13", "2024-08-10", "2024-09-14", "2024-10-12"]
    assert [(severity, cost) for severity, *_, cost in said] == [
        ("note", f"read as {order}") for order in ("day.month.year", "month/day/year", "day month year")
    ]


def clocked(*starts: str) -> dict[str, str]:
    """Brews without a date, each with a trace that begins at some time."""
    files = {"brews.csv": brews(*[""] * len(starts)), "rigs.csv": None, "grist.csv": None, "readings.csv": None,
             "rests.csv": None, "traces/b1.csv": None, "traces/b2.csv": None}  # fmt: skip
    for k, start in enumerate(starts, start=1):
        rows = "".join(f"{start}:{s // 60:02d}:{s % 60:02d},{65 + s / 1000:.2f}\n" for s in range(0, 1800, 10))
        files[f"traces/b{k}.csv"] = "time,mash_temp\n" + rows
    return files


def days_of(folder):
    book = brewlog.read_logbook(folder)
    traces = [brew.trace for brew in book.brews.values()]
    days = [str(trace["time"].iloc[0].date()) if "time" in trace else None for trace in traces]
    return days, {p.file: p.cost for p in book.problems if p.file.startswith("traces/")}


def test_a_trace_leans_on_the_order_of_the_other_traces(make_book):
    days, said = days_of(make_book(clocked("3/1/2025 09", "3/22/2025 09", "5/10/2025 10", "10.5.2025 10")))
    assert days == ["2025-03-01", "2025-03-22", "2025-05-10", "2025-05-10"]
    order = "month/day/year hour:minute:second"
    assert said == {
        "traces/b1.csv": f"read as {order}, in the order of the logbook's other dates",
        "traces/b2.csv": f"read as {order}",
        "traces/b3.csv": f"read as {order}, in the order of the logbook's other dates",
        "traces/b4.csv": "read as day.month.year hour:minute:second",
    }


def test_a_trace_leans_on_the_day_that_another_brew_has(make_book):
    files = clocked("3/1/2025 09", "5/4/2025 09")
    days, _ = days_of(make_book(files | {"brews.csv": brews("", "2025-04-05")}))
    assert days == ["2025-01-03", "2025-04-05"]


def test_a_trace_leans_on_the_dates_of_the_tables_where_traces_do_not_tell(make_book):
    files = clocked("3/1/2025 09", "5/4/2025 09") | {"traces/b2.csv": None}
    book = brewlog.read_logbook(make_book(files | {"brews.csv": brews("", "2/28/2025")}))
    assert str(book.brews["b1"].trace["time"].iloc[0].date()) == "2025-03-01"


@pytest.mark.parametrize("other", ["5/4/2025 09", "22/3/2025 09,3/22/2025 09"])
def test_a_trace_leans_on_nothing_where_the_others_do_not_tell(make_book, other):
    days, said = days_of(make_book(clocked("3/1/2025 09", *other.split(","))))
    assert days[0] is None
    assert said["traces/b1.csv"].endswith("day and month could be swapped, so the date is not used")


def test_dates_in_a_column_of_their_own_lean_on_the_others_too(make_book):
    files = clocked("3/1/2025 09", "3/22/2025 09")
    apart = {
        name: text.replace("2025 ", "2025,").replace("time,", "Date,Time,") for name, text in files.items() if text
    }
    days, _ = days_of(make_book(files | apart))
    assert days == ["2025-03-01", "2025-03-22"]
