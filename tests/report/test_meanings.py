"""Names of results as words, and what they mean."""

from __future__ import annotations

import re

from brewlog.figures.units import UnitChoice
from brewlog.quantities import names
from brewlog.report.meanings import SAID, meanings, plain_names, words_of_names
from tests.report.outline import pages


def test_names_that_a_brewer_writes_into_a_file_stay():
    assert plain_names("log mash_temp and mill_gap (water_tests.csv)") == "log mash_temp and mill_gap (water_tests.csv)"
    assert plain_names("no hold_rms, so no heat_loss") == "no tightness, so no heat loss"
    assert {"hold_rms", "heat_share"} <= set(words_of_names())
    assert set(SAID) <= set(names())


def test_meanings_are_those_of_the_list_of_names_in_the_readers_units():
    block = meanings(["within_half", "no such name", "heat_share"], UnitChoice("us"))
    assert block.blocks[0].items == (
        "within half: share of the seen time of a rest with the bed within 0.9 °F of the rest temperature",
        "heat share: part of the nameplate power that reaches the liquid",
    )


def test_no_page_for_brewers_speaks_of_hold_rms(report_folder):
    seen = 0
    for page in pages(report_folder):
        if page.name.startswith(("brew-", "rig-", "index", "findings", "compare-")):
            text = re.sub(r"<pre>.*?</pre>", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
            assert "hold_rms" not in text, page.name
            seen += 1
    assert seen > 5
