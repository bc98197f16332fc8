"""Pages and tables of a logbook's report, and the notebooks run on it."""

from __future__ import annotations

from brewlog.report.command import run_report
from brewlog.report.comparison import Comparison, compare_brews
from brewlog.report.picker import pick_brew
from brewlog.report.review import BrewReview, review_brew
from brewlog.report.site import Written, write_report
from brewlog.report.summaries import summary_in

__all__ = [
    "BrewReview",
    "Comparison",
    "Written",
    "compare_brews",
    "pick_brew",
    "review_brew",
    "run_report",
    "summary_in",
    "write_report",
]
