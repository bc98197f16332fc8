"""Pictures of many brews: how tightly each rest was held, and efficiency over time."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from brewlog.figures.canvas import LARGE, SMALL, key_above, narrow, new_axes, quiet, say
from brewlog.figures.day_axes import plain_temp
from brewlog.figures.palette import CONTROL, CONTROL_WORDS, INK, LEFT_OUT, PAPER, SOFT
from brewlog.figures.units import UnitChoice
from brewlog.mash import Hold

if TYPE_CHECKING:
    from matplotlib.axes import Axes


FILLS = ("full", "none", "left", "bottom")
"""Filling of the marks by rig."""


def control_key(ax: Axes, words: Iterable[str], extra: Iterable[tuple] = (), **where) -> None:
    """A key of the controlling sensors that occur, in one row above the axes."""
    from matplotlib.lines import Line2D

    there = set(words)
    marks = [
        Line2D([], [], color=colour, marker=marker, linestyle="", markersize=6, label=CONTROL_WORDS[word])
        for word, (colour, marker) in CONTROL.items()
        if word in there
    ]
    marks += [Line2D([], [], linestyle="", label=text, **style) for text, style in extra]
    if narrow(ax):
        key_above(ax, handles=marks)
        return
    look: dict[str, Any] = {"loc": "lower left", "bbox_to_anchor": (0.0, 1.0), "borderaxespad": 0.2} | where
    look |= {"frameon": False, "fontsize": SMALL, "labelcolor": INK, "handletextpad": 0.2, "columnspacing": 1.4}
    ax.legend(handles=marks, ncols=len(marks) if len(marks) <= 5 else -(-len(marks) // 2), **look)


def plot_holds(holds: Iterable[Hold], ax: Axes | None = None, units: str = "metric") -> Axes:
    """Draw how tightly each rest was held, over many brews; return the Axes drawn on.

    One column per rest of the plan, mash-in and mash-out by themselves, one mark per brew; open marks are
    reconstructed, the bar is the median of each controlling sensor. Rests without a tightness are counted below.

    Parameters
    ----------
    holds : iterable of Hold
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; a new figure when None.
    units : str
        `metric` or `us`: units of the axes and labels.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = new_axes(ax)
    choice = UnitChoice(units)
    quiet(ax, "rest", f"distance of the bed from its rest, rms [{choice.sign('K')}]")
    frame = pd.DataFrame([row for held in holds for row in _rest_rows(held, choice)])
    if frame.empty or frame["rms"].notna().sum() == 0:
        say(ax, "The bed was not seen in any rest of these brews.")
        return ax
    known = frame.dropna(subset=["rms"])
    top = 1.12 * float(known["rms"].max())
    names = sorted(frame["name"].unique(), key=_order)
    for place, name in enumerate(names):
        for word, side in (("base", -0.17), ("mash", 0.17), ("", 0.0)):
            part = known[(known["name"] == name) & (known["control"] == word)]
            if part.empty:
                continue
            colour, marker = CONTROL[word]
            x = place + side + 0.1 * _spread(part["rms"].to_numpy(), top)
            face = [PAPER if hollow else colour for hollow in part["open"]]
            ax.scatter(x, part["rms"], s=26, c=face, edgecolors=colour, marker=marker, linewidths=1.2, zorder=3)
            middle = float(part["rms"].median())
            ax.hlines(middle, place + side - 0.14, place + side + 0.14, color=INK, linewidth=2.0, zorder=4)
    ax.set_xticks(
        range(len(names)),
        [_rest_words(name, frame[frame["name"] == name], choice, narrow(ax)) for name in names],
        fontsize=LARGE,
    )
    ax.set_xlim(-0.6, len(names) - 0.4)
    ax.set_ylim(0.0, top)
    extra: list[tuple] = [("median", {"marker": "_", "color": INK, "markersize": 11, "markeredgewidth": 2})]
    if known["open"].any():
        extra.append(("reconstructed", {"marker": "o", "color": SOFT, "markerfacecolor": PAPER}))
    control_key(ax, known["control"], extra)
    return ax


def _rest_rows(held: Hold, choice: UnitChoice) -> list[dict[str, Any]]:
    rows = []
    for number, row in held.rests.iterrows():
        name = row["purpose"] if row["purpose"] in ("mash-in", "mash-out") else f"rest {number}"
        hollow = held.overall.get("hold_from") == "reconstructed"
        rows.append(
            {
                "name": name,
                "temp": choice.convert(row["temp"], "degC"),
                "rms": choice.convert(row["hold_rms"], "K"),
                "control": held.control or "",
                "open": hollow,
            }
        )
    return rows


def _order(name: str) -> tuple[int, str]:
    return {"mash-in": 0, "mash-out": 2}.get(name, 1), name.rjust(9)


