"""What the page of the findings shows beside the sentences."""

from __future__ import annotations

import re
from types import SimpleNamespace

import pytest

from brewlog.figures.units import UnitChoice
from brewlog.findings import relate, sentences
from brewlog.findings.sensitivity import STEPS
from brewlog.report.blocks import Heading, Listing, Table, Text
from brewlog.report.context import Context
from brewlog.report.findings_page import findings_page


def page(table):
    results = SimpleNamespace(relation=relate(table), change=None, experiment=None, table=table, reasons=REASONS)
    return findings_page(Context(results, UnitChoice()))


REASONS = {"change of efficiency": "."}


def said(made) -> str:
    return " | ".join(block.text for block in made.blocks if isinstance(block, Text))


def notes(made) -> tuple[str, ...]:
    return next(block.items for block in made.blocks if isinstance(block, Listing))


def assumptions(made) -> list[str]:
    found = next(block for block in made.blocks if isinstance(block, Table) and "assumptions" in block.caption)
    return [row[0] for row in found.rows]


@pytest.fixture
def alternating(table):
    """The same brews with the sensor moved back and forth: no lasting move."""
    tight = table["hold_rms"].sample(frac=1.0, random_state=1).to_numpy()
    return table.assign(control=["base", "mash"] * (len(table) // 2), hold_rms=tight)


def test_rows_of_other_steps_stand_where_there_is_a_step(table, alternating):
    moved, free = page(table), page(alternating)
    assert set(STEPS) <= set(assumptions(moved))
    assert sentences.NO_STEP not in notes(moved)
    assert not set(STEPS) & set(assumptions(free))
    assert "as fitted" in assumptions(free)
    assert sentences.NO_STEP in notes(free)
    for made in (moved, free):
        assert len(re.findall("Moving the control sensor from", " | ".join([said(made), *notes(made)]))) == 1


def test_the_mill_gap_has_a_place_of_its_own(table):
    made = page(table)
    headings = [block.text for block in made.blocks if isinstance(block, Heading)]
    assert "What a finer mill gap went with" in headings
    assert "a mill gap finer by 0.1 mm went with" in said(made)
    without = page(table.drop(columns="mill_gap"))
    assert "What a finer mill gap went with" not in [one.text for one in without.blocks if isinstance(one, Heading)]
