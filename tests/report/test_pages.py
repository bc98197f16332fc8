"""Pages of a report: whole, self-contained, escaped, readable without pictures."""

from __future__ import annotations

import re
from itertools import pairwise

import pandas as pd
import pytest

from brewlog.report.blocks import Column, Heading, Picture, Table, Text
from brewlog.report.render import Page, file_names, render
from tests.report.outline import outline, pages


def test_every_page_is_well_formed_and_its_links_lead_somewhere(report_folder):
    for page in pages(report_folder):
        found = outline(page.read_text(encoding="utf-8"))
        for link in found.links:
            target, _, anchor = link.partition("#")
            assert target == "" or (report_folder / target).is_file(), f"{page.name}: {link}"
            assert not anchor or target or anchor in found.ids, f"{page.name}: {link}"


def test_nothing_is_fetched_from_anywhere_and_no_script_is_needed(report_folder):
    for page in pages(report_folder):
        text = page.read_text(encoding="utf-8")
        assert "default-src 'none'" in text
        assert "script" not in outline(text).tags
        outside = re.findall(r"""(?:src|href|url)\s*[=(]\s*["']?\s*(?:https?:)?//[^"')\s]+""", text)
        assert outside == [], page.name


def test_every_picture_has_words_that_replace_it(report_folder):
    total = 0
    for page in pages(report_folder):
        for image in outline(page.read_text(encoding="utf-8")).images:
            total += 1
            assert image["src"].startswith("data:image/")
            assert len(image["alt"]) > 5, page.name
    assert total > 10


def test_headings_go_down_one_step_at_a_time(report_folder):
    for page in pages(report_folder):
        levels = outline(page.read_text(encoding="utf-8")).headings
        assert levels[0] == 1, page.name
        assert levels.count(1) == 1, page.name
        assert all(b - a <= 1 for a, b in pairwise(levels)), page.name


def test_text_of_the_brewer_stays_text(report_folder):
    hits = 0
    for page in pages(report_folder):
        text = page.read_text(encoding="utf-8")
        assert "<script>alert" not in text
        assert "<img src=x" not in text
        assert "<b>x" not in text
        hits += "&lt;script&gt;alert" in text
    assert hits


def test_pages_tell_nothing_of_the_folders_around_the_logbook(report_folder):
    for page in pages(report_folder):
        assert str(report_folder.parent) not in page.read_text(encoding="utf-8"), page.name


def test_labels_never_lead_out_of_the_folder(report_folder):
    assert {path.name for path in report_folder.parent.iterdir()} == {"book", "report"}
    names = file_names("brew", ["a/b", "../a", "a-b", "A-B", "ä", "", "x" * 300])
    assert len({name.lower() for name in names.values()}) == len(names)
    assert all(re.fullmatch(r"[A-Za-z0-9_.-]{1,90}", name) for name in names.values())


def test_tables_for_other_tools_have_units_in_their_header(report_folder):
    table = pd.read_csv(report_folder / "brew_table.csv")
    assert {"brew", "hold_rms [K]", "brewhouse [%]", "mill_gap [mm]", "missing"} <= set(table.columns)
    assert len(table) == 7
    constants = pd.read_csv(report_folder / "constants.csv")
    assert list(constants.columns) == [
        "rig", "constant", "estimate", "sd", "low", "high", "unit", "brews", "verdict", "rests_on",
    ]  # fmt: skip
    assert (constants["low"] <= constants["high"]).sum() >= 4
    findings = pd.read_csv(report_folder / "findings.csv")
    assert findings["sentence"].iloc[0]


def test_a_page_escapes_what_it_is_given():
    blocks = [
        Heading("a & b", anchor="x"),
        Text("<i>"),
        Table("t", (Column("<u>"),), [["<s>"]]),
        Picture("data:,", 'say "hi" <b>', "c", 1, 1),
    ]
    text = render(Page("p.html", "<title>", blocks), "<book>", [])
    assert outline(text).tags.isdisjoint({"i", "u", "s", "b", "book"})
    assert "a &amp; b" in text


def test_an_unknown_field_of_a_block_is_an_error_not_a_blank():
    with pytest.raises(Exception, match="has no attribute"):
        render(Page("p.html", "t", [Table("t", ("no column",), [["x"]])]), "b", [])  # type: ignore[arg-type]
