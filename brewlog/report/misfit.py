"""How far the model misses the readings of a rig, in a sentence."""

from __future__ import annotations

import pandas as pd

from brewlog.figures.units import UnitChoice
from brewlog.report.tables import shown_spread
from brewlog.rig import RigFit


def misfit_words(fit: RigFit, choice: UnitChoice) -> str:
    """Whether the model leaves something out on a rig, and its typical miss over the brews.

    Parameters
    ----------
    fit : RigFit
    choice : UnitChoice

    Returns
    -------
    str
        Empty where no mash was fitted.
    """
    misses = {word: _misses(fit, name) for word, name in (("base", "base_temp"), ("bed", "mash_temp"))}
    told = [
        f"{shown_spread(sizes, 'K', choice, 2)} {choice.sign('K')} at the {word}"
        for word, sizes in misses.items()
        if len(sizes)
    ]
    if not told:
        return ""
    size = f"Typical miss (rms; median, smallest and largest of the mashes): {', '.join(told)}."
    shown = fit.lack_of_fit is not None and fit.lack_of_fit.shown
    return f"The model leaves something out on this rig, the same from brew to brew. {size}" if shown else size


def _misses(fit: RigFit, name: str) -> pd.Series:
    return pd.Series(
        [day.mash.rms.get(name) for day in fit.days.values() if day.mash is not None], dtype=float
    ).dropna()
