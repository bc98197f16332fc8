"""Results of one report: each brew day is worked out once, and the same everywhere."""

from __future__ import annotations

from collections import Counter

import pandas as pd
import pytest

import brewlog
from brewlog.findings import brew_table
from brewlog.report import review_brew
from brewlog.report.results import Results


@pytest.fixture(scope="module")
def book(small_book_path):
    return brewlog.read_logbook(small_book_path)


@pytest.fixture
def results(book):
    found = Results(book)
    found.__dict__["fits"] = {}  # constants take long, and change nothing about what is shared
    return found


def test_each_brew_day_is_worked_out_once_for_the_table_and_for_its_page(results, monkeypatch):
    counts: Counter[tuple[str, str]] = Counter()

    def counted(name, work):
        def call(brew, *rest, **named):
            counts[name, brew.label] += 1
            return work(brew, *rest, **named)

        return call

    monkeypatch.setattr("brewlog.wort.extract_balance", counted("account", brewlog.wort.extract_balance))
    monkeypatch.setattr("brewlog.mash.hold", counted("hold", brewlog.mash.hold))
    assert len(results.table) == len(results.book.brews)
    for label in results.book.brews:
        results.review(label)
    assert set(counts) == {(name, label) for name in ("account", "hold") for label in results.book.brews}
    assert set(counts.values()) == {1}


def test_what_is_shared_says_what_each_says_by_itself(results, book):
    pd.testing.assert_frame_equal(results.table, brew_table(book, fits={}))
    for label in book.brews:
        assert results.review(label).to_dict() == review_brew(book, label, fits={}).to_dict()


def test_an_account_that_cannot_be_worked_out_costs_its_columns_and_names_the_reason(results, book, monkeypatch):
    def refuse(*_args, **_named):
        raise ValueError("altitude is 99999 m")

    monkeypatch.setattr("brewlog.wort.extract_balance", refuse)
    row = results.table.iloc[0]
    assert "brewhouse" in row["missing"]
    assert "altitude is 99999 m" in row["missing"]
    assert pd.notna(row["hold_rms"])
    with pytest.raises(ValueError, match="altitude is 99999 m"):
        results.review(str(row["brew"]))
