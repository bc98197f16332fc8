"""The answer comes first, in three sentences."""

from __future__ import annotations

import re
from types import SimpleNamespace

import pandas as pd
import pytest

from brewlog.findings import explain_change, sentences
from brewlog.report.context import Context
from brewlog.report.headline import ASKED, first_words, headline, next_steps

REASON = "efficiency against tightness"
RELATION = {
    "n": 30, "tight": 0.4, "loose": 1.5, "gain": 2.1, "response": "brewhouse", "low": 0.6, "high": 3.6,
    "allowed": "mill gap", "rests_on": "one brew", "loss": 1.0, "less_low": 0.1, "less_high": 1.9, "hardest": "",
    "brews": 32, "chance": 80, "effect": 2, "when": "2024-01-21", "rival": "mill gap", "worth": 2.0,
    "reason": "only 3 brews can be used", "help": "more brews",
}  # fmt: skip


@pytest.mark.parametrize("verdict", [v for v in sentences.RELATION if v != "refused"])
def test_the_first_words_of_every_verdict_tell_its_range(verdict):
    text = first_words(sentences.RELATION[verdict].format(**RELATION))
    low, high = ("0.1", "1.9") if verdict == "opposite" else ("0.6", "3.6")
    assert f"{low} to {high}" in text
    assert text.count(". ") <= 1


def test_what_came_with_the_move_is_not_left_out():
    text = first_words(sentences.COINCIDES.format(**RELATION))
    assert "mill gap" in text
    assert "(0.6 to 3.6)" in text


def test_the_index_opens_with_three_answers(report_folder):
    text = (report_folder / "index.html").read_text(encoding="utf-8")
    answer = re.search(r'<div class="answer">(.*?)</div>', text, re.DOTALL)
    assert answer is not None
    assert answer.start() < text.index("<h2")
    assert re.findall(r"<strong>(.*?)</strong>", answer[1]) == list(ASKED)
    sections = re.findall(r"<h2[^>]*>(.*?)</h2>", text)
    assert sections == ["Rigs", "Brews", "Findings", "What to do next", "Problems in the records"]


@pytest.mark.parametrize(
    ("shift", "verdict"), [(0.0, "no more than measuring error"), (2.5, "every range includes zero")]
)
def test_a_change_of_efficiency_comes_with_its_verdict(table, shift, verdict):
    late = table["control"] == "mash"
    level = table["brewhouse"].groupby(late).transform("mean")
    change = explain_change(table.assign(brewhouse=table["brewhouse"] - level + 75.0 + shift * late), "base", "mash")
    results = SimpleNamespace(relation=None, change=change, experiment=None, reasons={REASON: "."})
    said = headline(results)[1]
    assert change.sentence.startswith(said)
    assert re.search(r"measuring error alone would make \d\.\d\)\. ", said)
    assert verdict in said
    assert "Left unexplained" not in said


def test_the_plan_is_told_twice_on_the_first_page(report_folder):
    text = (report_folder / "index.html").read_text(encoding="utf-8")
    plans = re.findall(r"random tight/loose pairs|can be planned yet|to show [\d.]+ points with a chance", text)
    assert len(plans) == 2
    assert text.index('id="next"') < text.rindex(plans[-1])


def test_without_a_finding_the_reason_is_the_answer():
    results = SimpleNamespace(
        relation=None, change=None, experiment=None,
        reasons={"efficiency against tightness": "no brew.", "change of efficiency": "one period only."},
    )  # fmt: skip
    first, second, third = headline(results)
    assert first == "The log cannot tell: no brew."
    assert second == "The log cannot tell: one period only."
    assert third.startswith("Go on logging")


def test_one_step_for_two_rigs_is_said_once():
    verdicts = pd.DataFrame(
        {"verdict": ["identified", "not told by these data, log two heat-ups"]}, index=["a_b", "c_d"]
    )
    fits = {rig: SimpleNamespace(constants=verdicts) for rig in ("kitchen", "shed")}
    steps = next_steps(SimpleNamespace(experiment=None, fits=fits, reasons={}))
    assert steps == ["Log two heat-ups: that would tell the c d of kitchen and shed."]


def test_minus_signs_are_set_and_dates_left_alone():
    context = Context(None)
    assert (
        context.say("from -1.0 to (-0.3), on 2024-01-21, k-12, 3-4") == "from −1.0 to (−0.3), on 2024-01-21, k-12, 3-4"
    )
