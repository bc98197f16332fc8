"""A rig's constants, the mash temperature where no probe stood, and the watch over both.

Numerical work is compiled when it is first asked for; importing this room is light.
"""

from __future__ import annotations

from brewlog.rig.arrays import combine_runs, fit_two_node
from brewlog.rig.constants import calibrate, fit_rig
from brewlog.rig.fitting import ModelFit, fit_model
from brewlog.rig.model import layered, one_node, two_node
from brewlog.rig.notice import Finding
from brewlog.rig.optimise import least_squares, minimise
from brewlog.rig.probe import reconstruct_mash
from brewlog.rig.rigfit import RigFit
from brewlog.rig.series import Series, make_series
from brewlog.rig.watch import watch_rig

__all__ = [
    "Finding",
    "ModelFit",
    "RigFit",
    "Series",
    "calibrate",
    "combine_runs",
    "fit_model",
    "fit_rig",
    "fit_two_node",
    "layered",
    "least_squares",
    "make_series",
    "minimise",
    "one_node",
    "reconstruct_mash",
    "two_node",
    "watch_rig",
]
