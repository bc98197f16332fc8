"""One brew day worked out: its extract account and how its rests were held, for the brew table and for its page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from brewlog.logbook.records import Brew, Rig
    from brewlog.mash import Hold
    from brewlog.rig import RigFit
    from brewlog.wort import ExtractBalance


@dataclass(frozen=True)
class BrewDay:
    """Account and hold of one brew."""

    balance: ExtractBalance | None
    """None where it cannot be worked out."""
    held: Hold | None
    """By the bed that was measured, else by the reconstructed one; None where it cannot be worked out."""
    reconstructed: pd.DataFrame | None = None
    """Mash temperature with its sd where no probe stood; None where it was measured or cannot be told."""
    reasons: Mapping[str, str] = field(default_factory=dict)
    """Why `balance`, `held` or `reconstructed` is missing."""


def brew_day(brew: Brew, rig: Rig | None, fit: RigFit | None = None) -> BrewDay:
    """Work out the extract account of one brew and how its rests were held.

    Without `fit` a day on which no probe stood in the bed has no tightness.

    Parameters
    ----------
    brew : Brew
    rig : Rig, optional
    fit : RigFit, optional
        Constants of that rig.

    Returns
    -------
    BrewDay
    """
    from brewlog.mash import hold
    from brewlog.rig import reconstruct_mash
    from brewlog.wort import extract_balance

    reasons: dict[str, str] = {}
    balance = held = reconstructed = None
    try:
        balance = extract_balance(brew, rig, constants=None if fit is None else fit.constants)
    except ValueError as error:
        reasons["balance"] = str(error)
    try:
        held = hold(brew)
    except ValueError as error:
        reasons["held"] = str(error)
    if held is not None and held.overall["hold_from"] is None and brew.trace is not None and fit is not None:
        try:
            bed = reconstruct_mash(brew, fit)
            held, reconstructed = hold(brew, mash=bed), bed
        except ValueError as error:
            reasons["reconstructed"] = f"mash temperature not reconstructed: {error}"
    return BrewDay(balance, held, reconstructed, reasons)
