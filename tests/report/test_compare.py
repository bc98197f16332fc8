"""Two brews side by side."""

from __future__ import annotations

import json
import math
import re
from types import SimpleNamespace

import pytest
from uncertainties import ufloat

import brewlog
from brewlog.cli import main
from brewlog.figures.units import UnitChoice
from brewlog.report import compare_brews
from brewlog.report.compare_tables import account_table, holds_table, shown_difference
from brewlog.report.comparison import difference, difference_sentence


@pytest.fixture(scope="module")
def book(small_book_path):
    return brewlog.read_logbook(small_book_path)


@pytest.fixture(scope="module")
def pair(book):
    one, other = list(book.brews)[:2]
    return compare_brews(book, one, other, fits={})


def test_a_difference_is_second_minus_first_with_both_errors():
    row = difference(ufloat(72.0, 1.2), ufloat(75.0, 1.6))
    # sqrt(1.2^2 + 1.6^2) = 2.0
    assert (row["difference"], row["sd"]) == pytest.approx((3.0, 2.0))
    assert (row["low"], row["high"]) == pytest.approx((3.0 - 3.92, 3.0 + 3.92))
    assert math.isnan(difference(None, ufloat(1, 1))["difference"])


def test_all_numbers_of_both_brews_are_compared(pair):
    table = pair.differences
    assert list(table.index) == [
        "pre_boil_gravity", "pre_boil_volume", "conversion", "lauter", "mash", "brewhouse", "hold_rms",
    ]  # fmt: skip
    assert table.loc["mash", "difference"] == pytest.approx(
        pair.second.balance.mash.nominal_value - pair.first.balance.mash.nominal_value
    )
    assert json.loads(json.dumps(pair.to_dict()))["first"] == pair.first.brew.label


def test_what_the_readings_cannot_tell_is_said_so():
    def said(low, high):
        rows = {"mash": {"difference": (low + high) / 2, "sd": (high - low) / 3.92, "low": low, "high": high}}
        frame = SimpleNamespace(loc={name: rows[name] | {"first": 1.0, "second": 2.0} for name in rows})
        both = [SimpleNamespace(brew=SimpleNamespace(label=label)) for label in "ab"]
        fake = SimpleNamespace(first=both[0], second=both[1], differences=frame)
        return difference_sentence(fake, "mash", "mash efficiency", "points")

    assert said(-1.0, 3.0) == (
        "In mash efficiency the readings cannot tell b from a: the difference is −1.0 to 3.0 points (95 % range)."
    )
    assert said(1.0, 5.0) == "In mash efficiency brew b has 3.0 (1.0 to 5.0) points more than a (95 % range)."
    assert said(-5.0, -1.0) == "In mash efficiency brew b has 3.0 (1.0 to 5.0) points less than a (95 % range)."


def test_differences_of_temperature_have_no_offset_in_us_units():
    row = {"difference": 1.0, "sd": 0.5, "low": 0.0, "high": 2.0}
    assert shown_difference(row, "K", UnitChoice("us")) == "+1.8 (0.0 to 3.6)"
    assert shown_difference(row, "degC", UnitChoice("us")) == "+1.8 (0.0 to 3.6)"
    assert shown_difference(row | {"difference": -0.01, "low": -1.0}, "K", UnitChoice()) == "0.0 (−1.0 to 2.0)"


def test_the_account_has_every_step_of_either_brew(pair):
    table = account_table(pair, UnitChoice())
    steps = [row[0] for row in table.rows]
    assert set(steps) == {*pair.first.balance.waterfall.index, *pair.second.balance.waterfall.index}
    assert steps[-1] == "in the fermenter"


def test_rests_stand_side_by_side(pair):
    rows = holds_table(pair, UnitChoice("us")).rows
    rest = pair.first.held.rests.index[0]
    shown = next(row for row in rows if row[0] == str(rest))
    assert float(shown[1]) == pytest.approx(pair.first.held.rests.loc[rest, "temp"] * 1.8 + 32, abs=0.05)


def test_planned_and_reached_come_first_on_the_page(report_folder):
    page = next(report_folder.glob("compare-*-with-*.html")).read_text(encoding="utf-8")
    order = [page.index(text) for text in ("Planned against reached", "What differs", "Where the extract went",
                                           "How each rest was held", "against the planned rests")]  # fmt: skip
    assert order == sorted(order)
    assert page.count("<figure>") == 4
    assert re.search(r"95 % range", page)


@pytest.mark.parametrize(
    ("labels", "said"), [(("{0}", "{0}x"), "Did you mean '{0}'?"), (("{0}", "{0}"), "cannot be compared with itself")]
)
def test_a_label_that_is_not_there_gets_the_nearest_and_one_line(book, labels, said, tmp_path, capsys):
    first = next(iter(book.brews))
    pair = [label.format(first) for label in labels]
    assert main(["report", str(book.path), "--out", str(tmp_path / "out"), "--compare", *pair]) == 2
    err = capsys.readouterr().err
    assert said.format(first) in err
    assert err.count("\n") == 1
    assert not (tmp_path / "out").exists()
