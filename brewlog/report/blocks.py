"""The pieces a page is made of. Text in them is plain text: the template escapes it."""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True, slots=True)
class Link:
    """A link to another page of the report, with more text behind it."""

    href: str
    text: str
    more: str = ""


@dataclass(frozen=True, slots=True)
class Heading:
    """Heading of a section; `anchor` makes it a target of links."""

    text: str
    anchor: str = ""
    kind: str = field(default="heading", init=False)


@dataclass(frozen=True, slots=True)
class Subheading:
    """Heading inside a section."""

    text: str
    kind: str = field(default="subheading", init=False)


@dataclass(frozen=True, slots=True)
class Text:
    """One paragraph; `soft` prints it as a remark."""

    text: str
    soft: bool = False
    kind: str = field(default="text", init=False)


@dataclass(frozen=True, slots=True)
class Answer:
    """The sentences a page opens with; `asked` holds the question that each answers, where one is put."""

    items: tuple[str, ...]
    asked: tuple[str, ...] = ()
    kind: str = field(default="answer", init=False)


@dataclass(frozen=True, slots=True)
class Listing:
    """A bulleted list of sentences."""

    items: tuple[str, ...]
    kind: str = field(default="list", init=False)


@dataclass(frozen=True, slots=True)
class Links:
    """A list of links."""

    items: tuple[Link, ...]
    kind: str = field(default="links", init=False)


@dataclass(frozen=True, slots=True)
class Caution:
    """Warnings where the work can hurt someone."""

    items: tuple[str, ...]
    kind: str = field(default="caution", init=False)


@dataclass(frozen=True, slots=True)
class Summary:
    """A longer text with a fixed pitch, folded away behind its title."""

    title: str
    text: str
    kind: str = field(default="summary", init=False)


@dataclass(frozen=True, slots=True)
class Folded:
    """Blocks folded away behind a title."""

    title: str
    blocks: tuple[Block, ...]
    kind: str = field(default="folded", init=False)


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table: title with unit, and how its cells are set."""

    title: str
    numeric: bool = False
    wide: bool = False
    tight: bool = False
    """Its cells are never broken into lines."""


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell that is a link."""

    href: str
    text: str


@dataclass(frozen=True, slots=True)
class Table:
    """A table; cells are text or links."""

    caption: str
    columns: tuple[Column, ...]
    rows: Sequence[Sequence[str | Cell]]
    kind: str = field(default="table", init=False)


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture inside the page itself, with the text that replaces it."""

    data: str
    """data URI."""
    alt: str
    caption: str
    width: int
    height: int
    phone: str = ""
    """data URI of the same picture drawn for a narrow screen; empty where there is none."""
    kind: str = field(default="picture", init=False)


@dataclass(frozen=True, slots=True)
class Columns:
    """Two stacks of blocks side by side; below each other on a narrow screen."""

    sides: tuple[tuple[Block, ...], tuple[Block, ...]]
    kind: str = field(default="columns", init=False)


@dataclass(frozen=True, slots=True)
class Html:
    """Markup made by brewlog itself (the notebooks as pages); never text of the brewer's."""

    html: str
    kind: str = field(default="html", init=False)


Block = (
    Heading
    | Subheading
    | Text
    | Answer
    | Listing
    | Links
    | Caution
    | Summary
    | Folded
    | Table
    | Picture
    | Columns
    | Html
)


def data_uri(figure: Figure, dpi: float = 130.0) -> str:
    """A matplotlib figure as the address of a picture inside the page.

    The picture keeps the 256 colours that come nearest to its own: a page is then less than half as long.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        Its canvas and resolution are set; closing it is the caller's.
    dpi : float
        Pixels per inch of the figure's size.

    Returns
    -------
    str
    """
    import numpy as np
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from PIL import Image

    figure.set_dpi(dpi)
    # drawn once: `savefig` draws a figure with a layout twice, the first time for its layout alone
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    image = Image.fromarray(np.asarray(canvas.buffer_rgba())).convert("RGB")
    few = image.quantize(256, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
    target = io.BytesIO()
    few.save(target, "PNG")
    return "data:image/png;base64," + base64.b64encode(target.getvalue()).decode("ascii")
