"""What happened in the mash: stages of the day, rests as they ran, and how tightly they were held."""

from brewlog.mash.control import Dropout, control_sensor, dropouts
from brewlog.mash.hold import Hold, hold
from brewlog.mash.marks import Marks, find_marks
from brewlog.mash.measures import HOLD_FLOOR, PROBE_SD
from brewlog.mash.probe import bed_samples, out_of_bed
from brewlog.mash.samples import time_weights
from brewlog.mash.stages import RestSpan, Stage, find_stages, match_rests

__all__ = [
    "HOLD_FLOOR",
    "PROBE_SD",
    "Dropout",
    "Hold",
    "Marks",
    "RestSpan",
    "Stage",
    "bed_samples",
    "control_sensor",
    "dropouts",
    "find_marks",
    "find_stages",
    "hold",
    "match_rests",
    "out_of_bed",
    "time_weights",
]
