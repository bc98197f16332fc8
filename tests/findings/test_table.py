"""`brew_table`: one row per brew from real records, reasons for empty cells, what changed, units."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from brewlog.findings import brew_table, relate
from brewlog.findings.table import COLUMNS
from brewlog.mash import hold
from brewlog.simulate import KITCHEN, BrewPlan, brew_record, simulate_day
from brewlog.wort import extract_balance


class Book:
    """A logbook of ready records."""

    def __init__(self, brews):
        self.rigs = {"kitchen": KITCHEN.record()}
        self.brews = {brew.label: brew for brew in brews}

    def rig_of(self, brew):
        return self.rigs.get(brew.rig)


def told_of(missing):
    """Reason per column."""
    parts = [part.split(": ", 1) for part in missing.split("; ") if part]
    return {name: reason for names, reason in parts for name in names.split(", ")}


@pytest.fixture(scope="module")
def brews():
    made = []
    for k, follows in enumerate(["base", "mash", "mash"]):
        day = simulate_day(KITCHEN, BrewPlan(f"k{k + 1}", heater_follows=follows), np.random.default_rng(k))
        made.append(brew_record(day, date(2024, 3, 1 + 7 * k)))
    return made


@pytest.fixture(scope="module")
def table(brews):
    blind = replace(brews[1], label="k4", load_trace=None, malts=(), readings=(), mill_gap=None, date=date(2024, 4, 1))
    changed = replace(brews[2], mill_gap=0.95, changes="new mill", own={"mood": "good", "hop_stand": "20"})
    return brew_table(Book([brews[0], brews[1], changed, blind]), fits={})


def test_columns_units_and_rows(table):
    assert [name for name in table.columns if name in COLUMNS] == list(COLUMNS)
    assert table["brew"].tolist() == ["k1", "k2", "k3", "k4"]
    units = table.attrs["units"]
    assert {name: units[name] for name in ("brewhouse_sd", "hold_rms", "grist", "mash_time", "rig")} == {
        "brewhouse_sd": "%",
        "hold_rms": "K",
        "grist": "kg",
        "mash_time": "min",
        "rig": "",
    }
    assert set(units) == set(table.columns)


def test_cells_are_those_of_balance_and_hold(table, brews):
    balance = extract_balance(brews[0], KITCHEN.record(), constants=None)
    held = hold(brews[0]).overall
    row = table.iloc[0]
    assert row["brewhouse"] == pytest.approx(balance.brewhouse.nominal_value)
    assert row["brewhouse_sd"] == pytest.approx(balance.brewhouse.std_dev)
    assert row["hold_rms"] == pytest.approx(held["hold_rms"])
    assert row["hold_from"] == "probe"
    assert (row["control"], row["control_from"]) == ("base", "recorded")
    assert row["grist"] == pytest.approx(sum(malt.mass for malt in brews[0].malts))
    assert row["thickness"] == pytest.approx(brews[0].mash_water / row["grist"])
    shares = [malt.mass * malt.malt_extract for malt in brews[0].malts]
    assert row["malt_extract"] == pytest.approx(100 * sum(shares) / row["grist"])


def reasons_of(row):
    """Reason per column, as `missing` tells them."""
    parts = [part.split(": ", 1) for part in row["missing"].split("; ") if part]
    return {name: reason for columns, reason in parts for name in columns.split(", ")}


def test_programme_is_the_planned_rests_without_the_mash_out(table, brews):
    temps = [rest.temp for rest in brews[0].rests]
    assert brews[0].rests[-1].purpose == "mash-out"
    assert table["programme"].iloc[0] == "-".join(f"{temp:.0f}" for temp in temps[:-1])
    assert brew_table(Book([replace(brews[0], rests=())]), fits={})["programme"].iloc[0] == ""


def test_every_empty_cell_has_a_reason(table):
    words = (
        "control",
        "control_from",
        "changes",
        "pair",
        "changed_since",
        "instruments",
        "missing",
        "hold_from",
        "programme",
    )
    for _, row in table.iterrows():
        told = set(told_of(row["missing"]))
        empty = {name for name in COLUMNS if name not in words and pd.isna(row[name])}
        assert {name for name in empty if not name.endswith("_sd") and name != "hold_bias"} <= told
    reasons = told_of(table["missing"].iloc[3])
    assert reasons["grist"] == "no malts in grist.csv"
    assert reasons["mill_gap"] == "not recorded"
    assert "no trace" in reasons["hold_rms"]


def test_a_reason_that_concerns_several_columns_is_said_once(table):
    text = table["missing"].iloc[3]
    assert text.count("no trace of this brew") == 1
    assert "hold_rms, hold_bias, lateness, mash_time, mash_out: no trace of this brew" in text
    parts = [part.partition(": ")[2] for part in text.split("; ")]
    assert len(parts) == len(set(parts))
    assert relate(table).left_out["k4"].startswith("no brewhouse (")


def test_what_changed_since_the_brew_before(table):
    assert table["changed_since"].iloc[0] == ""
    assert table["changed_since"].iloc[1].startswith("control base to mash")
    assert "mill_gap" in table["changed_since"].iloc[2]
    assert table["changes"].iloc[2] == "new mill"


def test_own_columns_come_along_as_numbers_where_they_are(table):
    assert table["hop_stand"].dtype == float
    assert table["hop_stand"].iloc[2] == 20.0
    assert table["mood"].iloc[2] == "good"
    assert table.columns[-1] == "missing"


def test_a_table_of_too_few_brews_goes_straight_into_a_refusal(table):
    relation = relate(table)
    assert relation.verdict == "refused"
    assert list(relation.left_out.index) == ["k4"]


def test_without_a_probe_the_bed_is_reconstructed_or_the_reason_given(brews, monkeypatch):
    day = simulate_day(KITCHEN, BrewPlan("k1", heater_follows="base", bed_probe=False), np.random.default_rng(0))
    blind = brew_record(day, date(2024, 3, 1))
    row = brew_table(Book([blind]), fits={}).iloc[0]
    assert np.isnan(row["hold_rms"])
    assert "the rig has no constants" in row["missing"]

    trace = blind.trace
    bed = pd.DataFrame({"elapsed": trace["elapsed"], "mash_temp": trace["base_temp"] - 1.0, "sd": 0.3})
    fit = SimpleNamespace(constants=None)
    monkeypatch.setattr("brewlog.rig.reconstruct_mash", lambda brew, fit: bed)
    row = brew_table(Book([blind]), fits={"kitchen": fit}).iloc[0]
    assert row["hold_from"] == "reconstructed"
    assert row["hold_rms"] == pytest.approx(hold(blind, mash=bed).overall["hold_rms"])

    def refuse(brew, fit):
        raise ValueError("no constants for the bed.")

    monkeypatch.setattr("brewlog.rig.reconstruct_mash", refuse)
    row = brew_table(Book([blind]), fits={"kitchen": fit}).iloc[0]
    assert "mash temperature not reconstructed: no constants for the bed." in row["missing"]


def test_a_rig_that_cannot_be_calibrated_costs_only_that(brews, monkeypatch):
    asked = Counter()

    def refuse(book, rig):
        asked[rig] += 1
        raise ValueError("three brews are needed")

    monkeypatch.setattr("brewlog.rig.calibrate", refuse)
    table = brew_table(Book(brews))
    assert asked == {"kitchen": 1}
    assert table["brewhouse"].notna().all()


def test_an_empty_book():
    table = brew_table(Book([]), fits={})
    assert list(table.columns) == list(COLUMNS)
    assert relate(table).verdict == "refused"


def test_the_sample_logbook(sample_path):
    from brewlog.logbook import read_logbook

    if not (sample_path / "brews.csv").is_file():
        pytest.skip("the sample logbook has not been made yet")
    table = brew_table(read_logbook(sample_path), fits={})
    relation = relate(table)
    assert relation.n >= 20
    assert relation.verdict in ("supported", "leaning", "not settled")
    # the sensor was moved and the gain of that is known to be about two points in the sample
    low, high = relation.control_effect.conf_int(0.95)
    assert low < 2.5
    assert high > 1.0
