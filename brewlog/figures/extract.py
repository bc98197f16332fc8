"""Where the extract of one brew went."""

from __future__ import annotations

from textwrap import fill
from typing import TYPE_CHECKING

import pandas as pd

from brewlog.figures.canvas import SMALL, narrow, new_axes, quiet, say
from brewlog.figures.palette import BASE, BED, INK, RECONSTRUCTED, SOFT
from brewlog.figures.units import UnitChoice

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def plot_waterfall(steps: pd.DataFrame, ax: Axes | None = None, units: str = "metric") -> Axes:
    """Draw the extract of one brew from potential to fermenter; return the Axes drawn on.

    Levels stand on zero, losses and additions hang between them; whiskers are 95 % ranges. An empty table gives a
    sentence.

    Parameters
    ----------
    steps : pandas.DataFrame
        As `ExtractBalance.waterfall`: index = step; `estimate`, `sd` [kg], `kind` (`level` or `step`) and, where the
        potential is known, `share` [%].
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; a new figure when None.
    units : str
        `metric` or `us`: units of the axes and labels.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = new_axes(ax, 3.8)
    choice = UnitChoice(units)
    unit = choice.sign("kg")
    quiet(ax, f"extract [{unit}]", "", "x")
    if steps.empty:
        say(ax, "Nothing is known of the extract of this brew.")
        return ax
    top, edge = 0.0, 0.0
    shares = steps["share"] if "share" in steps else pd.Series(float("nan"), index=steps.index)
    for place, ((_, row), share) in enumerate(zip(steps.iterrows(), shares, strict=True)):
        level = row["kind"] == "level"
        start = 0.0 if level else top
        estimate, sd = (float(part) for part in choice.values([row["estimate"], row["sd"]], "kg"))
        end = estimate if level else top + estimate
        colour = BED if level else BASE if end < start else RECONSTRUCTED
        ax.barh(place, end - start, left=start, color=colour, height=0.58, zorder=2)
        ax.errorbar(end, place, xerr=1.96 * sd, color=INK, capsize=3, linewidth=1.2, zorder=4)
        if place + 1 < len(steps):
            ax.plot([end, end], [place, place + 1], color=SOFT, linewidth=0.8, zorder=1)
        right = max(start, end + 1.96 * sd)
        text = f"{estimate:+.2f} {unit}" if not level else f"{estimate:.2f} {unit}"
        if pd.notna(share):
            text += f"  {share:+.0f} %" if not level else f"  {share:.0f} %"
        ax.annotate(
            text.replace("-", "−"), (right, place), xytext=(5, 0), textcoords="offset points", va="center",
            fontsize=SMALL, color=INK,
        )  # fmt: skip
        top, edge = end, max(edge, right)
    slim = narrow(ax)
    ax.set_yticks(range(len(steps)), [fill(str(name), 16) if slim else str(name) for name in steps.index])
    ax.tick_params(axis="y", length=0)
    ax.invert_yaxis()
    ax.set_xlim(0.0, (1.7 if slim else 1.22) * edge)
    return ax
