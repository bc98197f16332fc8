"""Time-weighted measures of how a bed temperature kept to its rest temperature. Arrays in, floats out."""

from __future__ import annotations

import numpy as np
from scipy.stats import norm

PROBE_SD = 0.15
"""Standard uncertainty of a bed probe, the part that changes from brew to brew (where it stands, how it was put in).
[K] An offset that all brews of a rig share is not in it. common practice, no source"""

HOLD_FLOOR = 0.02
"""What rounding and sampling leave in a tightness even with a perfect probe. [K] common practice, no source"""


def moments(weights: np.ndarray, deviation: np.ndarray, sd: np.ndarray) -> tuple[float, float, float]:
    """Time-weighted rms, mean and standard deviation of a deviation known with `sd`.

    NaN where no time is seen.

    Parameters
    ----------
    weights : numpy.ndarray
        Time that each sample stands for. [s]
    deviation : numpy.ndarray
        Bed temperature minus rest temperature. [K]
    sd : numpy.ndarray
        Its standard deviation where the bed temperature was reconstructed, 0 where it was measured. [K]

    Returns
    -------
    rms, mean, spread : float
        [K]

    Notes
    -----
    With the time mean < >: rms^2 = <d^2 + sd^2>, the posterior mean of the squared deviation; mean = <d>;
    spread^2 = rms^2 - mean^2.

    Examples
    --------
    >>> rms, mean, spread = moments(np.array([1.0, 1.0]), np.array([3.0, -1.0]), np.zeros(2))
    >>> round(rms, 3), mean, spread
    (2.236, 1.0, 2.0)
    """
    total = weights.sum()
    if not total > 0:
        return np.nan, np.nan, np.nan
    square = float(weights @ (deviation**2 + sd**2) / total)
    mean = float(weights @ deviation / total)
    return float(np.sqrt(square)), mean, float(np.sqrt(max(square - mean**2, 0.0)))


def probe_hold_sd(rms: float, mean: float, probe_sd: float = PROBE_SD) -> float:
    """Standard uncertainty of a tightness that a probe measured. [K]

    An offset of the probe shows in the mean deviation: it moves the rms T by dT = (m / T) x offset.

    Parameters
    ----------
    rms, mean : float
        Tightness T and mean deviation m. [K]
    probe_sd : float
        Standard uncertainty of the probe. [K]

    Notes
    -----
    sqrt((|m| / T x probe_sd)^2 + 0.02^2).

    Examples
    --------
    >>> round(probe_hold_sd(1.0, -0.8), 4)
    0.1217
    """
    share = abs(mean) / rms if rms > 0 else 0.0
    return float(np.hypot(share * probe_sd, HOLD_FLOOR))


def reconstructed_hold_sd(weights: np.ndarray, deviation: np.ndarray, sd: np.ndarray) -> float:
    """Standard uncertainty of a tightness from reconstructed temperatures. [K]

    NaN where no time is seen.

    Notes
    -----
    The errors are taken as fully correlated within the brew: one standard normal z moves all temperatures by sd z.
    Then the mean square is T^2(z) = a + 2 b z + c z^2 with a = <d^2>, b = <d sd>, c = <sd^2>; its mean is a + c = T^2,
    its variance 4 b^2 + 2 c^2. T is linearised in T^2: u(T) = sqrt(b^2 + c^2 / 2) / T; 0.02 K is added in squares.

    Examples
    --------
    >>> round(reconstructed_hold_sd(np.ones(2), np.array([-1.5, -1.5]), np.array([0.4, 0.4])), 3)
    0.394
    """
    total = weights.sum()
    if not total > 0:
        return np.nan
    both = float(weights @ (deviation * sd)) / total
    own = float(weights @ sd**2) / total
    square = float(weights @ (deviation**2 + sd**2)) / total
    return float(np.hypot(np.sqrt((both**2 + own**2 / 2) / square), HOLD_FLOOR)) if square > 0 else HOLD_FLOOR


def share_within(weights: np.ndarray, deviation: np.ndarray, sd: np.ndarray, band: float) -> float:
    """Share of the seen time with the bed within `band` of the rest temperature. [1]

    For reconstructed temperatures the expected share. The ends of the band belong to it. NaN where no time is seen.

    Examples
    --------
    >>> share_within(np.array([3.0, 1.0]), np.array([0.5, 0.6]), np.zeros(2), 0.5)
    0.75
    """
    total = weights.sum()
    if not total > 0:
        return np.nan
    exact = (np.abs(deviation) <= band + 1e-9).astype(float)
    wide = np.where(sd > 0, sd, 1.0)
    chance = norm.cdf((band - deviation) / wide) - norm.cdf((-band - deviation) / wide)
    return float(weights @ np.where(sd > 0, chance, exact) / total)
