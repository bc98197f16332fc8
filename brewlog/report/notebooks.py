"""Runs the notebooks on a logbook and turns them into pages."""

from __future__ import annotations

import re
from copy import deepcopy
from importlib import resources
from pathlib import Path
from typing import Any

from brewlog.report.notebook_pictures import draw_twice, fold_twins, set_pictures
from brewlog.report.words import folded_lines

NOTEBOOKS = ("review_one_brew", "calibrate_a_rig", "why_efficiency_changed")
"""In the order in which they are read."""
_LONG_CELL = re.compile(r"<td>([^<]{36,})</td>")
STILL = "In a notebook that runs, a list to choose from stands here."
"""What a page has in place of something that needs a script."""


def notebook_folder() -> Path:
    """Folder of the notebooks: inside the installed package, or beside it in a checkout.

    Raises
    ------
    FileNotFoundError
        If neither is there.
    """
    package = Path(str(resources.files("brewlog")))
    for folder in (package / "_notebooks", package.parent / "notebooks"):
        if all((folder / f"{name}.ipynb").is_file() for name in NOTEBOOKS):
            return folder
    raise FileNotFoundError("the notebooks are not installed beside brewlog; expected them in 'notebooks'")


def notebook_source(name: str) -> bytes:
    """A notebook as it is stored; nothing where it is not installed.

    Parameters
    ----------
    name : str
        One of `NOTEBOOKS`.
    """
    try:
        return (notebook_folder() / f"{name}.ipynb").read_bytes()
    except OSError:
        return b""


def set_choices(notebook: Any, choices: dict[str, Any]) -> None:
    """Replace the lines ``NAME = value`` of a notebook's second cell, where the reader's choices stand.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        Changed in place.
    choices : dict
        Name to new value.

    Raises
    ------
    KeyError
        If the cell has no line for a name.
    """
    cell = notebook.cells[1]
    for name, value in choices.items():
        line = re.compile(rf"^{name} = .*$", flags=re.MULTILINE)
        new = f"{name} = {value!r}"
        cell.source, count = line.subn(new.replace("\\", r"\\"), cell.source)
        if count != 1:
            raise KeyError(f"the notebook's second cell sets {name} {count} times; expected once")


def load_libraries() -> None:
    """Import what running and setting notebooks needs, before it runs beside the pages.

    While one thread imports IPython, matplotlib in another would meet it half made, and a page would be lost.
    """
    import IPython  # noqa: F401
    import nbclient  # noqa: F401
    import nbconvert  # noqa: F401


def run_notebook(name: str, choices: dict[str, Any], folder: Path | None = None, timeout: int = 600) -> Any:
    """Run one of brewlog's notebooks with the reader's choices.

    Parameters
    ----------
    name : str
        One of `NOTEBOOKS`.
    choices : dict
        For `set_choices`; paths should be absolute.
    folder : Path, optional
        Where the notebooks are; found when None.
    timeout : int
        Longest time for one cell. [s]

    Returns
    -------
    nbformat.NotebookNode
        The notebook with its outputs.

    Raises
    ------
    nbclient.exceptions.CellExecutionError
        If a cell fails.
    """
    import nbformat
    from nbclient import NotebookClient

    folder = folder or notebook_folder()
    notebook = nbformat.read(folder / f"{name}.ipynb", as_version=4)
    set_choices(notebook, choices)
    draw_twice(notebook)
    client = NotebookClient(
        notebook,
        timeout=timeout,
        kernel_name="python3",
        resources={"metadata": {"path": str(folder)}},
        extra_arguments=["--IPKernelApp.log_level=40"],  # its warnings are for servers, not for readers
    )
    client.execute()
    fold_twins(notebook)
    return notebook


def notebook_html(notebook: Any) -> str:
    """Body of the page of a notebook that was run: its texts, code and results, without any script.

    Parameters
    ----------
    notebook : nbformat.NotebookNode

    Returns
    -------
    str
        Markup to be placed inside a page.
    """
    from nbconvert import HTMLExporter

    exporter = HTMLExporter(template_name="basic")
    exporter.exclude_input_prompt = exporter.exclude_output_prompt = True
    # what brewlog's results show is escaped by them; the page's policy keeps scripts and foreign addresses out
    body, _ = exporter.from_notebook_node(still(notebook))
    body = re.sub(r"<h1[^>]*>.*?</h1>", "", body, count=1, flags=re.DOTALL)  # the page has its own
    body = re.sub(r'<a class="anchor-link".*?</a>', "", body, flags=re.DOTALL)
    body = re.sub(r"<style[^>]*>.*?</style>", "", body, flags=re.DOTALL)  # of each table; the page's own is enough
    body = body.replace(
        '<table border="1" class="dataframe">',
        '<table class="dataframe" tabindex="0" aria-label="Result of the cell above">',
    )
    body = _LONG_CELL.sub(r'<td class="s">\1</td>', body)
    body = set_pictures(body, notebook)
    return f"<div class='notebook'>{body}</div>"


def still(notebook: Any) -> Any:
    """A copy to be read: lines folded, and without what needs a script, such as a list to choose from.

    Parameters
    ----------
    notebook : nbformat.NotebookNode

    Returns
    -------
    nbformat.NotebookNode
    """
    copy = deepcopy(notebook)
    copy.metadata.pop("widgets", None)
    for cell in copy.cells:
        if cell.cell_type == "code":
            for output in cell.outputs:
                if "text" in output:
                    output["text"] = folded_lines(output["text"])
                if any("widget" in kind or "javascript" in kind for kind in output.get("data", {})):
                    output["data"] = {"text/plain": STILL}
    return copy
