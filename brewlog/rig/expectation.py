"""What the other brews of a rig lead one to expect of one more mash."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brewlog.rig.daily import TYPICAL
from brewlog.rig.model import LOSS_AT_BASE, WORT_HEAT_PER_LITRE
from brewlog.rig.rigfit import RigFit

PROBE_TOLERANCE = 0.25
"""Sd of an offset between two probes as bought: Pt100 class B allows 0.6 K at 65 degC (IEC 60751). [K]"""
SPLIT = (0.6, 0.2)
"""Part of the loss that leaves at the base, and its sd. The fits hold it at 3/4 by convention, because temperatures
tell only the sum; the bed's mean depends on it, and lid and steam cool the wort on its way into the bed. [1]"""
_FLOORS = {"heat_share": 0.02, "heat_loss": 0.08, "coupling": 0.10, "bed_part": 0.08}
"""Least relative sd between brews that is believed: few brews may agree by chance. [1]"""
_UNKNOWN = {"heat_share": 0.08, "heat_loss": 0.4, "coupling": 0.5, "bed_part": 0.2}
"""Relative sd where no brew of the rig told the constant. [1]"""


@dataclass(frozen=True, slots=True)
class Expectation:
    """What the other brews of a rig lead one to expect of the next."""

    values: dict[str, float]
    sds: dict[str, float]
    """Relative."""
    shift: float
    """Bed mean less the model's, as far as the probes told it. [K]"""
    shift_sd: float
    """[K]"""
    brews: int


def expectation(fit: RigFit, without: str = "") -> Expectation:
    """Constants to expect of one more mash, from the fitted brews other than `without`.

    Parameters
    ----------
    fit : RigFit
    without : str
        Label of a brew that must not teach about itself.

    Returns
    -------
    Expectation
    """
    mashes = [d for label, d in fit.days.items() if label != without and d.mash is not None and d.inventory is not None]
    probed = [d.mash for d in mashes if d.sees == "base and bed" and d.mash is not None]
    coupling = "bed_flow" if "bed_flow" in fit.model.constants else "bed_conductance"
    every = [d.mash for d in mashes if d.mash is not None]
    columns = {
        "heat_share": [m.constants["heat_share"] for m in every],
        "heat_loss": [m.constants["heat_loss"] for m in every],
        "coupling": [m.constants[coupling] for m in probed],
        "bed_part": [m.constants["mash_heat_capacity"] / m.constants["heat_capacity"] for m in probed],
    }
    values, sds = {}, {}
    for name, found in columns.items():
        default = TYPICAL.get(coupling if name == "coupling" else name, float("nan"))
        values[name], sds[name] = _spread(np.array(found), default, _FLOORS[name], _UNKNOWN[name])
    offsets = np.array([m.constants["probe_offset"] for m in probed])
    carried = values["coupling"]
    carried *= WORT_HEAT_PER_LITRE / 60 if coupling == "bed_flow" else 0.7
    # kelvins by which the bed's rest temperature hangs on how the loss is parted, 45 K above the room
    lever = values["heat_loss"] * 45.0 / max(carried, 1.0)
    shift, shift_sd = (SPLIT[0] - LOSS_AT_BASE) * lever, SPLIT[1] * lever
    if offsets.size:  # the offset as fitted holds the probe's own and that of the parting
        weight = shift_sd**2 / (shift_sd**2 + PROBE_TOLERANCE**2)
        shift += weight * (float(np.median(offsets)) - shift)
        shift_sd *= float(np.sqrt(1 - weight))
    return Expectation(values, sds, shift, shift_sd, len(probed))


def _spread(found: np.ndarray, default: float, floor: float, unknown: float) -> tuple[float, float]:
    """Median and relative sd for one more brew."""
    found = found[np.isfinite(found)]
    if found.size == 0:
        return default, unknown
    middle = float(np.median(found))
    if found.size == 1:
        return middle, max(floor, unknown / 2)
    sd = float(found.std(ddof=1)) / middle * np.sqrt(1 + 1 / found.size)
    if found.size >= 5:  # one odd brew must not blow up all bands
        sd = min(sd, 1.4826 * float(np.median(np.abs(found - middle))) / middle * 1.5)
    return middle, max(sd, floor)
