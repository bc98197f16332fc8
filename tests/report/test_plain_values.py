"""Results as plain values for other tools, and as they show themselves in a notebook."""

from __future__ import annotations

import json

import pytest

import brewlog
from brewlog.report import review_brew


@pytest.fixture(scope="module")
def review(small_book_path):
    book = brewlog.read_logbook(small_book_path)
    return review_brew(book, next(iter(book.brews)), fits={}, units="us")


def test_a_review_is_plain_values(review):
    plain = json.loads(json.dumps(review.to_dict()))
    assert plain["brew"] == review.brew.label
    assert plain["efficiencies"]["mash"]["estimate"] == pytest.approx(review.balance.mash.nominal_value)
    assert plain["hold"]["brew"] == review.brew.label
    assert len(plain["sentences"]) == 3


def test_an_account_is_plain_values(review):
    plain = json.loads(json.dumps(review.balance.to_dict()))
    assert plain["potential"]["estimate"] == pytest.approx(review.balance.potential.nominal_value)
    assert plain["conversion"] is None or plain["conversion"]["sd"] > 0
    assert [step["step"] for step in plain["waterfall"]] == list(review.balance.waterfall.index)
    assert review.balance._repr_html_().startswith("<pre>Extract balance of brew")


def test_a_review_shows_itself_in_the_readers_units(review):
    shown = review._repr_html_()
    assert shown.count("<p>") == 3
    assert " gal " in shown
    assert " L " not in shown


def test_what_was_recorded_is_a_table(review):
    table = review.recorded
    assert list(table.columns) == ["what", "start", "end", "remark"]
    assert list(table["start"]) == sorted(table["start"])
    assert len(table) == len(review.brew.events) + len(review.brew.trace_faults)
