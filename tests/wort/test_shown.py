"""How the extract balance of a brew shows itself: tables, summary, remarks, picture."""

from __future__ import annotations

from dataclasses import replace

import matplotlib as mpl
import pytest

from brewlog.logbook.records import Addition, Brew
from brewlog.quantities import unit_of
from brewlog.wort import extract_balance, extract_from_sg, extract_mass
from brewlog.wort.balance import CONTRADICTION
from tests.wort.brewdays import FERMENTER, FIRST_WORT, MALTS, POST, PRE, RIG, brew, read


def test_waterfall_closes_and_names_what_would_split_a_step():
    full = extract_balance(brew(FIRST_WORT, *PRE, *POST, *FERMENTER), RIG).waterfall
    levels, steps = full[full["kind"] == "level"]["estimate"], full[full["kind"] == "step"]["estimate"]
    assert steps.sum() == pytest.approx(levels.iloc[-1] - levels.iloc[0])
    assert list(steps.index)[:2] == ["not dissolved in the mash", "left in the grain and the mash vessel"]
    joined = extract_balance(brew(*PRE, *FERMENTER), RIG).waterfall
    assert "the gravity of the first wort would tell" in joined.loc["not dissolved or left in the grain", "would_tell"]
    assert extract_balance(Brew("1"), None).waterfall.empty


def test_what_stays_under_the_tap_is_told_from_the_rest_where_the_rig_states_it():
    lumped = extract_balance(brew(*PRE, *POST, *FERMENTER), RIG)
    stated = extract_balance(brew(*PRE, *POST, *FERMENTER), replace(RIG, dead_volume=0.8))
    whole = lumped.waterfall.loc["left in the kettle, hops, trub, hoses"]
    assert "dead_volume in rigs.csv would tell the first" in whole["would_tell"]
    assert "dead_volume in rigs.csv would tell" in lumped.summary()
    steps = stated.waterfall
    assert "left in the kettle, hops, trub, hoses" not in steps.index
    # 0.8 L of wort of 1.050, known to 0.1 L
    tap = steps.loc["left under the tap"]
    assert tap["estimate"] == pytest.approx(-extract_mass(0.8, extract_from_sg(1.05)), rel=0.01)
    assert tap["sd"] == pytest.approx(0.1 / 0.8 * -tap["estimate"], rel=0.02)
    assert tap["estimate"] + steps.loc["left with hops, trub and in hoses", "estimate"] == pytest.approx(
        whole["estimate"]
    )
    assert stated.brewhouse.nominal_value == pytest.approx(lumped.brewhouse.nominal_value)
    low = extract_balance(brew(*PRE, *POST, *FERMENTER), replace(RIG, dead_volume=9.0)).checks
    assert low.loc["transfer loss below the dead volume", "verdict"].startswith("seldom met")


def test_units_of_a_result_are_those_of_its_names():
    balance = extract_balance(brew(*PRE), RIG)
    assert unit_of("malt_extract") == "%"
    assert balance.malt_extract == pytest.approx(100 * (4.8 * 0.81 + 0.6 * 0.84) / 5.4)
    assert unit_of("grist") == "kg"
    assert balance.grist == pytest.approx(5.4)


def test_summary_tells_what_was_read_and_what_was_worked_out():
    text = extract_balance(brew(*PRE, *POST, FERMENTER[1]), RIG).summary()
    assert "conversion     not known: the gravity of the first wort" in text
    assert "(extract in the kettle before the boil / potential)" in text
    assert "   (gravity worked out)" in text
    assert text.count("worked out") == 1
    assert "check          the readings fit together: chi-square" in text
    assert " at 1 degree of freedom" in text
    assert "fine grind; coarse grind" in text
    assert "(worked out)" not in text
    # a stage of which only the gravity is known has no volume, and none is said to be worked out
    few = extract_balance(brew(PRE[0]), None).summary()
    assert "worked out" not in few
    assert "Where the extract went" not in few
    assert "\nmash           not recorded: pre-boil volume\n" in few
    assert "What was not dissolved and what was not rinsed out cannot be told apart" in text


def test_water_account_closes():
    water = extract_balance(brew(FIRST_WORT, *PRE, *POST, *FERMENTER), RIG).water["estimate"]
    into = water[["mash water", "moisture of the malt", "rinse water"]].sum()
    assert into == pytest.approx(water["held by the grain"] + water["in the kettle before the boil"], abs=1e-3)
    assert water["in the kettle before the boil"] - water["evaporated"] == pytest.approx(
        water["in the kettle after the boil"], abs=1e-3
    )


