"""Chance of seeing an effect in random pairs of a tight and a loose brew."""

from __future__ import annotations

from bisect import bisect_left

import numpy as np
from scipy.special import nctdtr, stdtrit

MOST_PAIRS = 100
"""Pairs beyond which nobody brews."""
CERTAIN = 20.0
"""Standard errors beyond the edge where the chance is one, and the noncentral t loses its digits."""


def pairs_chance(pairs: int, effect: float, sd: float, level: float = 0.05) -> float:
    """Chance that `pairs` random pairs show `effect`: power of the two-sided paired t test.

    Parameters
    ----------
    pairs : int
        Number of pairs, at least 2.
    effect : float
        Difference between a tight and a loose brew. [points]
    sd : float
        Scatter of one brew; a pair's difference scatters by sqrt(2) times this. [points]
    level : float
        Two-sided false-alarm rate. [1]

    Returns
    -------
    float
        NaN for fewer than 2 pairs.

    Notes
    -----
    Noncentral t with pairs - 1 degrees of freedom, noncentrality effect sqrt(pairs) / (sd sqrt(2)) [1]_.

    References
    ----------
    .. [1] Cohen, "Statistical Power Analysis for the Behavioral Sciences", 2nd edition, chapter 2, 1988.

    Examples
    --------
    >>> round(pairs_chance(16, 2.0, 2.5), 2)
    0.56
    """
    if pairs < 2:
        return float("nan")
    freedom = pairs - 1
    shift = abs(effect) * np.sqrt(pairs) / (sd * np.sqrt(2.0))
    edge = float(stdtrit(freedom, 1.0 - level / 2))
    if shift > edge + CERTAIN:
        return 1.0
    return float(1.0 - nctdtr(freedom, shift, edge) + nctdtr(freedom, shift, -edge))


def pairs_for_chance(effect: float, sd: float, chance: float = 0.8, level: float = 0.05) -> int | None:
    """Fewest pairs that show `effect` with that chance; None where more than 100 would be needed.

    Examples
    --------
    >>> pairs_for_chance(2.0, 2.5)
    27
    """
    pairs = range(2, MOST_PAIRS + 1)
    found = bisect_left(pairs, chance, key=lambda count: pairs_chance(count, effect, sd, level))
    return pairs[found] if found < len(pairs) else None
