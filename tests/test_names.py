"""Every name that a table shows a user is explained in names.csv, with the unit that the table states."""

from __future__ import annotations

import inspect
import re

import pytest

import brewlog
from brewlog.logbook import layout
from brewlog.quantities import names


@pytest.fixture(scope="module")
def book(small_book_path):
    return brewlog.read_logbook(small_book_path)


def explained(name):
    return name.removesuffix("_sd") in names() or name in names()


def test_columns_of_the_brew_table(book):
    table = brewlog.brew_table(book)
    own = {name for brew in book.brews.values() for name in brew.own}
    assert [name for name in table.columns if not explained(name) and name not in own] == []
    for name, unit in table.attrs["units"].items():
        if name in names() and unit:
            assert unit in (names()[name].unit, "SG"), name


def test_constants_of_a_rig(book):
    constants = brewlog.calibrate(book, next(iter(book.rigs))).constants
    assert [name for name in constants.index if not explained(name)] == []
    assert [name for name in constants.columns if not explained(name)] == []
    for name, unit in constants["unit"].items():
        assert unit == names()[name].unit, name


def test_measures_of_a_hold(book):
    held = brewlog.hold(next(iter(book.brews.values())))
    assert [name for name in (*held.rests.columns, *held.overall.index) if not explained(name)] == []


def test_columns_of_the_files():
    unexplained = {c.name for file in layout.FILES for c in file.columns if not c.meaning}
    assert unexplained == set()
    assert [name for name in layout.CHANNELS if not explained(name)] == []


@pytest.mark.parametrize("name", [n for n in brewlog.__all__ if not n.startswith("_") and n != "ureg"])
def test_units_in_docstrings_are_those_of_the_names(name):
    text = inspect.getdoc(getattr(brewlog, name)) or ""
    assert len(text) > 40
    for found, rest in re.findall(r"^(\w+) : [^\n]*\n((?:    [^\n]*\n?)+)", text, flags=re.MULTILINE):
        unit = re.search(r"\[([^\]]+)\]\s*$", rest.strip())
        if unit and found in names():
            assert unit[1] == names()[found].unit, found
