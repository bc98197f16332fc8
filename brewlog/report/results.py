"""Everything that a report shows, worked out once from a logbook."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property, partial
from typing import TYPE_CHECKING, TypeVar

import pandas as pd

from brewlog.findings import Change, Experiment, Relation, brew_table, explain_change, plan_experiment, relate
from brewlog.findings.brew_day import BrewDay, brew_day
from brewlog.report.review import BrewReview, review_brew
from brewlog.rig import RigFit, calibrate

if TYPE_CHECKING:
    from brewlog.logbook import Logbook

T = TypeVar("T")

EFFECT_TO_SEEK = 2.0
"""Gain in points that the next experiment is planned to see: below it few brewers would change how they work."""


@dataclass
class Results:
    """Results of one logbook; each is worked out when first asked for and kept.

    What cannot be worked out is None, and `reasons` says why.
    """

    book: Logbook
    reasons: dict[str, str] = field(default_factory=dict)
    """What could not be worked out, and why."""
    _days: dict[str, BrewDay] = field(default_factory=dict, repr=False)
    _reviews: dict[str, BrewReview] = field(default_factory=dict, repr=False)

    def _attempt(self, what: str, work: Callable[[], T]) -> T | None:
        try:
            return work()
        except (ValueError, KeyError) as error:
            self.reasons[what] = str(error.args[0]) if error.args else str(error)
            return None

    @cached_property
    def fits(self) -> dict[str, RigFit]:
        """Constants of each rig that could be calibrated."""
        found = {label: self._attempt(f"rig {label}", partial(calibrate, self.book, label)) for label in self.book.rigs}
        return {label: fit for label, fit in found.items() if fit is not None}

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row per brew."""
        return brew_table(self.book, self.fits, {label: self.day(label) for label in self.book.brews})

    @cached_property
    def relation(self) -> Relation | None:
        """Efficiency against tightness."""
        return self._attempt("efficiency against tightness", partial(relate, self.table))

    @cached_property
    def change(self) -> Change | None:
        """Why efficiency differs between the days on which the base and on which the mash probe controlled."""
        return self._attempt("change of efficiency", lambda: explain_change(self.table, "base", "mash"))

    @cached_property
    def experiment(self) -> Experiment | None:
        """The next brews that would tell most."""
        relation = self.relation
        if relation is None:
            return None
        return self._attempt("next experiment", lambda: plan_experiment(relation, EFFECT_TO_SEEK))

    def day(self, label: str) -> BrewDay:
        """Account and hold of one brew."""
        if label not in self._days:
            brew = self.book.brews[label]
            rig = self.book.rig_of(brew)
            self._days[label] = brew_day(brew, rig, None if rig is None else self.fits.get(rig.label))
        return self._days[label]

    def review(self, label: str) -> BrewReview:
        """What the logbook says of one brew."""
        if label not in self._reviews:
            self._reviews[label] = review_brew(self.book, label, self.fits, day=self.day(label))
        return self._reviews[label]
