"""Pictures of one rig: measured against modelled, its constants brew by brew."""

from __future__ import annotations

from textwrap import fill
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from brewlog.figures.canvas import LARGE, SMALL, broken, label_ends, narrow, new_axes, new_size, quiet, remark, say
from brewlog.figures.decimals import decimals
from brewlog.figures.palette import BASE, BED, INK, PAPER, SOFT
from brewlog.figures.rig_days import per_brew
from brewlog.figures.units import UnitChoice
from brewlog.logbook.records import Brew
from brewlog.quantities import names

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from brewlog.rig import RigFit


def plot_fit(
    fit: RigFit, brew: Brew | str, axes: tuple[Axes, Axes] | np.ndarray | None = None, units: str = "metric"
) -> tuple[Axes, Axes]:
    """Draw measured and modelled temperatures of one mash, and their difference below; return both Axes.

    A brew that was not fitted gives a sentence with the reason.

    Parameters
    ----------
    fit : RigFit
    brew : Brew or str
        A brew of that rig, or its label.
    axes : pair of matplotlib.axes.Axes, optional
        Temperatures above, residuals below; a new figure when None.
    units : str
        `metric` or `us`: units of the axes and labels.

    Returns
    -------
    tuple of matplotlib.axes.Axes
    """
    if axes is None:
        from matplotlib import pyplot as plt

        _, axes = plt.subplots(2, 1, sharex=True, height_ratios=(3, 1.3), figsize=new_size(5.4), layout="constrained")
    upper, lower = axes[0], axes[1]
    label = brew if isinstance(brew, str) else brew.label
    choice = UnitChoice(units)
    quiet(upper, "", f"temperature [{choice.sign('degC')}]")
    quiet(lower, "time since the trace began [min]", f"measured minus\nmodelled [{choice.sign('K')}]")
    day = fit.days.get(label)
    if day is None or day.mash is None:
        say(upper, f"Brew {label} was not fitted: {fit.left_out.get(label, 'no reason is recorded')}.")
        return upper, lower
    largest = 0.5
    spans: list[np.ndarray] = []
    ends: dict[str, tuple[float, float, str, str]] = {}
    for number, series in enumerate(day.mash.series):
        modelled = choice.values(day.mash.predict(number), "degC")
        for column, word, colour in ((0, "base", BASE), (1, "bed", BED)):
            read = choice.values(series.readings[:, column], "degC")
            known = np.isfinite(read)
            if not known.any():
                continue
            minutes = series.elapsed[known] / 60
            spans.append(modelled[:, column])
            name = word if number == 0 else f"_{word}"
            upper.plot(minutes, read[known], ".", color=colour, markersize=2.4, alpha=0.55, label=name)
            rest = (read - modelled[:, column])[known]
            lower.plot(*broken_minutes(series.elapsed[known], rest), color=colour, linewidth=1.0, label=name)
            largest = max(largest, float(np.quantile(np.abs(rest), 0.995)))
            ends[word] = (float(minutes[-1]), float(modelled[-1, column]), f"{word}, measured", colour)
            upper.plot(
                series.elapsed / 60,
                modelled[:, column],
                color=INK,
                linewidth=1.0,
                label="modelled" if number == column == 0 else "_",
            )
    lower.axhline(0.0, color=SOFT, linewidth=0.9)
    if spans:
        reach = np.concatenate(spans)
        room = float(np.ptp(reach))
        upper.set_ylim(reach.min() - (0.22 if narrow(upper) else 0.1) * room, reach.max() + 0.05 * room)
    lower.set_ylim(-1.15 * largest, 1.15 * largest)
    rms = day.mash.rms
    told = [
        f"{word} {choice.convert(rms[key], 'K'):.2f} {choice.sign('K')}"
        for key, word in (("base_temp", "base"), ("mash_temp", "bed"))
        if np.isfinite(rms.get(key, np.nan))
    ]
    words = "lines: modelled. Typical\ndifference" if narrow(upper) else "lines: modelled. Typical difference"
    remark(upper, f"{words} (rms): {', '.join(told)}", x=0.99, y=0.02)
    label_ends(upper, list(ends.values()), 0.07)
    return upper, lower


