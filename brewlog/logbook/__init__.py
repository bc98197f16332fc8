"""Files of a brewer's folder to records, with the place of everything that could not be read."""

from __future__ import annotations

from brewlog.logbook.book import Logbook
from brewlog.logbook.problems import Problem
from brewlog.logbook.reader import read_logbook
from brewlog.logbook.records import Addition, Brew, Event, Malt, Reading, Rest, Rig, TraceFault, WaterTest
from brewlog.logbook.template import new_logbook
from brewlog.logbook.writing import safe_csv

__all__ = [
    "Addition",
    "Brew",
    "Event",
    "Logbook",
    "Malt",
    "Problem",
    "Reading",
    "Rest",
    "Rig",
    "TraceFault",
    "WaterTest",
    "new_logbook",
    "read_logbook",
    "safe_csv",
]