def test_table_of_efficiencies_says_what_each_is():
    table = extract_balance(brew(FIRST_WORT, *PRE, *FERMENTER), RIG).efficiencies
    assert table.loc["mash", "definition"] == "extract in the kettle before the boil / potential"
    assert table.loc["mash", "against_coarse"] > table.loc["mash", "estimate"]
    assert table.loc["mash", "against_coarse_sd"] > table.loc["mash", "sd"]  # the difference of the grinds is not exact
    assert (table["low"] < table["estimate"]).all()
    assert table.attrs["units"]["estimate"] == "%"


def test_quantities_carry_their_unit_and_their_errors():
    balance = extract_balance(brew(*PRE), RIG)
    assert balance.quantity("mash").to("").magnitude.nominal_value == pytest.approx(balance.mash.nominal_value / 100)
    assert balance.quantity("potential").to("g").magnitude.std_dev == pytest.approx(1000 * balance.potential.std_dev)
    assert balance.quantity("brewhouse") is None
    with pytest.raises(KeyError, match="no quantity 'yield'; there are conversion, lauter, mash, brewhouse, potential"):
        balance.quantity("yield")
    budget = balance.budget("mash")
    assert budget.sum() == pytest.approx(1.0)
    assert "hydrometer offset" in budget.index
    assert balance.budget("brewhouse").empty


def test_impossible_results_are_remarked():
    light = tuple(replace(malt, mass=malt.mass / 2) for malt in MALTS)
    checks = extract_balance(brew(*PRE, malts=light), RIG).checks
    assert checks.loc["mash above 100 %", "verdict"].startswith("cannot be")
    assert "mash above 100 %" not in extract_balance(brew(*PRE), RIG).checks.index
    # more sugar than there is extract in the fermenter; unweighed sugar that would have to be less than none
    much = Addition("1", "sugar", mass=6.0, stage="fermenter")
    checks = extract_balance(brew(*PRE, *FERMENTER, additions=(much,)), RIG).checks
    assert checks.loc["brewhouse below 0", "verdict"].startswith("cannot be")
    weak = (POST[1], read("post-boil", "gravity", 1.030, "SG"), *PRE)
    checks = extract_balance(brew(*weak, additions=(Addition("1", "sugar", stage="boil"),)), RIG).checks
    assert checks.loc["extract added in the boil", "verdict"].startswith("cannot be below 0")


def test_a_boil_and_a_transfer_that_cannot_be_are_remarked_without_constants():
    def remarks(*rows):
        checks = extract_balance(brew(*rows, boil_time=None), RIG).checks["verdict"].str
        return set(checks.match("cannot be|seldom met").pipe(lambda found: found[found].index))

    assert remarks(*PRE, *POST, *FERMENTER) == set()
    small = replace(FERMENTER[1], value=2.28)
    assert remarks(*PRE, *POST, FERMENTER[0], small) == {"transfer loss"}
    assert remarks(*PRE, *POST, FERMENTER[0], replace(small, value=228.0)) == {
        "brewhouse above 100 %",
        "transfer loss below 0",
    }
    assert remarks(PRE[1], replace(POST[1], value=32.0), POST[0]) == {"evaporation below 0"}


def test_readings_that_no_account_comes_near_are_said_to_contradict_each_other():
    # a kettle that is not that of the brew: volumes off by a factor of five, gravities the wrong way round
    rows = [read(stage, "volume", value, "L") for stage, value in (("pre-boil", 140.0), ("post-boil", 5.0))]
    rows += [read(stage, "gravity", value, "SG") for stage, value in (("pre-boil", 1.110), ("post-boil", 1.020))]
    balance = extract_balance(brew(FIRST_WORT, *rows, *FERMENTER), RIG)
    assert balance.potential is not None
    for name in ("conversion", "lauter", "mash", "brewhouse"):
        assert getattr(balance, name) is None
        assert balance.reasons[name] == CONTRADICTION
    assert "the account does not close" in balance.summary()


def test_picture_of_the_waterfall():
    mpl.use("Agg")
    from matplotlib import pyplot as plt

    balance = extract_balance(brew(FIRST_WORT, *PRE, *FERMENTER), RIG)
    ax = balance.plot()
    assert ax.get_xlabel() == "extract [kg]"
    assert [label.get_text() for label in ax.get_yticklabels()] == list(balance.waterfall.index)
    _, other = plt.subplots()
    assert extract_balance(Brew("1"), None).plot(other) is other
    plt.close("all")
