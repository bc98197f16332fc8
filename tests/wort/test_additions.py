"""What joins after the mash belongs to the account."""

from __future__ import annotations

from dataclasses import replace

import pytest

from brewlog.logbook.records import Addition
from brewlog.wort import extract_balance, extract_from_sg, extract_mass, sg_from_extract, wort_density
from tests.wort.brewdays import FERMENTER, FIRST_WORT, POST, POTENTIAL, PRE, RIG, WATER, brew, read


def test_kettle_sugar_and_top_up_water_belong_to_the_account():
    # 0.5 kg sugar and 2 L water join in the boil; pre-boil extract is that of the malt alone
    before = float(extract_mass(28.0, extract_from_sg(1.044)))
    sugar, water = 0.5, 2.0 * WATER
    mass = 28.0 * float(wort_density(extract_from_sg(1.044), 20.0)) / 1000 + sugar + water - 3.2 * WATER
    strength = (before + 0.998 * sugar) / mass
    volume = mass / float(wort_density(strength, 20.0)) * 1000
    readings = (
        read("pre-boil", "gravity", 1.044, "SG"),
        read("pre-boil", "volume", 28.0, "L"),
        read("post-boil", "gravity", float(sg_from_extract(strength)), "SG"),
        read("post-boil", "volume", volume, "L"),
        read("fermenter", "gravity", float(sg_from_extract(strength)), "SG"),
        read("fermenter", "volume", volume - 2.0, "L"),
    )
    additions = (
        Addition("1", "sugar", mass=sugar, stage="boil"),
        Addition("1", "water", volume=2.0, temp=20.0, stage="boil"),
    )
    balance = extract_balance(brew(*readings, additions=additions), RIG)
    assert balance.checks.loc["whole account", "value"] < 0.01
    assert balance.states["evaporated"].nominal_value == pytest.approx(3.2 * WATER, abs=0.01)
    # the malt's share of what reached the fermenter: losses take malt and sugar alike
    assert balance.brewhouse.nominal_value == pytest.approx(100 * before * (1 - 2.0 / volume) / POTENTIAL, rel=1e-3)
    forgotten = extract_balance(brew(*readings), RIG)
    assert forgotten.checks.loc["whole account", "p"] < 0.001


def test_a_syrup_brings_its_water_and_a_powder_does_not():
    syrup = Addition("1", "extract", mass=1.0, stage="boil", extract=0.8)
    powder = Addition("1", "extract", mass=1.0, stage="boil", extract=0.96)
    for what, extract in ((syrup, 0.8), (powder, 0.96)):
        states = extract_balance(brew(*PRE, additions=(what,)), RIG).states
        assert states["boil_extract"].nominal_value == pytest.approx(extract)
        assert states["boil_water"].nominal_value == pytest.approx(1 - extract)
    # strength not recorded: anything from a syrup to a powder
    unknown = extract_balance(brew(*PRE, additions=(replace(syrup, extract=None),)), RIG)
    assert unknown.states["boil_extract"].std_dev == pytest.approx(0.06, abs=0.002)
    assert any("strength not recorded" in note for note in unknown.notes)


def test_water_in_the_fermenter_thins_and_does_not_make_extract():
    additions = (Addition("1", "water", volume=3.0, temp=20.0, stage="fermenter"),)
    thin = extract_from_sg(1.05) * 19.8 * 1.0479 / (19.8 * 1.0479 + 3 * WATER)
    readings = (
        *(replace(one, temp=20.0) for one in PRE),
        read("post-boil", "gravity", 1.0500, "SG"),
        read("post-boil", "volume", 25.2, "L"),
        read("fermenter", "gravity", float(sg_from_extract(thin)), "SG"),
        read("fermenter", "volume", 22.8, "L"),
    )
    balance = extract_balance(brew(*readings, additions=additions), RIG)
    assert balance.checks.loc["whole account", "p"] > 0.1
    assert balance.states["loss"].nominal_value == pytest.approx(25.2 - 19.8, abs=0.6)
    assert extract_balance(brew(*readings), RIG).checks.loc["whole account", "p"] < 0.001


def boiled_with(extract, water=0.0):
    """Pre-boil wort of 28 L at 1.044, and what the boil leaves when so much joins and 3.2 L of water go."""
    before = float(extract_mass(28.0, extract_from_sg(1.044)))
    mass = 28.0 * float(wort_density(extract_from_sg(1.044), 20.0)) / 1000 + extract + water - 3.2 * WATER
    strength = (before + extract) / mass
    volume = mass / float(wort_density(strength, 20.0)) * 1000
    sg = float(sg_from_extract(strength))
    readings = (
        read("pre-boil", "gravity", 1.044, "SG"),
        read("pre-boil", "volume", 28.0, "L"),
        read("post-boil", "gravity", sg, "SG"),
        read("post-boil", "volume", volume, "L"),
        read("fermenter", "gravity", sg, "SG"),
        read("fermenter", "volume", volume - 2.0, "L"),
    )
    return readings, before