def _rest_words(name: str, rows: pd.DataFrame, choice: UnitChoice, slim: bool) -> str:
    low, high = (plain_temp(value, choice) for value in _ends(rows["temp"]))
    span = f"{low} {choice.sign('degC')}" if low == high else f"{low} to {high} {choice.sign('degC')}"
    missing = int(rows["rms"].isna().sum())
    count = f"{len(rows) - missing} brew{'' if len(rows) - missing == 1 else 's'}"
    parts = [name, span, count] + ([f"{missing} not seen"] if missing else [])
    return "\n".join(parts) if slim else f"{name}, {span}\n{', '.join(parts[2:])}"


def _ends(values: pd.Series) -> tuple[float, float]:
    return float(values.min()), float(values.max())


def _spread(values: np.ndarray, scale: float) -> np.ndarray:
    """Sideways places, -1 to 1, that keep marks of nearly equal value apart; the same every time."""
    places = np.zeros(values.size)
    near = 0.02 * scale
    taken: list[tuple[float, float]] = []
    for k in np.argsort(values, kind="stable"):
        busy = {side for side, value in taken if abs(value - values[k]) < near}
        places[k] = next((side for side in (0.0, 0.5, -0.5, 1.0, -1.0) if side not in busy), 0.0)
        taken.append((places[k], values[k]))
    return places


def plot_efficiency_history(table: pd.DataFrame, response: str | None = None, ax: Axes | None = None) -> Axes:
    """Draw one efficiency of every brew over time, with one standard deviation; return the Axes drawn on.

    Colour and marker tell the controlling sensor, the filling of a mark the rig. Brews without that efficiency stand as
    grey ticks at the foot; brews without a date are counted.

    Parameters
    ----------
    table : pandas.DataFrame
        As from `brew_table`.
    response : str, optional
        `brewhouse`, `mash`, `conversion` or `lauter`; the first of brewhouse and mash that any brew has when None.
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; a new figure when None.

    Returns
    -------
    matplotlib.axes.Axes

    Raises
    ------
    ValueError
        If the table lacks the column.
    """
    ax = new_axes(ax)
    if response is None:
        response = next(
            (name for name in ("brewhouse", "mash") if name in table and table[name].notna().any()), "brewhouse"
        )
    if response not in table:
        raise ValueError(f"the table has no column {response!r}; it has {', '.join(map(str, table.columns))}.")
    quiet(ax, "date", f"{response} efficiency [% of potential]")
    dated = table.dropna(subset=["date"])
    known = dated.dropna(subset=[response])
    if known.empty:
        say(ax, f"No brew has a {response} efficiency and a date.")
        return ax
    rigs = list(dict.fromkeys(known["rig"].astype(str)))
    controls = known["control"].fillna("").astype(str) if "control" in known else pd.Series("", index=known.index)
    sd = known.get(f"{response}_sd", pd.Series(np.nan, index=known.index)).fillna(0.0)
    for word in CONTROL:
        for rig in rigs:
            part = (controls == word) & (known["rig"].astype(str) == rig)
            if part.any():
                colour, marker = CONTROL[word]
                fill = FILLS[rigs.index(rig) % len(FILLS)]
                ax.errorbar(
                    known.loc[part, "date"], known.loc[part, response], yerr=sd[part], fmt=marker, color=colour,
                    fillstyle=fill, markersize=5.5, elinewidth=1.0, capsize=0, label=f"{rig}, {word}",
                )  # fmt: skip
    missing = dated[dated[response].isna()]
    low = float((known[response] - sd).min())
    high = float((known[response] + sd).max())
    room = 0.08 * max(high - low, 5.0)
    ax.set_ylim(low - 1.6 * room, high + room)
    if len(missing):
        ax.plot(
            missing["date"], np.full(len(missing), low - 1.1 * room), "|", color=LEFT_OUT, markersize=9,
            markeredgewidth=1.6, label="not known",
        )  # fmt: skip
    extra: list[tuple] = []
    if len(rigs) > 1:
        extra = [
            (rig, {"marker": "o", "color": SOFT, "fillstyle": fill}) for rig, fill in zip(rigs, FILLS, strict=False)
        ]
    if len(missing):
        extra.append(
            (f"no {response} efficiency ({len(missing)})", {"marker": "|", "color": LEFT_OUT, "markersize": 9})
        )
    control_key(ax, controls, extra)
    undated = int(table["date"].isna().sum())
    told = "date (bars: one standard deviation of the readings"
    told += f"; {undated} brews without a date are not drawn)" if undated else ")"
    ax.set_xlabel(textwrap.fill(told, 52) if narrow(ax) else told)
    if narrow(ax):
        from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

        places = AutoDateLocator(maxticks=6)
        ax.xaxis.set_major_locator(places)
        ax.xaxis.set_major_formatter(ConciseDateFormatter(places))
    return ax
