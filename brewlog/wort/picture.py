"""The waterfall of an extract balance as a picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def plot_waterfall(steps: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw extract from potential to fermenter as bars; return the Axes drawn on.

    Levels stand on zero, steps hang between the levels; whiskers are 95 % ranges. An empty table draws a sentence.

    Parameters
    ----------
    steps : pandas.DataFrame
        As `ExtractBalance.waterfall`. [kg]
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; a new figure when None.

    Returns
    -------
    matplotlib.axes.Axes
    """
    if ax is None:
        from matplotlib import pyplot as plt

        _, ax = plt.subplots(layout="constrained")
    ax.set(xlabel="extract [kg]")
    if steps.empty:
        ax.text(0.5, 0.5, "nothing is known of the extract", ha="center", va="center", transform=ax.transAxes)
        return ax
    top = 0.0
    for place, (_, row) in enumerate(steps.iterrows()):
        is_level = row["kind"] == "level"
        start = 0.0 if is_level else top
        end = row["estimate"] if is_level else top + row["estimate"]
        ax.barh(place, end - start, left=start, color="C0" if is_level else "C1" if end < start else "C2", height=0.6)
        ax.errorbar(end, place, xerr=1.96 * row["sd"], color="0.2", capsize=3, linewidth=1)
        top = end
    ax.set_yticks(range(len(steps)), list(steps.index))
    ax.invert_yaxis()
    ax.margins(x=0.08)
    return ax
