"""Picture of one mash: how far the base ran ahead of the bed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from brewlog.figures.canvas import SMALL, broken, new_axes, quiet, say
from brewlog.figures.day_axes import name_rests, time_label, window
from brewlog.figures.palette import BED, GRID, INK, RECONSTRUCTED, SOFT
from brewlog.figures.units import UnitChoice
from brewlog.logbook.records import Brew
from brewlog.mash import RestSpan, bed_samples, control_sensor, find_marks, match_rests
from brewlog.mash.samples import Samples, known_samples

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def plot_lead(brew: Brew, mash: pd.DataFrame | None = None, ax: Axes | None = None, units: str = "metric") -> Axes:
    """Draw how far the base ran ahead of the bed during one mash; return the Axes drawn on.

    Rests are shaded. Where the bed was controlled, a dashed line on each ramp is the lead that its headroom allows
    (rest temperature plus headroom minus bed). Without a bed
    temperature, measured or handed in, the axes hold a sentence.

    Parameters
    ----------
    brew : Brew
    mash : pandas.DataFrame, optional
        Reconstructed bed: `elapsed` [s], `mash_temp` [degC], `sd` [K].
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; a new figure when None.
    units : str
        `metric` or `us`: units of the axes and labels.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = new_axes(ax, 3.4)
    choice = UnitChoice(units)
    quiet(ax, "time since mash-in [min]", f"base minus bed [{choice.sign('K')}]")
    trace = brew.trace
    if trace is None or not len(trace):
        say(ax, f"No trace was logged of brew {brew.label}.")
        return ax
    base = known_samples(brew, "base_temp", trace)
    marks = find_marks(brew)
    bed, sd = bed_samples(brew, trace, marks)[:2], None
    if mash is not None:
        bed = (mash["elapsed"].to_numpy(dtype=float), mash["mash_temp"].to_numpy(dtype=float))
        sd = mash["sd"].to_numpy(dtype=float)
    if not base[0].size or not bed[0].size:
        say(ax, f"The lead of brew {brew.label} needs the temperatures of base and bed; one of them is not known.")
        return ax
    zero, first, last = window(marks, float(trace["elapsed"].iloc[-1]))
    first = max(first, zero)
    last = min(last, marks.lift) if np.isfinite(marks.lift) else last
    ax.set_xlabel(time_label(marks))
    keep = (bed[0] >= first) & (bed[0] <= last)
    lead = choice.values(np.interp(bed[0][keep], *base) - bed[1][keep], "K")
    times, line = broken(bed[0][keep], lead)
    minutes = (times - zero) / 60
    colour = BED if mash is None else RECONSTRUCTED
    if sd is not None:
        spread = choice.values(broken(bed[0][keep], sd[keep])[1], "K")
        ax.fill_between(minutes, line - 1.96 * spread, line + 1.96 * spread, color=colour, alpha=0.2, linewidth=0)
    ax.axhline(0.0, color=SOFT, linewidth=0.9)
    ax.plot(minutes, line, color=colour, linewidth=1.5, label="lead")
    ax.set_xlim((first - zero) / 60, (last - zero) / 60)
    spans = match_rests(brew, mash)
    for span in spans:
        ax.axvspan((span.start - zero) / 60, (span.end - zero) / 60, color=GRID, alpha=0.6, linewidth=0, zorder=0)
    name_rests(ax, spans, zero, choice, SOFT)
    settled = line[minutes > 8.0] if (minutes > 8.0).any() else line  # the probe on its way into the bed may leave
    top = max(float(np.nanmax(settled)), 1.0)
    asked = control_sensor(brew)[0] == "mash"  # a controller on the base keeps to the rest temperature itself
    headroom = max((span.headroom for span in spans if asked and span.headroom is not None), default=0.0)
    ax.set_ylim(min(float(np.nanmin(line)), 0.0) - 0.5, max(1.3 * top, 1.5 * float(choice.values(headroom, "K"))))
    if asked:
        _draw_headroom(ax, spans, bed, zero, choice)
    return ax


def _draw_headroom(ax: Axes, spans: Sequence[RestSpan], bed: Samples, zero: float, choice: UnitChoice) -> None:
    """The lead that each ramp's headroom allows: rest temperature + headroom - bed, within the axes."""
    named = False
    for span in spans:
        if span.headroom is None or not np.isfinite(span.change):
            continue
        ramp = (bed[0] >= span.change) & (bed[0] <= span.start)
        allowed = choice.values(span.temp + span.headroom - bed[1][ramp], "K")
        minutes = (bed[0][ramp] - zero) / 60
        inside = allowed <= ax.get_ylim()[1]
        if inside.sum() > 1:
            ax.plot(minutes[inside], allowed[inside], color=INK, linewidth=1.2, linestyle=(0, (4, 2)), label="_allowed")
            if not named:
                ax.annotate(
                    "allowed by headroom", (minutes[inside][0], allowed[inside][0]), xytext=(-5, -12),
                    textcoords="offset points", ha="right", va="top", fontsize=SMALL, color=INK,
                )  # fmt: skip
            named = True
