"""The heater's effective power over months: its drift, and brews that lie outside the usual scatter."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date as Date

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from brewlog.rig.notice import MAINS, Finding
from brewlog.rig.rigfit import RigFit

LEAST_DRIFT_BREWS = 6


def heater_drift(fit: RigFit, dates: Mapping[str, Date | None]) -> Finding | None:
    """Change of the heater's effective power over the log, with its interval.

    Parameters
    ----------
    fit : RigFit
    dates : mapping of str to date or None
        Brews without a date are left out.

    Returns
    -------
    Finding or None
        Size = change from the first to the last brew; None with fewer than six dated brews or no heater share.

    Notes
    -----
    Straight line through the logarithms of the per-brew shares against the date, two passes of Huber weights, t
    interval. Mains voltage makes single brews scatter; the line averages it.
    """
    name = "heat_share" if "heat_share" in fit.per_brew else "effective_power"
    if name not in fit.per_brew:
        return None
    shares = fit.per_brew[name].dropna().astype(float)
    dated = ((dates.get(str(label)), float(share)) for label, share in shares.items())
    known = [(day.toordinal(), share) for day, share in dated if day is not None]
    if len(known) < LEAST_DRIFT_BREWS:
        return None
    days = np.array([day for day, _ in known], dtype=float)
    span = days.max() - days.min()
    if span <= 0:
        return None
    slope, sd, dof = _line((days - days.min()) / span - 0.5, np.log([s for _, s in known]))
    half = float(stdtrit(dof, 0.975)) * sd
    size, low, high = (100 * (np.exp(v) - 1) for v in (slope, slope - half, slope + half))
    direction = "lost" if size < 0 else "gained"
    sentence = (
        f"Rig {fit.rig!r}: the heater {direction} {abs(size):.1f} % of its effective power over "
        f"{span / 30.4:.0f} months (95 % range {low:+.1f} to {high:+.1f} %, {len(known)} brews). "
    )
    if size < 0:
        sentence += f"Look for scale on the element or a long cable; have plug and contacts checked. {MAINS}"
    else:
        sentence += "Check what changed: the socket, the cable, or how litres are measured."
    return Finding("heater drift", None, None, None, float(size), float(low), float(high), sentence)


def _line(x: np.ndarray, y: np.ndarray) -> tuple[float, float, int]:
    """Slope of a robust straight line, its sd and degrees of freedom."""
    w = np.ones(x.size)
    slope, sd = 0.0, float("nan")
    for _ in range(3):
        a = np.column_stack([np.ones(x.size), x])
        cov = np.linalg.inv(a.T @ (w[:, None] * a))
        beta = cov @ a.T @ (w * y)
        rest = y - a @ beta
        variance = float((w * rest**2).sum() / max(w.sum() - 2, 1))
        slope, sd = float(beta[1]), float(np.sqrt(variance * cov[1, 1]))
        limit = 2.5 * max(1.4826 * float(np.median(np.abs(rest))), 1e-6)
        w = np.minimum(1.0, limit / np.maximum(np.abs(rest), 1e-12))
    return slope, sd, max(x.size - 2, 1)


def control_chart(values: pd.Series) -> pd.DataFrame:
    """Chart of single values: centre and limits from the mean moving range.

    Parameters
    ----------
    values : pandas.Series
        In order of time, no NaN.

    Returns
    -------
    pandas.DataFrame
        Index of `values`; value, centre, low, high, out (True outside the limits).

    References
    ----------
    .. [1] W. A. Shewhart, "Economic control of quality of manufactured product", 1931; limits centre ± 2.66 x mean
       moving range.

    Examples
    --------
    >>> control_chart(pd.Series([1.0, 1.1, 1.0, 1.1, 2.0, 1.0]))["out"].tolist()
    [False, False, False, False, False, False]
    """
    v = values.astype(float)
    spread = 2.66 * float(v.diff().abs().mean()) if len(v) > 1 else float("nan")
    centre = float(v.mean())
    frame = pd.DataFrame({"value": v, "centre": centre, "low": centre - spread, "high": centre + spread})
    frame["out"] = (v < frame["low"]) | (v > frame["high"])
    return frame


def heater_outliers(fit: RigFit) -> list[Finding]:
    """Brews whose heater share lies outside the limits of the control chart; none with fewer than six brews."""
    if "heat_share" not in fit.per_brew:
        return []
    shares = fit.per_brew["heat_share"].dropna().astype(float)
    if len(shares) < LEAST_DRIFT_BREWS:
        return []
    chart = control_chart(shares)
    out = []
    for label, row in chart[chart["out"]].iterrows():
        size = 100 * (row["value"] / row["centre"] - 1)
        limit = 100 * (row["high"] / row["centre"] - 1)
        sentence = (
            f"Brew {label}: the water warmed as if the heater had given {size:+.0f} % (usual scatter ±{limit:.0f} %). "
            f"Check the litres written down for this brew first, then the mains. {MAINS}"
        )
        out.append(Finding("heater outlier", str(label), None, None, float(size), -limit, limit, sentence))
    return out
