"""Figures drawn for pages: once at page width, once for a telephone."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from matplotlib.figure import Figure

from brewlog.figures.canvas import PAGE_WIDTH, PHONE_WIDTH
from brewlog.report.blocks import Picture, data_uri

WIDE = (PAGE_WIDTH, 4.2)
"""Size of most figures. [in]"""
TALL = (PAGE_WIDTH, 5.6)
PHONE_WIDE = (PHONE_WIDTH, 3.7)
PHONE_TALL = (PHONE_WIDTH, 4.8)
DPI = 130.0
"""Pixels per inch at page width: the page shows a figure at most at this size."""
PHONE_DPI = 180.0
"""A telephone has about two pixels of its own for each of the page's."""
Draw = Callable[[Figure], Any]


def drawn(
    draw: Draw,
    alt: str,
    caption: str,
    size: tuple[float, float] = WIDE,
    phone: tuple[float, float] | None = None,
) -> Picture:
    """A picture of what `draw` puts on a new figure; pyplot's list of open figures is not touched.

    Parameters
    ----------
    draw : callable
        Gets an empty figure and draws on it; called once for each width.
    alt : str
        What the picture shows, for those who cannot see it.
    caption : str
        Sentence below the picture.
    size : pair of float
        Width and height at page width. [in]
    phone : pair of float, optional
        The same on a telephone; chosen by `size` when None. [in]

    Returns
    -------
    Picture
    """
    narrow = phone or (PHONE_TALL if size == TALL else PHONE_WIDE)
    wide, slim = (Figure(figsize=one, layout="constrained") for one in (size, narrow))
    draw(wide)
    draw(slim)
    width, height = (round(inches * DPI) for inches in size)
    return Picture(data_uri(wide, DPI), alt, caption, width, height, data_uri(slim, PHONE_DPI))
