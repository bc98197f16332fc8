"""Decimals come from what is known of a number, never from an interval of no width."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from brewlog import figures
from brewlog.figures.decimals import decimals
from brewlog.figures.units import rounded_rows
from brewlog.report.drawing import PHONE_TALL, TALL
from brewlog.report.words import interval, number
from tests.figures.reading import texts

NO_WIDTH = [0.0, math.nan, math.inf, 1e-17, 5e-324, -0.1, None]


@pytest.mark.parametrize("sd", NO_WIDTH)
def test_a_spread_of_no_width_tells_no_decimals(sd):
    assert decimals(sd, 0.2) == 3
    assert decimals(sd, 4388.4) == 0
    assert decimals(sd, 0.0) == decimals(sd, math.nan) == decimals(sd) == 2


def test_never_more_decimals_than_anyone_reads():
    assert decimals(2e-6, 1e-5) <= 6
    assert decimals(None, 1e-12) <= 6


def test_numbers_and_ranges_of_no_width_stay_short():
    assert interval(0.2, 0.2 - 2e-17, 0.2 + 2e-17, "s") == "0.200 (0.200 to 0.200) s"
    assert number(71.2345, 0.0, "%") == "71.2 ± 0.0 %"
    rows = rounded_rows(pd.DataFrame({"estimate": [0.2], "low": [0.2 - 2e-17], "high": [0.2 + 2e-17]}))
    assert rows.iloc[0].tolist() == ["0.200", "0.200", "0.200"]


@pytest.fixture
def odd(fit):
    """A rig whose lag came out alike on every brew, and whose probe reads off by a wide margin."""
    table = fit.constants.copy()
    table.loc["probe_lag", ["estimate", "low", "high"]] = [0.2, 0.2 - 2e-17, 0.2 + 2e-17]
    table.loc["probe_offset", ["estimate", "low", "high"]] = [-0.3207, -2.624, 1.983]
    table.loc["vapour_loss", ["estimate", "low", "high"]] = [6.81e-5, 0.0, 1.12]
    return replace(fit, constants=table)


def test_a_constant_of_no_width_has_a_short_number(odd):
    assert "0.200 s (0.200 to 0.200)" in texts(figures.plot_constants(odd))


@pytest.mark.parametrize("size", [TALL, PHONE_TALL])
def test_words_in_the_rows_of_constants_meet_nothing(odd, size, recwarn):
    figure = Figure(figsize=size, layout="constrained")
    canvas = FigureCanvasAgg(figure)
    ax = figures.plot_constants(odd, ax=figure.add_subplot())
    canvas.draw()
    assert [str(one.message) for one in recwarn if issubclass(one.category, UserWarning)] == []
    assert ax.get_window_extent().width > 0.35 * figure.bbox.width
    found = [(one.get_text(), one.get_window_extent()) for one in ax.texts]
    for place, (text, box) in enumerate(found):
        assert box.x1 <= figure.bbox.x1 + 2, text
        for other, beside in found[place + 1 :]:
            assert not box.overlaps(beside), (text, other)
