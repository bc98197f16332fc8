"""What every trace of a logger shows is told once, with the count and the first names; what differs stays apart."""

from __future__ import annotations

import brewlog
from brewlog.logbook.alike import told_together
from brewlog.logbook.problems import Problem
from tests.logbook.conftest import GOOD

ALONE = dict.fromkeys(("rigs.csv", "grist.csv", "readings.csv", "rests.csv", "traces/b1.csv", "traces/b2.csv"))


def logged(*days: str) -> dict[str, str | None]:
    """Brews of a logger that writes a head of its own and dates in some form."""
    files: dict[str, str | None] = dict(ALONE)
    files["brews.csv"] = "brew,date\n" + "".join(f"b{k},2024-05-{13 + k}\n" for k in range(len(days)))
    for k, day in enumerate(days):
        rows = "".join(f"{day} 09:{s // 60:02d}:{s % 60:02d};65.{s % 7}\n" for s in range(0, 1800, 10))
        files[f"traces/b{k}.csv"] = "time;mash_temp\n" + rows
    return files


def said(folder):
    return [str(p) for p in brewlog.read_logbook(folder).problems]


def test_a_note_that_more_than_three_traces_share_is_told_once(make_book):
    days = [f"{13 + k}.05.2024" for k in range(5)]
    assert said(make_book(logged(*days))) == [
        "traces: found 'semicolon between columns in 5 traces (b0, b1, b2 and 2 more)', expected comma and decimal "
        "point; it was read as such.",
        "traces, column time: found 'times like 13.05.2024 09:00:00 in 5 traces (b0, b1, b2 and 2 more)', expected an "
        "ISO 8601 time; read as day.month.year hour:minute:second.",
    ]


def test_notes_of_three_traces_stay_with_their_files(make_book):
    days = [f"{13 + k}.05.2024" for k in range(3)]
    assert len(said(make_book(logged(*days)))) == 6


def test_other_forms_of_times_are_other_notes(make_book):
    told = said(make_book(logged(*[f"{13 + k}.05.2024" for k in range(4)], *[f"5/{17 + k}/2024" for k in range(4)])))
    assert [text.split("; ")[1] for text in told] == [
        "it was read as such.",
        "read as day.month.year hour:minute:second.",
        "read as month/day/year hour:minute:second.",
    ]
    assert "in 8 traces (b0, b1, b2 and 5 more)" in told[0]


def test_the_notes_of_one_trace_are_all_its_own(make_book):
    book = brewlog.read_logbook(make_book(logged(*[f"{13 + k}.05.2024" for k in range(5)])))
    assert [(p.file, p.line) for p in book.problems_of("b4")] == [("traces/b4.csv", None), ("traces/b4.csv", 2)]


def test_problems_notes_of_tables_and_what_one_file_says_twice_stay_as_they_are():
    def many(severity, folder, places):
        return [Problem(f"{folder}{k}.csv", line, None, "x", "y", "z", severity) for k, line in places]

    apart = [
        *many("problem", "traces/", [(k, 2) for k in range(6)]),
        *many("note", "", [(k, 2) for k in range(6)]),
    ]
    assert told_together(apart) == apart
    twice = many("note", "traces/", [(k, line) for k in range(6) for line in (2, 3)])
    assert told_together(twice) == twice


def test_the_good_logbook_still_gives_no_word(make_book):
    assert said(make_book(GOOD)) == []
