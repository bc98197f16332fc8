"""`plan_experiment`: power against statsmodels, simulation and published tables; orders, looks, savings."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.power import TTestPower

from brewlog.findings import plan_experiment, relate
from brewlog.findings.experiment import EARLY_LOOK, random_order
from brewlog.findings.power import pairs_chance, pairs_for_chance


@pytest.fixture(scope="module")
def relation(histories):
    return relate(histories.draw(histories.Settings(n=40, **histories.HOME), 4).table)


@pytest.mark.parametrize("pairs", [3, 8, 16, 40])
@pytest.mark.parametrize("effect", [0.5, 2.0, 5.0])
def test_power_is_that_of_statsmodels(pairs, effect):
    theirs = TTestPower().power(effect / (2.4 * np.sqrt(2)), pairs, 0.05)
    assert pairs_chance(pairs, effect, 2.4) == pytest.approx(theirs, rel=1e-6)


def test_power_of_a_published_table():
    # Cohen, Statistical Power Analysis for the Behavioral Sciences, 2nd ed. 1988: a one-sample or paired test with
    # d = 0.50, two-sided 0.05, needs 34 pairs for a chance of 0.80
    assert pairs_for_chance(0.5 * np.sqrt(2.0), 1.0, 0.80) == 34


def test_power_agrees_with_simulated_pairs():
    rng = np.random.default_rng(11)
    pairs, effect, sd, runs = 12, 2.0, 2.2, 4000
    differences = rng.normal(effect, np.sqrt(2) * sd, (runs, pairs))
    seen = stats.ttest_1samp(differences, 0.0, axis=1).pvalue < 0.05
    error = np.sqrt(0.25 / runs)
    assert seen.mean() == pytest.approx(pairs_chance(pairs, effect, sd), abs=3.5 * error)


def test_looks_at_every_second_brew_claim_too_much_and_the_rule_does_not():
    rng = np.random.default_rng(12)
    pairs, runs = 16, 4000
    differences = rng.normal(0.0, 1.0, (runs, pairs))
    p = np.stack([stats.ttest_1samp(differences[:, :k], 0.0, axis=1).pvalue for k in range(4, pairs + 1)], axis=1)
    careless = (p < 0.05).any(axis=1).mean()
    ruled = ((p[:, :-1] < EARLY_LOOK).any(axis=1) | (p[:, -1] < 0.05)).mean()
    assert careless > 0.10
    assert ruled < 0.065


def test_number_of_brews_is_the_least_that_gives_the_chance(relation):
    plan = plan_experiment(relation, 2.0, chance=0.8)
    pairs = plan.brews // 2
    assert plan.chance >= 0.8
    assert pairs_chance(pairs - 1, 2.0, plan.scatter) < 0.8
    assert plan.scatter == relation.fit.pair_scatter
    assert plan_experiment(relation, 4.0).brews < plan.brews < plan_experiment(relation, 2.0, chance=0.95).brews


def test_the_plan_and_the_finding_say_the_same(relation):
    assert relation.verdict == "not settled"
    plan = plan_experiment(relation, 2.0, chance=0.8)
    said = f"{plan.brews} brews in random tight/loose order would have a chance of {100 * plan.chance:.0f} %"
    assert said in relation.sentence
    assert f"have a chance of {100 * plan.chance:.0f} %" in plan.sentence


def test_brews_of_a_pair_scatter_by_process_measuring_and_a_little_wander(relation):
    measuring = (relation.rows.response_sd**2).mean()
    wander = 1.0 - np.exp(-0.1)  # sd 1 point, forgotten over ten brews, neighbours in a pair
    assert relation.fit.pair_scatter**2 == pytest.approx(relation.fit.scatter**2 + measuring + wander)


def test_order_is_random_in_pairs_and_the_seed_repeats_it(relation):
    plan = plan_experiment(relation, 2.0, rng=5)
    order = plan.order
    assert len(order) == plan.brews
    for _, pair in order.groupby("pair"):
        assert set(pair["hold"]) == {"tight", "loose"}
        assert len(set(pair["rig"])) == 1
    assert order["pair_cell"].iloc[0] == f"1 {order['hold'].iloc[0]}"
    pd.testing.assert_frame_equal(order, plan_experiment(relation, 2.0, rng=5).order)
    assert not order.equals(plan_experiment(relation, 2.0, rng=6).order)
    first = random_order(2000, ["kitchen"], np.random.default_rng(1)).groupby("pair")["hold"].first()
    assert (first == "tight").mean() == pytest.approx(0.5, abs=0.05)


def test_rigs_take_turns(relation):
    plan = plan_experiment(relation, 3.0, rigs=["attic", "yard"])
    assert plan.order["rig"].iloc[:4].tolist() == ["attic", "attic", "yard", "yard"]


def test_early_claims_need_a_thousandth(relation):
    plan = plan_experiment(relation, 2.0)
    assert not plan.may_claim(0.01, plan.brews - 2)
    assert plan.may_claim(0.0009, plan.brews - 2)
    assert plan.may_claim(0.04, plan.brews)
    assert f"Decide after brew {plan.brews}." in plan.sentence


def test_better_measuring_saves_brews(relation):
    savings = plan_experiment(relation, 2.0).savings
    assert (savings["saved"].iloc[1:] >= 0).all()
    assert savings["brews"].iloc[2] <= savings["brews"].iloc[1] <= savings["brews"].iloc[0]
    assert savings["brews"].iloc[0] == plan_experiment(relation, 2.0).brews


def test_first_wort_gravity_counts_with_its_own_uncertainty(histories):
    table = histories.draw(histories.Settings(n=40), 4).table.assign(conversion_sd=0.3, brewhouse_sd=2.0)
    savings = plan_experiment(relate(table), 2.0).savings
    assert savings.loc["first-wort gravity on every brew, conversion compared", "saved"] > 0


def test_a_plan_is_written_once(relation, tmp_path):
    plan = plan_experiment(relation, 3.0)
    path = plan.save(tmp_path / "plan.csv")
    assert len(pd.read_csv(path)) == plan.brews
    with pytest.raises(FileExistsError):
        plan.save(path)


def test_out_of_reach(relation):
    plan = plan_experiment(relation, 0.05)
    assert plan.brews is None
    assert plan.order.empty
    assert plan.sentence.startswith("More than 200 brews would be needed to show 0.05 points")
    assert not plan.may_claim(1e-9, 10)


@pytest.mark.parametrize("effect", [0.0, -1.0, np.nan, np.inf])
def test_effect_is_checked(relation, effect):
    with pytest.raises(ValueError, match="expected points of efficiency above 0"):
        plan_experiment(relation, effect)


@pytest.mark.parametrize("chance", [0.0, 1.0, 80])
def test_chance_is_checked(relation, chance):
    with pytest.raises(ValueError, match=r"expected a share between 0\.05 and 1"):
        plan_experiment(relation, 2.0, chance=chance)


def test_a_refused_log_still_gets_a_plan():
    few = relate(pd.DataFrame({"brewhouse": [70.0, 73.0], "hold_rms": [1.5, 0.4]}))
    assert plan_experiment(few, 2.0).brews > 10


def test_values_ready_for_json(relation):
    plan = plan_experiment(relation, 2.0, rng=np.random.default_rng(1))
    told = json.loads(json.dumps(plan.to_dict(), allow_nan=False))
    assert told["brews"] == plan.brews
    assert told["seed"] is None
    assert told["order"][0] == plan.order.iloc[0].to_dict()
    assert told["power"]["16"]["scatter as found"] == plan.power.loc[16, "scatter as found"]
    assert plan._repr_html_().startswith("<p>")
