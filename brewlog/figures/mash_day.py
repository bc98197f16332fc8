"""Pictures of one mash: temperatures against the plan, and how far the base led the bed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from brewlog.figures.canvas import LARGE, SMALL, apart, broken, label_ends, narrow, new_axes, quiet, say
from brewlog.figures.palette import BAND, BASE, BED, GRID, INK, PAPER, POWER, RECONSTRUCTED, SOFT
from brewlog.figures.units import UnitChoice
from brewlog.logbook.records import Brew
from brewlog.mash import Marks, RestSpan, bed_samples, control_sensor, find_marks, match_rests
from brewlog.mash.samples import MAX_GAP, Samples, known_samples

if TYPE_CHECKING:
    from matplotlib.axes import Axes

TOLERANCE = 0.5
"""Half width of the band about a rest. [K]"""
_MARGIN = 6.0
_WORDS = {"mash_in": "mash-in", "mash_out": "mash-out", "lift": "lift"}


def _window(marks: Marks, last: float) -> tuple[float, float, float]:
    """Zero of the time axis, and first and last second drawn: the mash with a few minutes around it."""
    zero = marks.mash_in if np.isfinite(marks.mash_in) else 0.0
    end = marks.lift if np.isfinite(marks.lift) else last
    return zero, zero - 60 * _MARGIN, min(end + 60 * _MARGIN, last)


def _cut(samples: Samples, first: float, last: float) -> Samples:
    keep = (samples[0] >= first) & (samples[0] <= last)
    return samples[0][keep], samples[1][keep]


def _time_label(marks: Marks) -> str:
    return "time since mash-in [min]" if np.isfinite(marks.mash_in) else "time since the trace began [min]"


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


def _draw_power(ax: Axes, brew: Brew, trace: pd.DataFrame, zero: float, first: float, last: float) -> None:
    """Heater power along the foot, on an axis of its own at the right."""
    channel = _power_channel(trace)
    samples = _cut(known_samples(brew, channel, trace), first, last) if channel else (np.empty(0), np.empty(0))
    if not samples[0].size:
        return
    unit = "%" if channel == "power" else "W"
    elapsed, values = broken(*samples)
    twin = ax.twinx()
    top = 100.0 if unit == "%" else float(np.nanmax(values)) or 1.0
    twin.fill_between(
        (elapsed - zero) / 60, 0, values, step="post", color=POWER, alpha=0.85, linewidth=0, label="heater power"
    )
    twin.set_ylim(0, 5.5 * top)
    twin.set_yticks([0, top / 2, top], [f"{part:.0f}" for part in (0, top / 2, top)])
    twin.set_ylabel(f"heater power [{unit}]", color=INK, fontsize=LARGE, loc="bottom")
    twin.tick_params(colors=SOFT, labelcolor=INK, labelsize=SMALL)
    twin.spines[["top", "left", "bottom"]].set_visible(False)
    twin.spines["right"].set_color(SOFT)
    ax.set_zorder(twin.get_zorder() + 1)
    ax.patch.set_visible(False)


def shown_temp(temp: float, choice: UnitChoice) -> str:
    """A rest temperature with its unit, without needless decimals.

    Examples
    --------
    >>> shown_temp(64.5, UnitChoice()), shown_temp(64.5, UnitChoice("us"))
    ('64.5 °C', '148 °F')
    """
    value = float(choice.values(temp, "degC"))
    return f"{value:g} {choice.sign('degC')}" if choice.system == "metric" else f"{value:.0f} {choice.sign('degC')}"


def _draw_plan(ax: Axes, spans: Sequence[RestSpan], zero: float, choice: UnitChoice) -> None:
    for span in spans:
        left, right = (span.start - zero) / 60, (span.end - zero) / 60
        low, temp, high = choice.values([span.temp - TOLERANCE, span.temp, span.temp + TOLERANCE], "degC")
        ax.fill_between([left, right], low, high, color=BAND, linewidth=0, zorder=1)
        ax.hlines(temp, left, right, color=INK, linewidth=1.0, linestyle=(0, (4, 2)), zorder=2)
    _name_rests(ax, spans, zero, choice, INK)


def _name_rests(ax: Axes, spans: Sequence[RestSpan], zero: float, choice: UnitChoice, colour: str) -> None:
    """Rest temperatures at the top, above the middle of their rests; moved apart where they would touch."""
    left, right = ax.get_xlim()
    middles = [(span.start + span.end - 2 * zero) / 120 for span in spans]
    for span, place in zip(spans, apart(middles, (0.13 if narrow(ax) else 0.065) * (right - left)), strict=True):
        ax.text(
            float(place), 0.985, shown_temp(span.temp, choice), transform=ax.get_xaxis_transform(), ha="center",
            va="top", fontsize=SMALL, color=colour, zorder=5,
            bbox={"facecolor": PAPER, "edgecolor": "none", "alpha": 0.7, "pad": 1.0},
        )  # fmt: skip


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
    zero, first, last = _window(marks, float(trace["elapsed"].iloc[-1]))
    ax.set_xlabel(_time_label(marks))
    base = _cut(known_samples(brew, "base_temp", trace), first, last)
    bed = _cut(bed_samples(brew, trace, marks)[:2], first, last)
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
    _name_lines(ax, ends, zero)
    return ax


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


def _name_lines(ax: Axes, ends: list[tuple], zero: float) -> None:
    right = ax.get_xlim()[1]
    label_ends(ax, [(right, y, word, colour) for _, y, word, colour in ends], 0.06)


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
    zero, first, last = _window(marks, float(trace["elapsed"].iloc[-1]))
    first = max(first, zero)
    last = min(last, marks.lift) if np.isfinite(marks.lift) else last
    ax.set_xlabel(_time_label(marks))
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
    _name_rests(ax, spans, zero, choice, SOFT)
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
