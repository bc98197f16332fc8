"""Figures as pictures inside a page."""

from __future__ import annotations

import base64
import io

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from PIL import Image

from brewlog.figures.palette import BAND, BASE, BED, INK, LEFT_OUT, POWER, RECONSTRUCTED
from brewlog.report.blocks import data_uri

COLOURS = (BAND, BASE, BED, INK, LEFT_OUT, POWER, RECONSTRUCTED)


@pytest.fixture(scope="module")
def pixels():
    figure = Figure(figsize=(6.0, 3.0), layout="constrained")
    ax = figure.add_subplot()
    ax.bar(range(len(COLOURS)), 1.0, color=COLOURS, width=0.8)
    ax.plot(np.linspace(-0.5, 6.5, 300), 0.5 + 0.3 * np.sin(np.arange(300.0)), color=INK, alpha=0.4)
    data = data_uri(figure, 100.0).removeprefix("data:image/png;base64,")
    return np.asarray(Image.open(io.BytesIO(base64.b64decode(data))).convert("RGB")).astype(int)


def test_a_picture_has_the_size_that_the_page_reserves_for_it(pixels):
    assert pixels.shape == (300, 600, 3)


@pytest.mark.parametrize("colour", COLOURS)
def test_few_colours_are_enough_for_those_of_the_figures(pixels, colour):
    off = np.abs(pixels - 255 * np.array(to_rgb(colour))).max(axis=2)
    # an area of its colour, less than 3 of 255 away: nobody sees that
    assert (off < 3).mean() > 0.02


def test_paper_stays_white(pixels):
    assert (pixels.min(axis=2) >= 253).mean() > 0.2
