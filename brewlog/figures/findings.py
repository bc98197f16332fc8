"""Pictures of the findings: efficiency against tightness, and the pieces of a change."""

from __future__ import annotations

from textwrap import fill
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from brewlog.figures.canvas import SMALL, narrow, new_axes, quiet, remark, say
from brewlog.figures.history import control_key
from brewlog.figures.palette import BAND, BASE, BED, CONTROL, INK, LEFT_OUT, SOFT
from brewlog.figures.units import UnitChoice

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from brewlog.findings import Change, Relation


def _line(relation: Relation, tight: np.ndarray) -> np.ndarray:
    """Mean efficiency at each tightness, everything else at its average: estimate, low, high. Shape (n, 3)."""
    fit = relation.fit
    assert fit is not None
    average = fit.design.matrix.mean(axis=0)
    slope = fit.design.index("hold_rms")
    rows = []
    for value in tight:
        contrast = average.copy()
        contrast[slope] = value - relation.rows.shrunk.mean()
        spread = fit.posterior.along(contrast)
        rows.append((spread.mean, *spread.interval(0.95)))
    return np.array(rows)


def plot_relation(
    relation: Relation, table: pd.DataFrame | None = None, ax: Axes | None = None, units: str = "metric"
) -> Axes:
    """Draw efficiency against tightness with the fitted line and its band; return the Axes drawn on.

    Bars are one standard deviation. The line is the average of many such brews with everything else at its mean; its
    band is a 95 % range of that average, not of a single brew. Brews that were left out are counted, and with the
    brew table at hand drawn in grey: at the right edge without a tightness, at the foot without an efficiency.

    Parameters
    ----------
    relation : Relation
    table : pandas.DataFrame, optional
        The brew table that was related.
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; a new figure when None.
    units : str
        `metric` or `us`: units of the axes and labels.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = new_axes(ax, 4.6)
    choice, slim = UnitChoice(units), narrow(ax)
    told = f"rms [{choice.sign('K')}] (left is tighter)"
    quiet(
        ax,
        f"tightness: distance of the bed from its rests,{chr(10) if slim else ' '}{told}",
        f"{relation.response} efficiency [% of potential]",
        "both",
    )
    rows = relation.rows
    if not rows.n:
        say(ax, f"No brew has both a {relation.response} efficiency and a tightness.")
        return ax
    if relation.fit is not None:
        tight = np.linspace(max(0.0, rows.tight.min() - 0.1), rows.tight.max() + 0.1, 40)
        line = _line(relation, tight)
        at = choice.values(tight, "K")
        ax.fill_between(
            at, line[:, 1], line[:, 2], color=BAND, linewidth=0, zorder=0, label="95 % range of the average"
        )
        ax.plot(at, line[:, 0], color=INK, linewidth=1.6, zorder=2, label="average brew")
    for word, (colour, marker) in CONTROL.items():
        part = rows.control == word
        if part.any():
            ax.errorbar(
                choice.values(rows.tight[part], "K"), rows.response[part],
                xerr=choice.values(rows.tight_sd[part], "K"), yerr=rows.response_sd[part],
                fmt=marker, color=colour, markersize=5.5, elinewidth=0.8, zorder=3, label=word or "not known",
            )  # fmt: skip
    _limits(ax, rows, choice)
    grey = _draw_left_out(ax, relation, table, choice)
    extra = [("left out" if grey else "", {"marker": "x", "color": LEFT_OUT})] if grey else []
    control_key(ax, rows.control, extra)
    count = len(relation.left_out)
    words = f"{rows.n} brews; {count} left out" if count else f"{rows.n} brews, none left out"
    remark(
        ax,
        f"{words}. Bars: one standard deviation.\nLine and band: average brew, "
        + ("95 %" if slim else "all else at its mean, 95 %"),
        x=0.01,
        ha="left",
    )
    return ax


def _limits(ax: Axes, rows: Any, choice: UnitChoice) -> None:
    low = float((rows.response - rows.response_sd).min())
    high = float((rows.response + rows.response_sd).max())
    room = max(high - low, 5.0)
    ax.set_ylim(low - 0.22 * room, high + 0.06 * room)
    ax.set_xlim(0.0, float(choice.values((rows.tight + rows.tight_sd).max() + 0.25, "K")))


def _draw_left_out(ax: Axes, relation: Relation, table: pd.DataFrame | None, choice: UnitChoice) -> bool:
    """Grey crosses for brews that were not used; whether any was drawn."""
    if table is None or not len(relation.left_out):
        return False
    out = table[table["brew"].astype(str).isin({str(label) for label in relation.left_out.index})]
    if out.empty:
        return False
    right, foot = ax.get_xlim()[1], ax.get_ylim()[0]
    tight = pd.Series(choice.values(out["hold_rms"], "K"), index=out.index)
    reached = out[relation.response].astype(float)
    both = tight.notna() | reached.notna()
    ax.plot(
        tight.fillna(right)[both], reached.fillna(foot)[both], "x", color=LEFT_OUT, markersize=6.5, markeredgewidth=1.5,
        clip_on=False, zorder=5, label="left out",
    )  # fmt: skip
    return bool(both.any())


def plot_change(change: Change, ax: Axes | None = None) -> Axes:
    """Draw the pieces of a change of efficiency with their ranges, and what is unexplained; return the Axes drawn on.

    Whiskers are 95 % ranges; the band about the unexplained part is what measuring error alone would make. A change
    that cannot be explained gives the reason.

    Parameters
    ----------
    change : Change
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; a new figure when None.

    Returns
    -------
    matplotlib.axes.Axes
    """
    pieces = change.pieces
    ax = new_axes(ax, 1.6 + 0.36 * (len(pieces) + 2), 1.6 + 0.42 * (len(pieces) + 2))
    quiet(ax, f"change of {change.response} efficiency [percentage points]", "", "x")
    if change.reason is not None and not len(pieces):
        say(ax, f"The change cannot be told apart: {change.reason}")
        return ax
    ordered = pieces.reindex(pieces["estimate"].abs().sort_values(ascending=False, kind="stable").index)
    slim = narrow(ax)
    labels = [*(fill(str(word), 24 if slim else 42) for word in ordered["what"]), "not explained", "measured change"]
    ax.axvline(0.0, color=SOFT, linewidth=1.0, zorder=1)
    ends = [change.total, change.unexplained, -change.noise, change.noise]
    for place, (_, row) in enumerate(ordered.iterrows()):
        colour = BED if row["estimate"] >= 0 else BASE
        ax.barh(place, row["estimate"], color=colour, height=0.52, alpha=0.85, zorder=2)
        ax.plot([row["low"], row["high"]], [place, place], color=INK, linewidth=1.4, zorder=3)
        ends += [float(row["low"]), float(row["high"])]
    unexplained, total = len(ordered), len(ordered) + 1
    ax.barh(unexplained, change.unexplained, color=LEFT_OUT, height=0.52, zorder=2)
    ax.fill_between(
        [-change.noise, change.noise], unexplained - 0.42, unexplained + 0.42, color=BAND, linewidth=0, zorder=1
    )
    ax.barh(total, change.total, color=INK, height=0.52, zorder=2)
    values = [*ordered["estimate"], change.unexplained, change.total]
    reach = [*ordered["high"], max(change.unexplained, change.noise), change.total]
    low, high = min(ends), max(ends)
    ax.set_xlim(low - 0.06 * (high - low), high + 0.2 * (high - low))
    for place, (value, edge) in enumerate(zip(values, reach, strict=True)):
        ax.annotate(
            f"{round(value, 1) + 0.0:+.1f}".replace("-", "−"), (max(edge, value, 0.0), place), xytext=(6, 0),
            textcoords="offset points", va="center", fontsize=SMALL, color=INK,
        )  # fmt: skip
    ax.set_yticks(range(len(labels)), labels, fontsize=SMALL)
    ax.tick_params(axis="y", length=0)
    ax.axhline(unexplained - 0.5, color=SOFT, linewidth=0.8)
    ax.set_ylim(len(labels) - 0.4, -0.6)
    before, after = change.counts
    told = [f"{change.after} ({after} brews) minus {change.before} ({before} brews)"]
    told.append("lines: 95 % ranges; pale band: what measuring error alone would make")
    ax.set_title("\n".join(fill(one, 36 if slim else 80) for one in told), loc="left", fontsize=SMALL, color=SOFT)
    return ax
