"""What the pictures of one mash share: the stretch of time drawn, its zero, and the names of the rests."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from brewlog.figures.canvas import SMALL, apart, narrow
from brewlog.figures.palette import PAPER
from brewlog.figures.units import UnitChoice
from brewlog.mash import Marks, RestSpan
from brewlog.mash.samples import Samples

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_MARGIN = 6.0
"""Drawn before mash-in and after the lift. [min]"""


def window(marks: Marks, last: float) -> tuple[float, float, float]:
    """Zero of the time axis, and first and last second drawn: the mash with a few minutes around it."""
    zero = marks.mash_in if np.isfinite(marks.mash_in) else 0.0
    end = marks.lift if np.isfinite(marks.lift) else last
    return zero, zero - 60 * _MARGIN, min(end + 60 * _MARGIN, last)


def cut(samples: Samples, first: float, last: float) -> Samples:
    """Samples from `first` to `last`. [s]"""
    keep = (samples[0] >= first) & (samples[0] <= last)
    return samples[0][keep], samples[1][keep]


def time_label(marks: Marks) -> str:
    """What the time axis is counted from."""
    return "time since mash-in [min]" if np.isfinite(marks.mash_in) else "time since the trace began [min]"


def shown_temp(temp: float, choice: UnitChoice) -> str:
    """A rest temperature with its unit, without needless decimals.

    Examples
    --------
    >>> shown_temp(64.5, UnitChoice()), shown_temp(64.5, UnitChoice("us")), shown_temp(605 / 9, UnitChoice())
    ('64.5 °C', '148 °F', '67.2 °C')
    """
    return f"{plain_temp(float(choice.values(temp, 'degC')), choice)} {choice.sign('degC')}"


def plain_temp(value: float, choice: UnitChoice) -> str:
    """A rest temperature that already stands in the reader's units, with one decimal at most.

    Examples
    --------
    >>> plain_temp(605 / 9, UnitChoice()), plain_temp(64.0, UnitChoice())
    ('67.2', '64')
    """
    return f"{round(value, 1):g}" if choice.system == "metric" else f"{value:.0f}"


def name_rests(ax: Axes, spans: Sequence[RestSpan], zero: float, choice: UnitChoice, colour: str) -> None:
    """Rest temperatures at the top, above the middle of their rests; moved apart where they would touch."""
    left, right = ax.get_xlim()
    middles = [(span.start + span.end - 2 * zero) / 120 for span in spans]
    for span, place in zip(spans, apart(middles, (0.13 if narrow(ax) else 0.065) * (right - left)), strict=True):
        ax.text(
            float(place), 0.985, shown_temp(span.temp, choice), transform=ax.get_xaxis_transform(), ha="center",
            va="top", fontsize=SMALL, color=colour, zorder=5,
            bbox={"facecolor": PAPER, "edgecolor": "none", "alpha": 0.7, "pad": 1.0},
        )  # fmt: skip
