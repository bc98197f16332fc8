"""Pages and tables of a logbook's report, and the notebooks run on it."""

from __future__ import annotations

from brewlog.report.review import BrewReview, review_brew
from brewlog.report.site import run_report, write_report

__all__ = ["BrewReview", "review_brew", "run_report", "write_report"]
