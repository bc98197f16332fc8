"""What the page of a rig says of the model's misses and of the next brew."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from brewlog.figures.units import UnitChoice
from brewlog.mash import hold
from brewlog.report.blocks import Heading, Listing, Table
from brewlog.report.context import Context
from brewlog.report.index_page import rigs_table
from brewlog.report.misfit import misfit_words
from brewlog.report.next_brew import NOT_HERE, earlier_rests, next_brew, strike_sentence
from brewlog.rig.lackoffit import LackOfFit
from tests.figures.conftest import base_brew as base_brew
from tests.figures.conftest import mash_brew as mash_brew


@pytest.fixture
def results(base_brew, mash_brew):
    brews = {brew.label: brew for brew in (base_brew, mash_brew)}
    book = SimpleNamespace(brews=brews, brews_of=lambda rig: list(brews.values()))
    return SimpleNamespace(book=book, review=lambda label: SimpleNamespace(held=hold(brews[label])))


def test_the_typical_miss_is_the_median_of_the_mashes(fit):
    sizes = sorted(day.mash.rms["base_temp"] for day in fit.days.values())
    middle = (sizes[1] + sizes[2]) / 2
    said = misfit_words(fit, UnitChoice())
    assert f"{middle:.2f} ({sizes[0]:.2f} to {sizes[-1]:.2f}) K at the base" in said
    assert f"{1.8 * middle:.2f} (" in misfit_words(fit, UnitChoice("us"))
    assert misfit_words(replace(fit, days={}), UnitChoice()) == ""


def test_what_the_model_leaves_out_is_said_where_it_was_shown(fit):
    for lack, shown in ((LackOfFit(8, 0.008), True), (LackOfFit(8, 0.4), False), (LackOfFit(3, float("nan")), False)):
        said = misfit_words(replace(fit, lack_of_fit=lack), UnitChoice())
        assert said.startswith("The model leaves something out on this rig") == shown
        assert "Typical miss" in said


def test_the_overview_names_the_conductance_of_beds_whose_flow_is_not_told(fit):
    mixed = replace(fit, constants=fit.constants.drop(index="bed_flow"))
    for fits, columns in (({"kitchen": fit}, {"bed flow"}), ({"kitchen": mixed}, {"bed conductance"})):
        book = SimpleNamespace(rigs=fits, brews_of=lambda label: [])
        results = SimpleNamespace(fits=fits, book=book)
        context = SimpleNamespace(results=results, rigs=dict.fromkeys(fits, "rig.html"), choice=UnitChoice())
        table = rigs_table(context)
        assert {column.title for column in table.columns if "bed" in column.title} == columns


def test_the_next_brew_rests_on_what_earlier_ones_did(fit, results):
    blocks = next_brew(Context(results, UnitChoice()), "kitchen", fit)
    assert isinstance(blocks[0], Heading)
    assert blocks[0].text == "The next brew"
    table, words = (next(one for one in blocks if isinstance(one, kind)) for kind in (Table, Listing))
    rests = earlier_rests(results, "kitchen")
    base = rests[(rests["control"] == "base") & (rests["kind"] == "rest")]
    assert table.rows[0][:2] == ["base", "rest"]
    assert table.rows[0][2] == f"{base['lead'].median():.1f} ({base['lead'].min():.1f} to {base['lead'].max():.1f})"
    last = table.rows[-1]
    assert last[:2] == ["mash", "mash-out"]
    assert last[5] == "6.0"  # headroom planned
    assert words.items[-1] == NOT_HERE
    step = 76.0 - 71.0
    malt = results.book.brews["b1"].malts
    rate = fit.heating_rate(results.book.brews["b1"].mash_water, sum(one.mass for one in malt), 73.5).nominal_value
    assert f"at full power {step / rate:.2f} ±" in words.items[-2]
    assert "for 5.0 K with" in words.items[-2]


def test_the_next_brew_in_the_readers_units(fit, results):
    blocks = next_brew(Context(results, UnitChoice("us")), "kitchen", fit)
    table, words = (next(one for one in blocks if isinstance(one, kind)) for kind in (Table, Listing))
    assert "base above bed [°F]" in [column.title for column in table.columns]
    assert table.rows[-1][5] == "10.8"
    assert "for 9.0 °F with" in words.items[-2]


def test_the_strike_water_of_a_usual_charge(fit, base_brew, mash_brew):
    brews = [replace(brew, grain_temp=None) for brew in (base_brew, mash_brew)]
    said = strike_sentence(brews, fit, UnitChoice())
    grain = float(np.median([sum(malt.mass for malt in brew.malts) for brew in brews]))
    water = float(np.median([brew.mash_water for brew in brews]))
    first = float(np.median([brew.rests[0].temp for brew in brews]))
    found = fit.strike_temp(water, grain, first, 20.0)
    assert f"a first rest at {first:.1f} °C: {found.nominal_value:.1f} °C ± {found.std_dev:.1f} K" in said
    assert f"for {water:.1f} L of water and {grain:.1f} kg of malt at 20.0 °C (assumed)" in said
    assert "scalds" in said
    us = strike_sentence([replace(brew, grain_temp=10.0) for brew in brews], fit, UnitChoice("us"))
    warmer = fit.strike_temp(water, grain, first, 10.0).nominal_value
    assert f"{1.8 * warmer + 32:.1f} °F" in us
    assert "at 50.0 °F, the medians" in us
    assert strike_sentence([replace(brew, malts=()) for brew in brews], fit, UnitChoice()) == ""


def test_a_grist_without_mass_loses_the_sentence_and_not_the_page(fit, base_brew):
    empty = replace(base_brew, malts=tuple(replace(malt, mass=0.0) for malt in base_brew.malts))
    assert strike_sentence([empty], fit, UnitChoice()) == ""


def test_without_a_brew_there_is_nothing_to_say_of_the_next(fit):
    book = SimpleNamespace(brews={}, brews_of=lambda rig: [])
    assert next_brew(Context(SimpleNamespace(book=book), UnitChoice()), "kitchen", fit) == []
