"""What a report says first: three sentences taken from the findings, and the next steps."""

from __future__ import annotations

import re
from collections.abc import Mapping

from brewlog.report.results import Results
from brewlog.report.words import joined

ASKED = ("Did tighter holding pay?", "Did efficiency change?", "What would tell more?")
_RANGE = re.compile(r"\d (?:to|instead of) [-−]?\d.*(?:points|%)|\([-−]?\d[^)]* to [-−]?\d[^)]*\)")
_END = re.compile(r"(?<=[.!?])\s+(?=[A-Z0-9])")


def first_words(text: str, most: int = 2) -> str:
    """The first sentences of a finding, up to the one that tells a number with its range; at most `most`.

    Examples
    --------
    >>> first_words("It cannot be settled. Taken at face value it is 1.2 points (-0.3 to 2.7). Look further.")
    'It cannot be settled. Taken at face value it is 1.2 points (-0.3 to 2.7).'
    >>> first_words("From 0.5 to 2.5 points fit. More later.")
    'From 0.5 to 2.5 points fit.'
    """
    sentences = _END.split(text)
    for count, sentence in enumerate(sentences[:most], start=1):
        if _RANGE.search(sentence):
            return " ".join(sentences[:count])
    return " ".join(sentences[:1])


def with_verdict(text: str) -> str:
    """The first sentence of a change, its size and error, and the next, which says what to make of it.

    Examples
    --------
    >>> with_verdict("It changed by 2.3 points (error alone 2.1). Every range includes zero. Unexplained: 0.1 points.")
    'It changed by 2.3 points (error alone 2.1). Every range includes zero.'
    """
    return " ".join(_END.split(text)[:2])


def headline(results: Results) -> tuple[str, ...]:
    """The answers to `ASKED`, each with its range or with why nothing can be told."""
    relation, change, experiment = results.relation, results.change, results.experiment
    why = results.reasons
    return (
        f"The log cannot tell: {why['efficiency against tightness']}"
        if relation is None
        else first_words(relation.sentence),
        f"The log cannot tell: {why['change of efficiency']}" if change is None else with_verdict(change.sentence),
        no_experiment(why) if experiment is None else first_words(experiment.sentence, 1),
    )


def no_experiment(why: Mapping[str, str]) -> str:
    """What to do where no experiment can be planned."""
    reason = why.get("next experiment")
    return (f"No experiment can be planned yet: {reason} " if reason else "") + LOG_ON


LOG_ON = "Go on logging: volume and gravity before the boil and in the fermenter, and a probe in the bed."


def whole_answer(results: Results) -> list[str]:
    """Every sentence of the findings, as library and notebooks say them, but the plan: it is told as a next step."""
    relation, change = results.relation, results.change
    sentences = []
    if relation is not None:
        sentences += [relation.sentence, relation.control_sentence, relation.mill_sentence]
    if change is not None:
        sentences.append(change.sentence)
    return [sentence for sentence in sentences if sentence]


def next_steps(results: Results) -> list[str]:
    """What the brewer can do next to learn most; what one step tells of several rigs is said once."""
    steps = [results.experiment.sentence] if results.experiment is not None else []
    would: dict[str, dict[str, list[str]]] = {}
    for label, fit in results.fits.items():
        for name, verdict in fit.constants["verdict"].items():
            untold, _, action = str(verdict).partition(", ")
            if untold.startswith("not told") and action:
                would.setdefault(action, {}).setdefault(str(name).replace("_", " "), []).append(label)
    for action, told in would.items():
        what = joined([f"{name} of {joined(rigs)}" for name, rigs in told.items()])
        steps.append(f"{action[0].upper()}{action[1:]}: that would tell the {what}.")
    steps += [f"{what}: {why}" for what, why in results.reasons.items()]
    return steps or [LOG_ON]
