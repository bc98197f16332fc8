"""Picture of one mash: temperatures against the plan."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from brewlog.figures.canvas import LARGE, SMALL, broken, label_ends, new_axes, quiet, say
from brewlog.figures.day_axes import cut, name_rests, time_label, window
from brewlog.figures.palette import BAND, BASE, BED, INK, PAPER, POWER, RECONSTRUCTED, SOFT
from brewlog.figures.units import UnitChoice
from brewlog.logbook.records import Brew
from brewlog.mash import Marks, RestSpan, bed_samples, find_marks, match_rests
from brewlog.mash.samples import MAX_GAP, known_samples

if TYPE_CHECKING:
    from matplotlib.axes import Axes

TOLERANCE = 0.5
"""Half width of the band about a rest. [K]"""
_POWER_SHARE = 1 / 5.5
"""Part of the height that belongs to heater power, at the foot. [1]"""
_WORDS = {"mash_in": "mash-in", "mash_out": "mash-out", "lift": "lift"}


def unseen(elapsed: np.ndarray, start: float, end: float) -> list[tuple[float, float]]:
    """Stretches of more than five minutes between `start` and `end` without a sample. [s]

    Examples
    --------
    >>> unseen(np.array([0.0, 60.0, 700.0]), 0.0, 800.0)
    [(60.0, 700.0)]
    """
    inside = elapsed[(elapsed > start) & (elapsed < end)]
    edges = np.concatenate([[start], inside, [end]])
    wide = np.flatnonzero(np.diff(edges) > MAX_GAP)
    return [(float(edges[k]), float(edges[k + 1])) for k in wide]


def plot_mash_day(brew: Brew, mash: pd.DataFrame | None = None, ax: Axes | None = None, units: str = "metric") -> Axes:
    """Draw the temperatures of one mash against its rests; return the Axes drawn on.

    Base and bed, each rest with a band of half a kelvin either side, heater power along the foot, recorded and found
    events, hatching where the bed was not seen for more than five minutes. A brew without a trace gives a sentence.

    Parameters
    ----------
    brew : Brew
    mash : pandas.DataFrame, optional
        Reconstructed bed: `elapsed` [s], `mash_temp` [degC], `sd` [K]; drawn with its 95 % band.
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; a new figure when None.
    units : str
        `metric` or `us`: units of the axes and labels.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = new_axes(ax, 5.2)
    trace = brew.trace
    choice = UnitChoice(units)
    quiet(ax, "time since mash-in [min]", f"temperature [{choice.sign('degC')}]")
    if trace is None or not len(trace):
        say(ax, f"No trace was logged of brew {brew.label}.")
        return ax
    marks = find_marks(brew)
    zero, first, last = window(marks, float(trace["elapsed"].iloc[-1]))
    ax.set_xlabel(time_label(marks))
    base = cut(known_samples(brew, "base_temp", trace), first, last)
    bed = cut(bed_samples(brew, trace, marks)[:2], first, last)
    begin, end = max(zero, first), marks.lift if np.isfinite(marks.lift) else last
    inside = [values[(elapsed >= begin) & (elapsed <= end)] for elapsed, values in (base, bed)]
    ends = []
    for (elapsed, values), colour, word in ((base, BASE, "base"), (bed, BED, "bed")):
        if elapsed.size:
            times, line = broken(elapsed, values)
            shown = choice.values(line, "degC")
            ax.plot((times - zero) / 60, shown, color=colour, linewidth=1.5, label=word, zorder=4)
            last_seen = choice.values(values[elapsed <= end][-1:].sum(), "degC")
            ends.append((float(elapsed[elapsed <= end][-1:].sum()), float(last_seen), word, colour))
    if mash is not None:
        ends.append(_draw_reconstructed(ax, mash, zero, begin, end, choice))
        inside.append(mash.loc[mash["elapsed"].between(begin, end), "mash_temp"].to_numpy(dtype=float))
    spans = match_rests(brew, mash)
    temps = [span.temp for span in spans]
    begin = spans[0].start if spans else begin
    seen = mash["elapsed"].to_numpy(dtype=float) if mash is not None else bed[0]
    if seen.size:
        for low, high in unseen(seen, begin, end):
            ax.axvspan(
                (low - zero) / 60,
                (high - zero) / 60,
                facecolor="none",
                edgecolor=SOFT,
                hatch="///",
                alpha=0.35,
                linewidth=0,
            )
            ax.text(
                (low + high - 2 * zero) / 120, 0.3, "bed not seen", transform=ax.get_xaxis_transform(),
                rotation=90, ha="center", va="bottom", fontsize=SMALL, color=INK,
                bbox={"facecolor": PAPER, "edgecolor": "none", "alpha": 0.85, "pad": 1.5}, zorder=6,
            )  # fmt: skip
    elif ends:
        ends.append((ends[0][0], ends[0][1], "no probe in the bed", SOFT))
    ax.set_xlim((first - zero) / 60, (last - zero) / 60)
    _frame(ax, choice.values(np.concatenate([*inside, temps]), "degC"), float(choice.values(4.0, "K")), brew, trace)
    _draw_power(ax, brew, trace, zero, first, last)
    _draw_plan(ax, spans, zero, choice)
    _draw_events(ax, marks, zero, first, last)
    _name_lines(ax, ends, _power_channel(trace) is not None)
    return ax