def broken_minutes(elapsed: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Times in minutes and values, broken at gaps of more than five minutes."""
    times, line = broken(elapsed, values)
    return times / 60, line


def _told(row: pd.Series) -> bool:
    return bool(np.isfinite(row["estimate"]) and row["estimate"] != 0)


def plot_constants(fit: RigFit, ax: Axes | None = None, units: str = "metric") -> Axes:
    """Draw a rig's constants as shares of their estimates, brew by brew; return the Axes drawn on.

    Dots are single brews, the earlier the paler; the bar is the 95 % interval over brews. The number with its unit
    stands at the right. Constants that the data do not tell keep their row, in grey, with the verdict.

    Parameters
    ----------
    fit : RigFit
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; a new figure when None.
    units : str
        `metric` or `us`: units of the axes and labels.

    Returns
    -------
    matplotlib.axes.Axes
    """
    table = fit.constants
    ax = new_axes(ax, 1.2 + 0.42 * len(table), 1.0 + 0.42 * len(table))
    quiet(ax, "share of the estimate [%]", "", "x")
    if table.empty:
        say(ax, f"No constant of rig {fit.rig} is known.")
        return ax
    # constants about zero, such as an offset, have no share of themselves; their spread is told in words
    shares = [name for name, row in table.iterrows() if _told(row) and names().get(str(name), ("", "", ""))[1] != "K"]
    ax.axvline(100.0, color=SOFT, linewidth=0.9, zorder=1)
    ends = [60.0, 140.0]
    for place, (name, row) in enumerate(table.iterrows()):
        if name in shares:
            single = per_brew(fit, str(name)) / row["estimate"] * 100
            if len(single):
                tone: Any = np.linspace(0.25, 1.0, len(single))
                ax.scatter(
                    single, np.full(len(single), place - 0.2), s=20, color=BED, alpha=tone, linewidths=0, zorder=3
                )
                ends += [float(single.quantile(0.02)), float(single.quantile(0.98))]
            if np.isfinite(row["low"]) and np.isfinite(row["high"]):
                low, high = row["low"] / row["estimate"] * 100, row["high"] / row["estimate"] * 100
                ax.plot([low, high], [place, place], color=INK, linewidth=2.2, solid_capstyle="butt", zorder=4)
                ax.plot(
                    [low, low, high, high], [place] * 4, "|", color=INK, markersize=10, markeredgewidth=1.6, zorder=4
                )
                ends += [low, high]
            ax.plot(100.0, place, "d", color=INK, markersize=5, zorder=5)
    ax.set_xlim(max(min(ends) - 5, -20.0), min(max(ends) + 5, 260.0))
    choice, slim = UnitChoice(units), narrow(ax)
    for place, (name, row) in enumerate(table.iterrows()):
        known = _told(row)
        if not slim:  # on a telephone the numbers stand below the names
            ax.text(
                1.01, place, _number(row, choice), transform=ax.get_yaxis_transform(), va="center", fontsize=SMALL,
                color=INK if known else SOFT,
            )  # fmt: skip
        if name not in shares:
            words = "a difference of temperatures: has no share" if known else _short(str(row["verdict"]))
            # from the left edge on, for what stands at the right may reach the frame; on paper, for a line crosses it
            ax.text(
                0.02, place, fill(words, 34) if slim else words, transform=ax.get_yaxis_transform(), va="center",
                ha="left", fontsize=SMALL, color=SOFT, zorder=5,
                bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.0},
            )  # fmt: skip
    labels = [str(name).replace("_", " ") for name in table.index]
    if slim:
        labels = [f"{label}\n{_number(row, choice)}" for label, (_, row) in zip(labels, table.iterrows(), strict=True)]
    ax.set_yticks(range(len(table)), labels, fontsize=SMALL if slim else LARGE)
    ax.tick_params(axis="y", length=0)
    ax.set_ylim(len(table) - 0.4, -0.6)
    return ax


def _short(text: str, most: int = 70) -> str:
    return text if len(text) <= most else text[: most - 1].rsplit(" ", 1)[0] + " …"


def _number(row: pd.Series, choice: UnitChoice) -> str:
    unit = str(row["unit"])
    values = choice.values([row[name] for name in ("estimate", "low", "high")], unit)
    sign = f" {choice.sign(unit)}".rstrip()
    if not np.isfinite(values[0]):
        return "not known"
    if not np.isfinite(values).all():
        return f"{values[0]:.3g}{sign}".replace("-", "−")
    places = decimals(float(values[2] - values[1]) / 4, float(values[0]))
    estimate, low, high = (f"{value:.{places}f}" for value in values)
    return f"{estimate}{sign} ({low} to {high})".replace("-", "−")
