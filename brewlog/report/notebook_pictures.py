"""Figures of the notebooks as pictures of a page: drawn a second time for a telephone, with words that replace them."""

from __future__ import annotations

import re
from textwrap import indent
from typing import Any

from brewlog import figures

_DRAWS = re.compile(r"\Afigures\.(plot_\w+)\(")
_IMAGE = re.compile(r'<img\b[^>]*\bsrc="data:image/png;base64,([^"]+)"[^>]*>')
_AGAIN = """\
import matplotlib as _mpl
from brewlog.figures.canvas import for_telephone as _for_telephone
with _for_telephone(), _mpl.rc_context({{"figure.dpi": {dpi}}}):
{source}"""
DPI = 160
"""Pixels per inch of the pictures for a telephone."""


def draw_twice(notebook: Any) -> None:
    """Put behind each cell that draws a figure one that draws it for a telephone.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        Changed in place, before it runs.
    """
    from nbformat.v4 import new_code_cell

    cells = []
    for cell in notebook.cells:
        cells.append(cell)
        if cell.cell_type == "code" and _DRAWS.match(cell.source):
            source = _AGAIN.format(dpi=DPI, source=indent(cell.source, "    "))
            cells.append(new_code_cell(source, metadata={"telephone": True}))
    notebook.cells = cells


def fold_twins(notebook: Any) -> None:
    """Take the cells of `draw_twice` out again; each picture for a telephone goes to the output that it belongs to.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        Changed in place, after it ran.
    """
    cells: list[Any] = []
    for cell in notebook.cells:
        if not cell.metadata.get("telephone"):
            cells.append(cell)
            continue
        above = [one for one in cells[-1].outputs if "image/png" in one.get("data", {})]
        slim = [one for one in cell.outputs if "image/png" in one.get("data", {})]
        for one, other in zip(above, slim, strict=False):
            one.metadata["telephone"] = "".join(other.data["image/png"].split())
    notebook.cells = cells


def what_is_shown(source: str) -> str:
    """What the figure of a cell shows, in the words of the function that drew it; empty where none did.

    Examples
    --------
    >>> what_is_shown("figures.plot_drift(fit, 'heat_share');")
    'One constant of a rig brew by brew, with the interval over all brews.'
    """
    found = _DRAWS.match(source)
    function = getattr(figures, found[1], None) if found else None
    first = (function.__doc__ or "").strip().splitlines()[0] if function is not None else ""
    words = first.removeprefix("Draw ").partition("; return")[0].rstrip(".")
    return f"{words[:1].upper()}{words[1:]}." if words else ""


def set_pictures(body: str, notebook: Any) -> str:
    """A notebook's markup with both widths of each picture, and with words that replace it.

    Parameters
    ----------
    body : str
        Markup of the whole notebook.
    notebook : nbformat.NotebookNode
        That ran, after `fold_twins`.

    Returns
    -------
    str
    """
    known: dict[str, tuple[str, str]] = {}
    for cell in notebook.cells:
        for output in cell.get("outputs", []):
            data = output.get("data", {}).get("image/png")
            if data is not None:
                shows = what_is_shown(cell.source) or "Figure of the cell above."
                known["".join(data.split())] = shows, output.metadata.get("telephone", "")

    def picture(found: re.Match[str]) -> str:
        data = "".join(found[1].split())
        alt, slim = known.get(data, ("Figure of the cell above.", ""))
        image = f'<img alt="{alt}" src="data:image/png;base64,{data}">'
        if not slim:
            return image
        source = f'<source media="screen and (max-width: 46rem)" srcset="data:image/png;base64,{slim}">'
        return f"<picture>{source}{image}</picture>"

    return _IMAGE.sub(picture, body)
