"""Columns that brewlog does not know are the brewer's own notes: said once, kept in every kind of file."""

from __future__ import annotations

import numpy as np
import pytest

import brewlog
from tests.logbook.corpus import GOOD

TABLES = [name for name in GOOD if "/" not in name and name != "channels.csv"]


def with_own(text: str, *names: str) -> str:
    lines = text.splitlines()
    head = ",".join([lines[0], *names])
    return "\n".join(
        [head, *(f"{line}{''.join(f',{n} of {k}' for n in names)}" for k, line in enumerate(lines[1:], 2))]
    )


def kept(book: brewlog.logbook.Logbook, file: str) -> list[dict[str, str]]:
    """What the records made of the first brew's rows of a file hold of the brewer's own."""
    brew = book.brews["l1"]
    records = {
        "brews.csv": [brew],
        "rigs.csv": [book.rigs["shed"]],
        "grist.csv": brew.malts,
        "additions.csv": brew.additions,
        "rests.csv": brew.rests,
        "readings.csv": brew.readings,
        "events.csv": brew.events,
        "water_tests.csv": book.water_tests.values(),
    }
    return [dict(record.own) for record in records[file]]


@pytest.fixture
def read(tmp_path):
    def make(changes):
        for name, content in {**GOOD, **changes}.items():
            file = tmp_path / "book" / name
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(content, encoding="utf-8")
        return brewlog.read_logbook(tmp_path / "book")

    return make


@pytest.mark.parametrize("file", TABLES)
def test_own_columns_of_a_table_are_kept_and_said_once(read, file):
    book = read({file: with_own(GOOD[file], "supplier", "weather")})
    assert [str(problem) for problem in book.problems] == [
        f"{file}, line 1: found '2 other columns (supplier, weather)', expected columns of {file}; "
        "kept as columns of your own."
    ]
    rows = kept(book, file)
    assert rows[0] == {"supplier": "supplier of 2", "weather": "weather of 2"}
    assert len(rows) == len({row["supplier"] for row in rows}) > 0


def test_own_columns_of_a_trace_are_kept_beside_elapsed_time(read):
    lines = GOOD["traces/l1.csv"].splitlines()
    rows = [f"{line},{k / 10},lid {k % 2}" for k, line in enumerate(lines[1:])]
    rows[5], rows[6] = rows[6], rows[5]
    book = read({"traces/l1.csv": "\n".join([f"{lines[0]},valve 3,lid", *rows])})
    assert [(p.severity, p.cost) for p in book.problems][:2] == [
        ("note", "kept as a column of your own; channels.csv can name its channel")
    ] * 2
    brew = book.brews["l1"]
    assert not {"valve 3", "lid"} & set(brew.trace)
    own = brew.trace_own
    assert list(own) == ["elapsed", "valve 3", "lid"]
    # in order of time, as the trace is
    np.testing.assert_allclose(own["elapsed"], brew.trace["elapsed"])
    np.testing.assert_allclose(own["valve 3"], np.arange(len(own)) / 10)
    assert own["lid"].tolist() == [f"lid {k % 2}" for k in range(len(own))]
    assert book.brews["l2"].trace_own is None
    assert brewlog.logbook.Brew("paper").trace_own is None
