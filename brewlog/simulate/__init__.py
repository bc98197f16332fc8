"""A brew day on paper: more detail than the fitted model, known truth, seeded.

`simulate_day` brews one day, `simulate_history` many, `simulate_water_test` heats water; `write_history` writes a
plain logbook, `write_logbook` the sample logbook with its gaps and slips.
"""

from brewlog.simulate.as_records import brew_record
from brewlog.simulate.day import SimulatedDay, simulate_day
from brewlog.simulate.files import write_history
from brewlog.simulate.history import DatedDay, HistorySettings, SimulatedHistory, simulate_history
from brewlog.simulate.plan import Block, BrewPlan, PlannedMalt, PlannedRest
from brewlog.simulate.rigs import KITCHEN, SHED, Controller, Probe, SimulatedRig
from brewlog.simulate.sample import write_logbook
from brewlog.simulate.water_tests import SimulatedWaterTest, simulate_water_test

__all__ = [
    "KITCHEN",
    "SHED",
    "Block",
    "BrewPlan",
    "Controller",
    "DatedDay",
    "HistorySettings",
    "PlannedMalt",
    "PlannedRest",
    "Probe",
    "SimulatedDay",
    "SimulatedHistory",
    "SimulatedRig",
    "SimulatedWaterTest",
    "brew_record",
    "simulate_day",
    "simulate_history",
    "simulate_water_test",
    "write_history",
    "write_logbook",
]
