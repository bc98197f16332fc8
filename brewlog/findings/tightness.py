"""Tightness of the hold as the model takes it: its uncertainty, and how far it is drawn towards its group."""

from __future__ import annotations

import numpy as np
import pandas as pd

from brewlog.findings.cells import numbers_or_nan, numbers_within

PROBE_SD = 0.15
"""Part of a probe's error that changes from brew to brew, where nothing better is known. [K]"""
READING_SD = 0.02
"""Rounding and noise left in a day's tightness. [K]"""
LARGEST_TIGHT_SD = 30.0
"""A standard uncertainty beyond this is taken for a slip. [K]"""


def tight_sd(frame: pd.DataFrame, tight: np.ndarray, notes: list[str]) -> np.ndarray:
    """Standard uncertainty of each tightness: stated, or that of a usual probe. [K]"""
    u = numbers_within(frame, "hold_rms_sd", 0.0, LARGEST_TIGHT_SD, notes)
    if not np.isnan(u).any():
        return u
    bias = numbers_or_nan(frame, "hold_bias")
    share = np.where(np.isnan(bias), 1.0, np.minimum(np.abs(bias) / tight, 1.0))
    usual = np.sqrt((share * PROBE_SD) ** 2 + READING_SD**2)
    notes.append(
        f"{int(np.isnan(u).sum())} of {len(u)} brews state no uncertainty of their tightness: a probe good to "
        f"{PROBE_SD} K from brew to brew assumed"
    )
    return np.where(np.isnan(u), usual, u)


def shrink(tight: np.ndarray, sd: np.ndarray, group: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Draw each tightness towards the mean of its control sensor, the more the less certain it is.

    Parameters
    ----------
    tight, sd : numpy.ndarray
        Tightness and its standard uncertainty. [K]
    group : numpy.ndarray
        Control sensor of each brew.

    Returns
    -------
    numpy.ndarray, numpy.ndarray
        Drawn values [K] and the variance that is left [K^2].

    Notes
    -----
    lambda = w2 / (w2 + c u^2), w2 = max(var - c mean u^2, 0.05 var, 1e-4) within the group of k brews. The factor
    c = (k - 3) / (k - 1) is Stein's for few brews, whose variance is itself hardly known [1]_; with three or fewer
    every brew stays as it is. The variance left is lambda u^2.

    References
    ----------
    .. [1] Efron and Morris, "Stein's estimation rule and its competitors: an empirical Bayes approach", Journal of the
       American Statistical Association 68, 117-130, 1973.
    """
    drawn, left = tight.copy(), sd**2
    for word in np.unique(group):
        inside = group == word
        count = int(inside.sum())
        if count <= 3:
            continue
        u2 = (count - 3) / (count - 1) * sd[inside] ** 2
        variance = tight[inside].var(ddof=1)
        between = max(variance - u2.mean(), 0.05 * variance, 1e-4)
        share = between / (between + u2)
        mean = tight[inside].mean()
        drawn[inside] = mean + share * (tight[inside] - mean)
        left[inside] = share * sd[inside] ** 2
    return drawn, left
