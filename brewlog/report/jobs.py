"""The files of a report, each with what it rests on and how it is made."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import pandas as pd

from brewlog.report.blocks import Html
from brewlog.report.brew_page import brew_page
from brewlog.report.compare_page import compare_page
from brewlog.report.context import Context
from brewlog.report.digests import brew_digest, code_digest, constants_digest, digest, rig_digest
from brewlog.report.exports import constants_frame, findings_frame, table_frame
from brewlog.report.findings_page import findings_page
from brewlog.report.index_page import index_page
from brewlog.report.manifest import Manifest
from brewlog.report.notebooks import NOTEBOOKS, notebook_html, notebook_source, run_notebook, set_choices
from brewlog.report.problems_page import problems_page
from brewlog.report.render import Page
from brewlog.report.review import latest_brew
from brewlog.report.rig_page import rig_page

NOTEBOOK_TITLES = {
    "review_one_brew": "How did the latest brew day go?",
    "calibrate_a_rig": "What are my rig's constants?",
    "why_efficiency_changed": "Why did efficiency change?",
}
NOTEBOOK_MENU = {
    "review_one_brew": "A brew day, step by step",
    "calibrate_a_rig": "Rig constants, step by step",
    "why_efficiency_changed": "The finding, step by step",
}


@dataclass(frozen=True)
class Job:
    """One file of a report."""

    file: str
    key: str
    """Digest of everything that it rests on."""
    make: Callable[[], Page | pd.DataFrame]
    """A page, or a table for other tools."""
    beside: bool = False
    """Made in a process of its own, beside the other pages."""


@dataclass
class Inputs:
    """Digests of what the pages of one logbook rest on; each is worked out once."""

    context: Context
    earlier: Manifest
    brews: dict[str, str] = field(default_factory=dict)
    rigs: dict[str, tuple[str, str]] = field(default_factory=dict)
    """Digests of what a rig's constants rest on, and of the constants."""
    book: str = ""
    common: str = ""

    def __post_init__(self) -> None:
        book, choice = self.context.results.book, self.context.choice
        self.common = digest(code_digest(), choice, Path(book.path).resolve().name)
        self.brews = {label: brew_digest(brew) for label, brew in book.brews.items()}
        for label in book.rigs:
            inputs = digest(self.common, rig_digest(book, label, self.brews))
            known = self.earlier.rigs.get(label)
            if known is not None and known[0] == inputs:
                self.rigs[label] = known  # the constants need not be fitted to know what they are
            else:
                self.rigs[label] = inputs, constants_digest(self.context.results.fits.get(label))
        self.book = digest(list(self.brews.items()), {label: one[0] for label, one in self.rigs.items()})

    def key(self, *parts: object) -> str:
        """Digest of what one page rests on."""
        return digest(self.common, *parts)

    def brew_parts(self, label: str) -> tuple[object, ...]:
        """What everything about one brew rests on."""
        rig = self.context.results.book.brews[label].rig
        return label, self.brews[label], self.rigs[rig][1] if rig in self.rigs else None


def all_jobs(context: Context, inputs: Inputs, wanted: Sequence[str]) -> list[Job]:
    """Every file of a report.

    Parameters
    ----------
    context : Context
    inputs : Inputs
    wanted : sequence of str
        Labels of the brews whose pages are asked for.

    Returns
    -------
    list of Job
        In the order in which they are made.
    """
    results, key = context.results, inputs.key
    book = results.book
    problems = [str(problem) for problem in book.problems]
    links = [list(context.brews.items()), list(context.rigs.items())]
    jobs = [
        Job("index.html", key(inputs.book, problems, links, list(context.pairs.items())), partial(index_page, context)),
        Job("findings.html", key(inputs.book, links), partial(findings_page, context)),
        Job(
            "problems.html",
            key(problems, [problem.to_dict() for problem in book.problems]),
            partial(problems_page, book.problems),
        ),
    ]
    jobs += [
        Job(file, key(inputs.rigs[rig], links), partial(rig_page, context, rig)) for rig, file in context.rigs.items()
    ]
    jobs += [
        Job(
            context.brews[brew],
            key(inputs.brew_parts(brew), _beside(list(context.brews), brew)),
            partial(brew_page, context, brew),
        )
        for brew in wanted
    ]
    jobs += [
        Job(file, key([inputs.brew_parts(brew) for brew in pair]), partial(compare_page, context, *pair))
        for pair, file in context.pairs.items()
    ]
    jobs += notebook_jobs(context, inputs, wanted)
    return jobs + [
        Job(file, key(inputs.book), partial(frame, results))
        for file, frame in (
            ("brew_table.csv", table_frame),
            ("constants.csv", constants_frame),
            ("findings.csv", findings_frame),
        )
    ]


def _beside(labels: Sequence[str], label: str) -> list[str]:
    """Labels before and behind one: what the links at the foot of its page rest on."""
    at = labels.index(label)
    return [*labels[max(at - 1, 0) : at], *labels[at + 1 : at + 2]]


def notebook_jobs(context: Context, inputs: Inputs, wanted: Sequence[str]) -> list[Job]:
    """Pages of the notebooks: the latest brew that is asked for, the first rig, the findings."""
    book, units = context.results.book, context.choice.system
    latest = latest_brew(book).label if len(wanted) in (0, len(book.brews)) else wanted[-1]
    problems = [problem.to_dict() for problem in book.problems_of(latest)]
    rests_on: Mapping[str, object] = {
        "review_one_brew": (inputs.brew_parts(latest), problems),
        "calibrate_a_rig": inputs.rigs[next(iter(book.rigs))] if book.rigs else None,
        "why_efficiency_changed": inputs.book,
    }
    choices: dict[str, dict[str, object]] = {stem: {"UNITS": units} for stem in NOTEBOOKS}
    choices["review_one_brew"]["BREW"] = latest
    return [
        Job(
            f"{stem}.html",
            inputs.key(stem, notebook_source(stem), rests_on[stem]),
            partial(notebook_page, stem, Path(book.path).resolve(), choices[stem]),
            beside=True,
        )
        for stem in NOTEBOOKS
    ]


def notebook_page(stem: str, book: Path, choices: Mapping[str, object]) -> Page:
    """Run one notebook on the logbook and make it a page."""
    notebook = run_notebook(stem, {"BOOK": str(book), **choices})
    set_choices(notebook, {"BOOK": book.name})  # a page that is shared tells no folders
    return Page(f"{stem}.html", NOTEBOOK_TITLES[stem], [Html(notebook_html(notebook))])
