"""Longer texts in the reader's units, with the numbers that the pages have."""

from __future__ import annotations

import re

import pytest

import brewlog
from brewlog.figures.units import UnitChoice
from brewlog.findings import explain_change, relate
from brewlog.report import review_brew, summary_in
from brewlog.report.words import folded_lines

LITRES = 3.785411784
"""Of a US gallon: 231 cubic inches. NIST Handbook 44, Appendix C."""
KILOGRAM = 0.45359237
"""Of a pound. The same."""


def row(text: str, name: str) -> list[float]:
    """Numbers in the first line that begins with a name."""
    line = next(line for line in text.splitlines() if line.startswith(name))
    return [float(one) for one in re.findall(r"(?<![\w-])-?\d+(?:\.\d+)?(?!\w)", line.removeprefix(name))]


def test_in_metric_units_it_is_the_summary_itself(fit, table):
    relation = relate(table)
    for result in (fit, relation, explain_change(table, "base", "mash", relation=relation)):
        assert summary_in(result).replace("°C", "degC").split() == result.summary().split()


def test_constants_of_a_rig_follow_the_reader(fit):
    metric, us = fit.summary(), summary_in(fit, "us")
    for name, factor in (("heat_loss", 1 / 1.8), ("vessel_heat_capacity", 1 / 1.8), ("probe_lag", 1.0)):
        assert row(us, name)[:3] == pytest.approx([factor * one for one in row(metric, name)[:3]], rel=2e-3), name
    assert "W/°F" in us
    assert not re.search(r"\b(W/K|J/K|L/min|L/h|L/kg)\b", us)


def test_coefficients_are_per_unit_of_the_reader(table):
    relation = relate(table)
    metric, us = relation.summary(), summary_in(relation, "us")
    # points per kelvin are 1.8 times the points per degree Fahrenheit
    assert row(us, "hold_rms")[:3] == pytest.approx([one / 1.8 for one in row(metric, "hold_rms")[:3]], abs=0.006)
    assert row(us, "grist")[:3] == pytest.approx([one * KILOGRAM for one in row(metric, "grist")[:3]], abs=0.006)
    assert "points per °F" in us
    assert "points per lb" in us
    assert row(us, "mill_gap") == row(metric, "mill_gap")
    assert row(us, "as fitted") == row(metric, "as fitted")


def test_settings_before_and_after_follow_the_reader_and_points_stay(table):
    change = explain_change(table, "base", "mash")
    metric, us = change.summary(), summary_in(change, "us")
    before, after = row(metric, "hold_rms")[:3], row(us, "hold_rms")[:3]
    assert before == after
    assert row(us, "hold_rms")[3:5] == pytest.approx([1.8 * one for one in row(metric, "hold_rms")[3:5]], abs=0.02)


def test_the_account_follows_the_reader(small_book_path):
    book = brewlog.read_logbook(small_book_path)
    balance = review_brew(book, next(iter(book.brews)), fits={}).balance
    us = summary_in(balance, "us")
    volume, mass = balance.volume["pre-boil"].nominal_value, balance.extract_mass["pre-boil"].nominal_value
    numbers = row(us, "pre-boil")
    assert numbers[0] == pytest.approx(volume / LITRES, rel=0.02)
    assert f"{mass / KILOGRAM:.1f}" in us
    assert not re.search(r"\d (L|kg)\b", us)
    with pytest.raises(ValueError, match="expected one of metric, us"):
        summary_in(balance, "imperial")


def test_sentences_are_folded_and_rows_of_tables_stay():
    text = "name     1.0   2.0\n[12] " + 40 * "word "
    lines = folded_lines(text, 60).splitlines()
    assert lines[0] == text.splitlines()[0]
    assert max(map(len, lines[1:])) <= 60
    assert all(line.startswith("     word") for line in lines[2:])
    assert " ".join(lines).split() == text.split()


def test_the_last_cells_of_a_wide_table_stand_at_the_left_of_their_column():
    last = ["verdict", "identified", "not told, " + 90 * "x"]
    text = "\n".join(f"{name:<8}{number:>6}{cell:>120}" for name, number, cell in zip("abc", "123", last, strict=True))
    lines = folded_lines(text).splitlines()
    assert [line[16:] for line in lines] == last
    assert [line[:14] for line in lines] == [line[:14] for line in text.splitlines()]
    ragged = f"mash      1.00 ({90 * 'x'})\nlauter    2.00"
    assert folded_lines(ragged) == ragged


def test_the_page_of_a_rig_in_us_units_has_no_metric_number_in_its_text(small_book_path, fit):
    from brewlog.report.context import Context
    from brewlog.report.results import Results
    from brewlog.report.rig_page import rig_page

    results = Results(brewlog.read_logbook(small_book_path))
    results.__dict__["fits"] = {fit.rig: fit}
    page = rig_page(Context(results, UnitChoice("us"), {}, {fit.rig: "rig.html"}), fit.rig)
    words = [block.text for block in page.blocks if block.kind == "summary"]
    assert words
    assert not re.search(r"\d +(K|L|kg|W/K|J/K|L/h|L/min|L/kg|degC|°C)\b(?!/)", "\n".join(words))
