"""The layout is said once: template, names and records follow it."""

from __future__ import annotations

import csv
import dataclasses
from pathlib import Path

import pytest

import brewlog
from brewlog.logbook import layout, records
from brewlog.quantities import names, parse_unit

RECORDS = {
    "brews.csv": records.Brew,
    "rigs.csv": records.Rig,
    "grist.csv": records.Malt,
    "additions.csv": records.Addition,
    "rests.csv": records.Rest,
    "readings.csv": records.Reading,
    "water_tests.csv": records.WaterTest,
}
COLUMNS = [(file.name, column) for file in layout.FILES for column in file.columns]


def test_the_template_has_every_column_and_reads_without_a_word(tmp_path):
    folder = brewlog.new_logbook(tmp_path / "mine")
    for file in layout.FILES:
        header = next(csv.reader((folder / file.name).read_text(encoding="utf-8").splitlines()))
        assert header == [column.header for column in file.columns]
    (folder / "brews.csv").write_text((folder / "brews.csv").read_text() + "b1,2024-05-01" + "," * 18 + "\n")
    assert [p for p in brewlog.read_logbook(folder).problems if p.severity == "problem"] == []


@pytest.mark.parametrize(("file", "column"), COLUMNS, ids=[f"{file} {column.name}" for file, column in COLUMNS])
def test_every_column_is_a_known_name_and_a_field(file, column):
    if column.name not in ("date", "pair", "changes", "test", "kind", "value", "unit"):
        assert column.target in names()
    if file in RECORDS:
        fields = {field.name for field in dataclasses.fields(RECORDS[file])} | {"label", "brew"}
        assert column.target in fields
    if column.unit and column.written != "SG":
        assert parse_unit(column.written or column.unit, column.unit).factor > 0
        assert column.low < column.high


def test_channels_have_the_units_of_their_names():
    for name, column in layout.CHANNELS.items():
        assert names()[name].unit == column.unit
        assert name in layout.COMMON_WORDS


README = " ".join((Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8").split())


@pytest.mark.parametrize("words", [layout.EVENTS, ("base", "mash"), layout.STAGES[:-1], layout.QUANTITIES[:2]])
def test_the_readme_names_the_words_that_a_column_takes(words):
    assert [word for word in words if f"`{word}`" not in README] == []


def test_the_readme_says_at_which_stage_a_plan_is():
    plan = README[README.index("`planned_gravity`") :][:80]
    assert "`planned_volume` (both pre-boil" in plan
    for name in ("planned_gravity", "planned_volume"):
        assert "pre-boil" in layout.BREWS.column(name).meaning