def test_sugar_that_nobody_weighed_is_worked_out_where_the_readings_tell():
    readings, before = boiled_with(0.6)
    sugar = (Addition("1", "sugar", stage="boil"),)
    balance = extract_balance(brew(*readings, additions=sugar), RIG)
    assert balance.states["boil_extract"].nominal_value == pytest.approx(0.6, abs=0.01)
    assert 0.02 < balance.states["boil_extract"].std_dev < 0.1
    volume = readings[3].value
    assert balance.brewhouse.nominal_value == pytest.approx(100 * before * (1 - 2.0 / volume) / POTENTIAL, rel=2e-3)
    assert any(note.startswith("addition of sugar (boil): mass not recorded") for note in balance.notes)
    assert any(note.startswith("extract or sugar added in the boil: 0.60 ± ") for note in balance.notes)
    # without readings after the boil nobody can tell sugar from malt
    few = extract_balance(brew(*readings[:2], *readings[4:], additions=sugar), RIG)
    assert few.mash is not None
    few = extract_balance(brew(*readings[4:], additions=sugar), RIG)
    assert few.brewhouse is None
    assert few.reasons["brewhouse"] == "not recorded: mass of the extract or sugar added in the boil"


def test_water_that_nobody_measured_is_not_taken_for_none():
    top_up = (Addition("1", "water", stage="fermenter"),)
    strength = float(extract_from_sg(1.05))
    thin = strength * 19.8 * 1.0479 / (19.8 * 1.0479 + 3 * WATER)
    readings = (
        *(replace(one, temp=20.0) for one in PRE),
        read("post-boil", "gravity", 1.0500, "SG"),
        read("post-boil", "volume", 25.2, "L"),
        read("fermenter", "gravity", float(sg_from_extract(thin)), "SG"),
        read("fermenter", "volume", 22.8, "L"),
    )
    balance = extract_balance(brew(*readings, additions=top_up), RIG)
    assert balance.checks.loc["whole account", "p"] > 0.1
    assert balance.states["fermenter_added_water"].nominal_value == pytest.approx(3 * WATER, abs=0.15)
    assert any(
        note.startswith("addition of water (fermenter): neither mass nor volume recorded") for note in balance.notes
    )
    # nothing tells how thin it is: no brewhouse efficiency, and no claim that it is as strong as before
    blind = extract_balance(brew(*readings[:4], readings[5], additions=top_up), RIG)
    assert blind.brewhouse is None
    assert not any("as strong" in note for note in blind.notes)
    mash = extract_balance(brew(*PRE, FIRST_WORT, additions=(Addition("1", "water", stage="mash"),)), RIG)
    assert mash.conversion is None
    assert "the mash water" in mash.reasons["conversion"]


def test_top_up_water_without_a_gravity_in_the_fermenter_is_worked_out_and_said_rightly():
    measured = (Addition("1", "water", volume=2.0, stage="fermenter"),)
    balance = extract_balance(brew(*PRE, *POST, FERMENTER[1], additions=measured), RIG)
    assert balance.gravity["fermenter"].nominal_value < balance.gravity["post-boil"].nominal_value - 0.003
    assert "fermenter gravity not read: worked out from the post-boil wort and what was added to it." in balance.notes


def test_extract_in_the_mash_that_nobody_weighed_leaves_no_potential():
    balance = extract_balance(brew(*PRE, additions=(Addition("1", "sugar", stage="mash"),)), RIG)
    assert balance.potential is None
    assert balance.reasons["mash"] == "the mass of the extract added to the mash is not recorded"
    malt = extract_balance(brew(*PRE, additions=(Addition("1", "malt", stage="mash"),)), RIG)
    assert malt.reasons["mash"] == "mass not recorded for 'malt'"


def test_malt_in_the_boil_is_counted_by_an_assumption_that_is_said():
    balance = extract_balance(brew(*PRE, additions=(Addition("1", "malt", mass=0.3, stage="boil"),)), RIG)
    assert balance.states["boil_extract"].nominal_value == pytest.approx(0.3 * 0.79 * 0.955)
    assert "malt added after the mash: taken to give 75 ± 4 % extract." in balance.notes


def test_steps_to_the_fermenter_close_with_additions_and_say_where_one_was_not_weighed():
    readings, _ = boiled_with(0.6)
    sugar = Addition("1", "sugar", mass=0.6, stage="boil")
    for rows in (readings, readings[4:]):
        steps = extract_balance(brew(*rows, additions=(sugar,)), RIG).waterfall
        levels = steps[steps["kind"] == "level"]["estimate"]
        assert steps[steps["kind"] == "step"]["estimate"].sum() == pytest.approx(levels.iloc[-1] - levels.iloc[0])
        assert steps.loc["added in the boil", "estimate"] == pytest.approx(0.998 * 0.6, abs=1e-4)
    unweighed = extract_balance(brew(*readings[4:], additions=(replace(sugar, mass=None),)), RIG).waterfall
    assert "would tell how much was lost" in unweighed.loc["lost, less what was added unweighed", "would_tell"]


def test_numbers_of_an_addition_that_cannot_be_count_as_not_recorded():
    def boiled(**numbers):
        balance = extract_balance(brew(*PRE, *POST, additions=(Addition("1", stage="boil", **numbers),)), RIG)
        return balance.states["boil_water"].nominal_value, balance.states["boil_extract"].nominal_value

    assert boiled(what="water", volume=2.0, temp=float("nan")) == boiled(what="water", volume=2.0)
    assert boiled(what="extract", mass=1.0, extract=80.0) == boiled(what="extract", mass=1.0)
    assert boiled(what="sugar", mass=-1.0) == boiled(what="sugar")