def _draw_power(ax: Axes, brew: Brew, trace: pd.DataFrame, zero: float, first: float, last: float) -> None:
    """Heater power along the foot, on an axis of its own at the right."""
    channel = _power_channel(trace)
    samples = cut(known_samples(brew, channel, trace), first, last) if channel else (np.empty(0), np.empty(0))
    if not samples[0].size:
        return
    unit = "%" if channel == "power" else "W"
    elapsed, values = broken(*samples)
    twin = ax.twinx()
    top = 100.0 if unit == "%" else float(np.nanmax(values)) or 1.0
    twin.fill_between(
        (elapsed - zero) / 60, 0, values, step="post", color=POWER, alpha=0.85, linewidth=0, label="heater power"
    )
    twin.set_ylim(0, top / _POWER_SHARE)
    twin.set_yticks([0, top / 2, top], [f"{part:.0f}" for part in (0, top / 2, top)])
    # no taller than its own scale: above it stand the names of the lines
    twin.set_ylabel(f"heater\npower [{unit}]", color=INK, fontsize=LARGE, loc="bottom")
    twin.tick_params(colors=SOFT, labelcolor=INK, labelsize=SMALL)
    twin.spines[["top", "left", "bottom"]].set_visible(False)
    twin.spines["right"].set_color(SOFT)
    ax.set_zorder(twin.get_zorder() + 1)
    ax.patch.set_visible(False)


def _draw_plan(ax: Axes, spans: Sequence[RestSpan], zero: float, choice: UnitChoice) -> None:
    for span in spans:
        left, right = (span.start - zero) / 60, (span.end - zero) / 60
        low, temp, high = choice.values([span.temp - TOLERANCE, span.temp, span.temp + TOLERANCE], "degC")
        ax.fill_between([left, right], low, high, color=BAND, linewidth=0, zorder=1)
        ax.hlines(temp, left, right, color=INK, linewidth=1.0, linestyle=(0, (4, 2)), zorder=2)
    name_rests(ax, spans, zero, choice, INK)


def _draw_events(ax: Axes, marks: Marks, zero: float, low: float, high: float) -> None:
    for name, word in _WORDS.items():
        moment = getattr(marks, name)
        if np.isfinite(moment) and low <= moment <= high:
            found = name in marks.found
            x = (moment - zero) / 60
            ax.axvline(x, color=SOFT, linewidth=0.9, linestyle=":" if found else "-", zorder=1)
            text = f"{word} (found)" if found else word
            ax.text(
                x, 1.0, text, transform=ax.get_xaxis_transform(), ha="center", va="bottom", fontsize=SMALL, color=SOFT
            )


def _draw_reconstructed(
    ax: Axes, mash: pd.DataFrame, zero: float, begin: float, end: float, choice: UnitChoice
) -> tuple[float, float, str, str]:
    frame = mash[(mash["elapsed"] >= begin) & (mash["elapsed"] <= end)]
    times, line, sd = broken(*(frame[name].to_numpy(dtype=float) for name in ("elapsed", "mash_temp", "sd")))
    minutes, line, sd = (times - zero) / 60, choice.values(line, "degC"), choice.values(sd, "K")
    ax.fill_between(minutes, line - 1.96 * sd, line + 1.96 * sd, color=RECONSTRUCTED, alpha=0.2, linewidth=0, zorder=3)
    ax.plot(minutes, line, color=RECONSTRUCTED, linewidth=1.5, label="bed, reconstructed", zorder=4)
    return (float(times[-1]), float(line[-1]), "bed, reconstructed\n(95 % band)", RECONSTRUCTED)


def _power_channel(trace: pd.DataFrame) -> str | None:
    return next((name for name in ("power", "power_watt") if name in trace), None)


def _frame(ax: Axes, inside: np.ndarray, least: float, brew: Brew, trace: pd.DataFrame) -> None:
    """Limits: all of the mash, with room for heater power at the foot."""
    every = inside[np.isfinite(inside)]
    power = _power_channel(trace)
    if every.size:
        # a probe on its way into the bed, and the strike, may leave the picture
        low, high = float(np.quantile(every, 0.03)), float(every.max())
        span = max(high - low, least)
        ax.set_ylim(low - (0.36 if power else 0.08) * span, high + 0.14 * span)
        ticks = ax.get_yticks()
        ax.set_yticks(ticks[(ticks >= low - 0.1 * span) & (ticks <= high + 0.14 * span)])


def _name_lines(ax: Axes, ends: list[tuple], power: bool) -> None:
    right = ax.get_xlim()[1]
    foot = 1.35 * _POWER_SHARE if power else 0.0
    label_ends(ax, [(right, y, word, colour) for _, y, word, colour in ends], 0.06, foot)
