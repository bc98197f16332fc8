"""Whether the logged power is meant from its time stamp on, or up to it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from brewlog.rig.day import Day
from brewlog.rig.fitting import ModelFit
from brewlog.rig.series import Series

CLEARLY = 0.7
"""The power is taken up to its stamp where that leaves this part of the sum of squares or less. Half a row earlier or
later does what a lag of the base sensor does, so that a smaller gain tells nothing. [1]"""
MOST_BREWS = 4
"""Brews that are asked."""


@dataclass(frozen=True, slots=True)
class Alignment:
    """What the residuals say about the power's time stamp."""

    before: bool = False
    """A row's power is the mean up to its stamp, not from it on."""
    ratio: float = float("nan")
    """Sum of squares with the power up to the stamp over that with the power from the stamp on. [1]"""
    flow: float = 0.0
    """By how much the logarithm of the flow (or conductance) moves if the other is right. [1]"""

    def words(self) -> str:
        """Note for the brewer; empty where nothing was asked."""
        if not np.isfinite(self.ratio):
            return ""
        if self.before:
            return (
                "Each row's power is taken as the mean up to its time stamp: that brings the model nearer to the "
                f"readings (sum of squares {self.ratio:.2f} times that of power from the stamp on)."
            )
        flow = 100 * (np.exp(self.flow) - 1)
        return (
            "Each row's power is taken to hold from its time stamp on. Were it the mean up to the stamp, the model "
            f"would miss the readings by a sum of squares {self.ratio:.2f} times as large, and the flow would come out "
            f"{abs(flow):.0f} % {'higher' if flow > 0 else 'lower'}."
        )


def align(series: Mapping[str, list[Series]], fit: Callable[[str, list[Series]], ModelFit | None]) -> Alignment:
    """Decide by residuals which of the two the log means.

    Parameters
    ----------
    series : mapping of str to list of Series
        Of each brew that both sensors saw.
    fit : callable
        Fits a brew's series; None where it cannot.

    Returns
    -------
    Alignment
        Without any brew: from the stamp on, nothing told.
    """
    labels = list(series)
    ratios, flows = [], []
    for label in labels[:: max(1, len(labels) // MOST_BREWS)][:MOST_BREWS]:
        as_is, moved = fit(label, series[label]), fit(label, [earlier(s) for s in series[label]])
        if as_is is None or moved is None:
            continue
        coupling = "bed_flow" if "bed_flow" in as_is.constants else "bed_conductance"
        ratios.append(np.log(moved.rms["pooled"] / as_is.rms["pooled"]) * 2)
        flows.append(float(np.log(moved.constants[coupling] / as_is.constants[coupling])))
    if not ratios:
        return Alignment()
    ratio, flow = float(np.exp(np.median(ratios))), float(np.median(flows))
    before = ratio < CLEARLY and len(ratios) >= 2
    return Alignment(before, ratio, -flow if before else flow)


def earlier(series: Series) -> Series:
    """The series with each row's power moved to the step before it."""
    return replace(series, power=_moved(series.power))


def earlier_day(day: Day) -> Day:
    """The day with each row's power moved to the step before it."""
    return replace(
        day,
        power=None if day.power is None else _moved(day.power),
        relative=None if day.relative is None else _moved(day.relative),
    )


def _moved(power: np.ndarray) -> np.ndarray:
    return np.append(power[1:], power[-1:])
