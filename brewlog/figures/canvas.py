"""What all figures share: axes to draw on, quiet frames, labels at the ends of lines, lines broken at gaps."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TYPE_CHECKING, Any

import numpy as np

from brewlog.figures.palette import GRID, INK, PAPER, SOFT
from brewlog.mash.samples import MAX_GAP

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.lines import Line2D
    from matplotlib.text import Text

SMALL = 8.5
"""Size of second text. [pt]"""
LARGE = 9.5
"""Size of axis labels and direct labels. [pt]"""
NARROW = 6.0
"""Figures narrower than this are drawn for a telephone: keys above the axes in place of labels beside them. [in]"""


PAGE_WIDTH, PHONE_WIDTH = 9.0, 4.2
"""Width of a figure on a page and on a telephone. [in]"""
_width: ContextVar[float] = ContextVar("width of new figures", default=PAGE_WIDTH)


@contextmanager
def for_telephone() -> Iterator[None]:
    """While this context lasts, figures that are made without axes of the caller's are drawn for a telephone."""
    before = _width.set(PHONE_WIDTH)
    try:
        yield
    finally:
        _width.reset(before)


def new_size(height: float, slim: float | None = None) -> tuple[float, float]:
    """Width and height of a new figure that is `height` high at page width, `slim` high on a telephone. [in]

    Examples
    --------
    >>> new_size(4.0)
    (9.0, 4.0)
    """
    width = _width.get()
    if width < NARROW:
        return width, max(0.88 * height, 3.4) if slim is None else slim
    return width, height


def new_axes(ax: Axes | None, height: float = 4.2, slim: float | None = None) -> Axes:
    """The axes given, or those of a new figure, `height` high at page width and `slim` high on a telephone. [in]"""
    if ax is None:
        from matplotlib import pyplot as plt

        _, ax = plt.subplots(figsize=new_size(height, slim), layout="constrained")
    return ax


def narrow(ax: Axes) -> bool:
    """Whether the figure is as narrow as a telephone."""
    return bool(ax.get_figure(root=True).get_figwidth() < NARROW)  # type: ignore[union-attr]


def quiet(ax: Axes, x: str = "", y: str = "", grid: str = "y") -> None:
    """Quiet frame on these axes alone: labels, two spines, a light grid along `grid`."""
    if narrow(ax):
        x, y = ("\n".join(textwrap.wrap(text, 34)) if "\n" not in text else text for text in (x, y))
    ax.set_xlabel(x, color=INK, fontsize=LARGE)
    ax.set_ylabel(y, color=INK, fontsize=LARGE)
    ax.tick_params(colors=SOFT, labelcolor=INK, labelsize=SMALL)
    ax.spines[["top", "right"]].set_visible(False)
    ax.spines[["left", "bottom"]].set_color(SOFT)
    ax.set_axisbelow(True)
    if grid:
        ax.grid(True, axis=grid, color=GRID, linewidth=0.8)  # type: ignore[arg-type]


def say(ax: Axes, text: str) -> None:
    """Write what there is to say in the middle of axes on which nothing can be drawn."""
    ax.text(0.5, 0.5, text, ha="center", va="center", transform=ax.transAxes, color=INK, fontsize=LARGE, wrap=True)


def remark(ax: Axes, text: str, x: float = 0.99, y: float = 0.02, ha: str = "right", va: str = "bottom") -> Text:
    """A small remark in a corner of the axes."""
    box = {"facecolor": PAPER, "edgecolor": "none", "alpha": 0.8, "pad": 1.5}
    return ax.text(x, y, text, ha=ha, va=va, transform=ax.transAxes, color=SOFT, fontsize=SMALL, bbox=box, zorder=6)


def broken(elapsed: np.ndarray, *values: np.ndarray) -> tuple[np.ndarray, ...]:
    """Times and values with a NaN in every gap of more than five minutes, so that no line is drawn across."""
    places = np.flatnonzero(np.diff(elapsed) > MAX_GAP) + 1
    return tuple(np.insert(np.asarray(one, dtype=float), places, np.nan) for one in (elapsed, *values))


def apart(places: Sequence[float], least: float) -> np.ndarray:
    """Places moved as little as need be so that neighbours stand at least `least` apart; order is kept.

    Examples
    --------
    >>> apart([1.0, 1.1, 5.0], 1.0)
    array([0.55, 1.55, 5.  ])
    """
    order = np.argsort(places, kind="stable")
    groups: list[list[float]] = []  # mean of the members and their number
    for place in np.asarray(places, dtype=float)[order]:
        groups.append([float(place), 1])
        while len(groups) > 1 and groups[-1][0] - groups[-2][0] < least * (groups[-1][1] + groups[-2][1]) / 2:
            one, other = groups.pop(-2), groups.pop()
            count = one[1] + other[1]
            groups.append([(one[0] * one[1] + other[0] * other[1]) / count, count])
    moved = [mean + least * (k - (count - 1) / 2) for mean, count in groups for k in range(int(count))]
    result = np.empty(len(moved))
    result[order] = moved
    return result


def key_above(ax: Axes, handles: Sequence[Line2D]) -> None:
    """A key above the figure, in as many columns as fit."""
    figure: Any = ax.get_figure(root=True)
    longest = max(len(str(handle.get_label())) for handle in handles)
    fit = int(figure.get_figwidth() / (0.3 + 0.06 * longest))
    figure.legend(
        handles=list(handles), loc="outside upper left", ncols=max(1, min(len(handles), fit)), frameon=False,
        fontsize=SMALL, labelcolor=INK, handlelength=1.2, handletextpad=0.4, columnspacing=1.2, borderaxespad=0.2,
    )  # fmt: skip


def label_ends(
    ax: Axes, ends: Sequence[tuple[float, float, str, str]], share: float = 0.055, foot: float = 0.0
) -> None:
    """Label lines directly, right of their last points; labels keep a distance of `share` of the axis.

    On a narrow figure the labels stand as a key above it.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
        Its limits must be final.
    ends : sequence of (x, y, text, colour)
    share : float
        [1]
    foot : float
        Part of the axis at its foot that belongs to another scale: no label stands there. [1]
    """
    if not ends:
        return
    if narrow(ax):
        from matplotlib.lines import Line2D

        key_above(
            ax,
            [Line2D([], [], color=colour, linewidth=2.5, label=text.replace("\n", " ")) for *_, text, colour in ends],
        )
        return
    low, high = ax.get_ylim()
    heights = apart([max(y, low + foot * (high - low)) for _, y, _, _ in ends], share * (high - low))
    heights += max(0.0, low + foot * (high - low) - heights.min())  # moving apart may have pushed one down again
    for (x, _, text, colour), height in zip(ends, heights, strict=True):
        ax.annotate(
            text,
            (x, height),
            xytext=(6, 0),
            textcoords="offset points",
            va="center",
            color=colour,
            fontsize=LARGE,
            annotation_clip=False,
        )
