"""Pictures of one rig over its brew days: drift of one constant, and what each stretch of the days told."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from brewlog.figures.canvas import narrow, new_axes, quiet, remark, say
from brewlog.figures.palette import BAND, INK, RECONSTRUCTED
from brewlog.figures.units import UnitChoice

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from brewlog.rig import RigFit

STRETCHES = ("heat-up", "mash", "boil")
"""Stretches of a brew day that count for a constant, in order of time."""


def per_brew(fit: RigFit, name: str) -> pd.Series:
    """What each brew told of a constant by itself."""
    """Estimates of one constant brew by brew; empty where no single brew tells it."""
    if name not in fit.per_brew:
        return pd.Series(dtype=float)
    return pd.to_numeric(fit.per_brew[name], errors="coerce").dropna()


def plot_drift(fit: RigFit, name: str, ax: Axes | None = None, units: str = "metric") -> Axes:
    """Draw one constant of a rig brew by brew, with the interval over all brews; return the Axes drawn on.

    Bars are one standard deviation of the single day.

    Parameters
    ----------
    fit : RigFit
    name : str
        A constant of the rig, such as `heat_loss`.
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; a new figure when None.
    units : str
        `metric` or `us`: units of the axes and labels.

    Returns
    -------
    matplotlib.axes.Axes

    Raises
    ------
    ValueError
        If the rig has no such constant.
    """
    if name not in fit.constants.index:
        raise ValueError(
            f"rig {fit.rig!r} has no constant {name!r}; it has {', '.join(map(str, fit.constants.index))}."
        )
    ax = new_axes(ax, 3.4)
    row = fit.constants.loc[name]
    choice, unit = UnitChoice(units), str(row["unit"])
    estimate, low, high = (float(one) for one in choice.values([row[key] for key in ("estimate", "low", "high")], unit))
    sign = choice.sign(unit)
    quiet(ax, "brew, in order of time", f"{name.replace('_', ' ')}" + (f" [{sign}]" if sign else ""))
    single = per_brew(fit, name)
    single = pd.Series(choice.values(single, unit), index=single.index)
    if single.empty:
        say(ax, f"No single brew tells {name.replace('_', ' ')}: {row['verdict']}")
        return ax
    at = np.arange(len(single))
    if np.isfinite(low) and np.isfinite(high):
        ax.axhspan(low, high, color=BAND, zorder=0)
        remark(ax, "pale band: 95 % range of the rig's value", x=0.01, y=0.98, ha="left", va="top")
    ax.axhline(estimate, color=INK, linewidth=1.2)
    ax.plot(at, single, color=RECONSTRUCTED, linewidth=0.8, alpha=0.5)
    spread = fit.per_brew.get(f"{name}_sd")
    if spread is not None:
        sd = choice.values(pd.to_numeric(spread[single.index], errors="coerce"), unit)
        ax.errorbar(at, single, yerr=sd, fmt="none", ecolor=RECONSTRUCTED, elinewidth=0.9, alpha=0.7)
    ax.plot(at, single, "o", color=RECONSTRUCTED, markersize=5, label=name)
    # as many labels as stand side by side
    step = -(-len(at) // (9 if narrow(ax) else 28))
    ax.set_xticks(at[::step], [str(label) for label in single.index[::step]])
    ax.set_xlim(-0.7, len(at) - 0.3)
    ax.margins(y=0.2)
    return ax


def plot_stretches(fit: RigFit, name: str = "heat_share", ax: Axes | None = None, units: str = "metric") -> Axes:
    """Draw what each stretch of the brew days told of one constant of a rig; return the Axes drawn on.

    One column per stretch in order of time, one mark per brew with one standard deviation, a bar at their weighted
    mean. Below stands how much of what is known of the constant comes from that stretch.

    Parameters
    ----------
    fit : RigFit
    name : str
        A constant that several stretches tell of, such as `heat_share`.
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; a new figure when None.
    units : str
        `metric` or `us`: units of the axes and labels.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = new_axes(ax)
    choice, word = UnitChoice(units), name.replace("_", " ")
    unit = str(fit.constants["unit"].get(name, ""))
    sign = choice.sign(unit)
    quiet(ax, "stretch of the brew day", word + (f" [{sign}]" if sign else ""))
    told = fit.per_stretch[fit.per_stretch["constant"] == name]
    told = told[told["stretch"].isin(STRETCHES) & np.isfinite(told["estimate"].astype(float))]
    there = [stretch for stretch in STRETCHES if (told["stretch"] == stretch).any()]
    if not there:
        say(ax, f"No stretch of a brew day tells the {word} by itself.")
        return ax
    brews = list(dict.fromkeys(told["brew"]))
    labels = []
    for place, stretch in enumerate(there):
        part = told[told["stretch"] == stretch]
        estimate, sd = (choice.values(part[key], unit) for key in ("estimate", "sd"))
        # brews keep their order of time inside a column
        x = place + 0.7 * (np.array([brews.index(brew) for brew in part["brew"]]) + 0.5) / len(brews) - 0.35
        ax.errorbar(
            x, estimate, yerr=sd, fmt="o", color=RECONSTRUCTED, markersize=4, elinewidth=0.8, alpha=0.7, label=stretch,
        )  # fmt: skip
        middle = float(np.average(estimate, weights=1 / sd**2)) if (sd > 0).all() else float(np.mean(estimate))
        ax.hlines(middle, place - 0.38, place + 0.38, color=INK, linewidth=2.0, zorder=4)
        share = 100 * float(part["weight"].sum()) / float(told["weight"].sum() or 1.0)
        count = f"{len(part)} brew{'' if len(part) == 1 else 's'}"
        labels.append(f"{stretch}\n{count},{chr(10) if narrow(ax) else ' '}{share:.0f} % of the weight")
    low, high = (float(choice.values(fit.constants.loc[name, key], unit)) for key in ("low", "high"))
    if np.isfinite(low) and np.isfinite(high):
        ax.axhspan(low, high, color=BAND, zorder=0)
        remark(ax, "pale band: 95 % range of the rig's value", x=0.01, y=0.98, ha="left", va="top")
    ax.set_xticks(range(len(there)), labels)
    ax.set_xlim(-0.6, len(there) - 0.4)
    ax.margins(y=0.12)
    return ax
