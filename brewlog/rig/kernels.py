"""Everything that is compiled, in one place.

Importing this module imports numba; the rest of the room does so only when something is computed.
"""

from __future__ import annotations

from brewlog.rig.exponential import step_tables
from brewlog.rig.passes import sensitivities, simulate
from brewlog.rig.smoother import smooth

__all__ = ["sensitivities", "simulate", "smooth", "step_tables"]
