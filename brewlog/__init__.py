"""brewlog: what a home brewer's logbook says.

Reads a folder of CSV files, fits each rig's constants, measures how tightly rests were held and what efficiency was
reached, relates the two, and says how sure it is. ``brewlog.read_logbook`` is the way in.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from brewlog.findings import brew_table, explain_change, plan_experiment, relate
    from brewlog.logbook import Logbook, new_logbook, read_logbook
    from brewlog.mash import hold
    from brewlog.quantities import ureg
    from brewlog.rig import calibrate, reconstruct_mash
    from brewlog.wort import extract_balance

__version__ = "0.1.0"

# Loaded when first asked for, so that `brewlog check` starts without statistics or plotting libraries.
_HOME = {
    "Logbook": "brewlog.logbook",
    "read_logbook": "brewlog.logbook",
    "new_logbook": "brewlog.logbook",
    "extract_balance": "brewlog.wort",
    "hold": "brewlog.mash",
    "calibrate": "brewlog.rig",
    "reconstruct_mash": "brewlog.rig",
    "brew_table": "brewlog.findings",
    "relate": "brewlog.findings",
    "explain_change": "brewlog.findings",
    "plan_experiment": "brewlog.findings",
    "ureg": "brewlog.quantities",
}

__all__ = [
    "Logbook",
    "__version__",
    "brew_table",
    "calibrate",
    "explain_change",
    "extract_balance",
    "hold",
    "new_logbook",
    "plan_experiment",
    "read_logbook",
    "reconstruct_mash",
    "relate",
    "ureg",
]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module 'brewlog' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
