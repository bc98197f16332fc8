"""Notes below the table of constants: what the numbers rest on, and what their intervals do not know."""

from __future__ import annotations

import numpy as np
import pandas as pd

from brewlog.rig.lackoffit import FEWEST, LackOfFit
from brewlog.rig.mashes import Mashes, Ready
from brewlog.rig.model import LAYERS


def remarks(
    per_brew: pd.DataFrame, mashes: Mashes, ready: Ready, scaled: bool, power_sd: float, lack: LackOfFit
) -> list[str]:
    """Notes of one rig, in order.

    Parameters
    ----------
    per_brew : pandas.DataFrame
    mashes : Mashes
    ready : dict
    scaled : bool
        Whether litres and kilograms set the scale of any brew.
    power_sd : float
        Relative sd of the power at rest that comes with the way of logging. [1]
    lack : LackOfFit
    """
    notes = []
    if mashes.model.name == "layered bed" and mashes.fits and any(r[2] == "base and bed" for r in ready.values()):
        notes.append(
            f"The bed is taken as {LAYERS} layers through which the wort flows; the probe fits best at a depth of "
            f"{mashes.depth:g} (0 top, 1 bottom). bed_conductance follows from bed_flow."
        )
    if mashes.model.name == "two nodes" and np.isfinite(mashes.plain_part):
        notes.append(
            f"The bed is taken as one mixed body: that leaves {100 * (1 - mashes.plain_part):.0f} % less of the "
            f"squared differences between model and readings than {LAYERS} layers through which the wort flows. So no "
            "flow in L/min is told, only bed_conductance."
        )
    if "probe_offset" in per_brew:
        notes.append(
            "Three quarters of the loss are taken from the base; if the bed loses more, probe_offset comes out lower. "
            "Their sum, heat_loss, does not depend on it. probe_offset and probe_lag also take up where the probe "
            "stands in the bed and what the model leaves out, for which their intervals allow where it may be so."
        )
    if mashes.fits:
        notes.append(lack_in_words(lack))
    if scaled:
        notes.append(
            "The scale rests on recorded litres and kilograms: if all litres are 1 % too low in the book, heat_share, "
            "heat_loss and bed_flow come out about 1 % too low, and the intervals do not know of it."
        )
    if power_sd > 0:
        notes.append(
            f"The heater is switched in windows that the log meets in step: its power at rest is known to "
            f"{100 * power_sd:.0f} % only, and so is heat_loss. Log mean power (an energy meter) to know it better."
        )
    if "heat_share" in per_brew and per_brew["heat_share"].mean() > 1:
        notes.append(
            "heat_share comes out above 1, more heat than the heater's nameplate: heater_power is written too low, "
            "litres are written too high, or the mains run high. heat_loss and bed_flow are off by as much."
        )
    return notes


def lack_in_words(lack: LackOfFit) -> str:
    """Whether brews show something that the model leaves out, and what that does to the intervals."""
    whose = "heat_share, heat_loss, bed_flow, bed_conductance, probe_lag and probe_offset"
    if not lack.told:
        count = {0: "No mash is", 1: "1 mash is"}.get(lack.brews, f"{lack.brews} mashes are")
        few = "there" if lack.brews == 0 else "too few"
        return (
            f"{count} {few} to show whether this rig does something that the model leaves out ({FEWEST} mashes with "
            f"base and bed sensor are needed): the intervals of {whose} are wider by what other rigs showed."
        )
    if lack.excluded:
        return (
            f"The temperatures of {lack.brews} mashes do not stray from the model in a way that repeats from brew to "
            f"brew (by chance alone p = {lack.p_value:.2f}): the intervals of {whose} are the spread between brews "
            "alone."
        )
    chance = f"= {lack.p_value:.3f}" if lack.p_value >= 0.001 else "< 0.001"
    return (
        f"The temperatures of {lack.brews} mashes stray from the model in a way that repeats from brew to brew (by "
        f"chance alone p {chance}): this rig does something that the model leaves out, and the intervals "
        f"of {whose} are wider by what other rigs showed. More brews do not narrow that part."
    )
