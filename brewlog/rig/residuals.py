"""What residuals tell: their size, how many count as one, and which readings lie far off."""

from __future__ import annotations

import numpy as np

_FEW_LAGS = 40


def correlation_length(residuals: np.ndarray) -> float:
    """How many correlated residuals count as one: 1 + 2 x sum of their autocorrelations, at least 1.

    The sum ends at the first pair of autocorrelations that is not positive (initial positive sequence).

    Parameters
    ----------
    residuals : array_like, shape (n,)
        NaN are left out.

    Returns
    -------
    float

    References
    ----------
    .. [1] C. J. Geyer, "Practical Markov chain Monte Carlo", Statistical Science 7, 1992, pp. 473-483, section 3.3.

    Examples
    --------
    >>> correlation_length([1.0, -1.0, 1.0, -1.0])
    1.0
    """
    from brewlog.rig.autocorrelation import centred, paired_sum

    r = centred(np.ascontiguousarray(residuals, dtype=float))
    # most sums end within a few lags, long before a Fourier transform pays
    total = paired_sum(r, _FEW_LAGS)
    return max(1.0, 2 * total - 1) if total >= 0 else _long_sum(r)


def _long_sum(r: np.ndarray) -> float:
    """The same for centred residuals, by Fourier transform."""
    from scipy.fft import irfft, next_fast_len, rfft

    size = next_fast_len(2 * r.size - 1, real=True)
    power = np.abs(rfft(r, size)) ** 2
    acf = irfft(power, size)[: r.size]
    pairs = acf[: 2 * (acf.size // 2)].reshape(-1, 2).sum(axis=1) / acf[0]
    end = np.argmax(pairs <= 0) if np.any(pairs <= 0) else pairs.size
    return float(max(1.0, 2 * pairs[:end].sum() - 1))


def rms(rest: np.ndarray, seen: np.ndarray, weights: np.ndarray | None = None) -> float:
    """Root mean square of those residuals that were seen (the others are 0), NaN if there is none."""
    count = np.count_nonzero(seen)
    total = np.vdot(rest, rest) if weights is None else np.sum(weights * rest**2)
    return float(np.sqrt(total / count)) if count else float("nan")


def outlier_weights(rest: np.ndarray, seen: np.ndarray) -> np.ndarray | None:
    """Huber weights beyond 4 robust sd per channel, none beyond 12; None where no reading is that far off."""
    weights = np.ones_like(rest)
    found = False
    for channel in (0, 1):
        good = seen[:, channel]
        values = rest[good, channel]
        if values.size < 20:
            continue
        limit = 4 * max(1.4826 * float(np.median(np.abs(values - np.median(values)))), 1e-3)
        size = np.abs(rest[:, channel])
        far = size > limit
        if far.any():
            found = True
            weights[far, channel] = np.where(size[far] > 3 * limit, 0.0, limit / size[far])
    return weights if found else None
