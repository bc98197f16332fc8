"""What every page needs to know of its report."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from brewlog.figures.units import UnitChoice
from brewlog.report.blocks import Cell, Link
from brewlog.report.meanings import plain_names
from brewlog.report.results import Results
from brewlog.report.words import signs

_MINUS = re.compile(r"(?<![\w.)])-(?=\d)")


@dataclass(frozen=True)
class Context:
    """Results, the reader's units, and which pages there are to link to."""

    results: Results
    choice: UnitChoice = field(default_factory=UnitChoice)
    brews: Mapping[str, str] = field(default_factory=dict)
    """File of the page of each brew that has one."""
    rigs: Mapping[str, str] = field(default_factory=dict)
    pairs: Mapping[tuple[str, str], str] = field(default_factory=dict)
    """File of the page of each pair of brews that is compared."""

    def say(self, text: str) -> str:
        """A sentence of brewlog's in the reader's units, the names of results as words."""
        return _MINUS.sub("−", plain_names(signs(self.choice.in_words(text))))

    def said(self, texts: Sequence[str]) -> tuple[str, ...]:
        """Sentences of brewlog's in the reader's units."""
        return tuple(self.say(text) for text in texts)

    def brew_cell(self, label: str) -> str | Cell:
        """A brew's label, as a link where it has a page."""
        return Cell(self.brews[label], label) if label in self.brews else label


def neighbours(labels: Sequence[str], label: str, files: Mapping[str, str], noun: str) -> list[Link]:
    """Links to the page before and after, of those that there are.

    Examples
    --------
    >>> [link.text for link in neighbours(["1", "2", "3"], "2", {"1": "a", "2": "b", "3": "c"}, "brew")]
    ['← brew 1', 'brew 3 →']
    """
    there = [one for one in labels if one in files or one == label]
    at = there.index(label)
    links = [Link(files[there[at - 1]], f"← {noun} {there[at - 1]}")] if at else []
    if at + 1 < len(there):
        links.append(Link(files[there[at + 1]], f"{noun} {there[at + 1]} →"))
    return links
