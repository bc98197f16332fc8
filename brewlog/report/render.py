"""Pages from blocks: one template, text always escaped, nothing fetched from anywhere."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources

import jinja2

import brewlog
from brewlog.report.blocks import Block, Link


@dataclass(frozen=True, slots=True)
class Page:
    """One page of a report."""

    file: str
    """File name in the report's folder."""
    title: str
    blocks: Sequence[Block]
    lead: str = ""
    """Remark below the title."""
    paging: Sequence[Link] = ()
    """Links at the foot, to the neighbours."""


@cache
def _template() -> jinja2.Template:
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("brewlog.report"),
        autoescape=True,
        trim_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    return environment.get_template("page.html")


@cache
def _css() -> str:
    return resources.files("brewlog.report").joinpath("style.css").read_text(encoding="utf-8")


def render(page: Page, book_name: str, menu: Sequence[Link]) -> str:
    """HTML of one page.

    Parameters
    ----------
    page : Page
    book_name : str
        Name of the logbook, shown at the top.
    menu : sequence of Link
        Main pages, the same on every page.

    Returns
    -------
    str
        A whole document that needs nothing from outside.
    """
    return _template().render(
        title=page.title,
        lead=page.lead,
        blocks=page.blocks,
        paging=page.paging,
        here=page.file,
        menu=menu,
        book_name=book_name,
        css=_css(),
        version=brewlog.__version__,
    )


def file_names(kind: str, labels: Iterable[str]) -> dict[str, str]:
    """File name of the page of each label: letters, digits, `.`, `_` and `-` only, so that none leaves the folder.

    Labels that had to be changed carry a short digest, so that no two labels share a page.

    Examples
    --------
    >>> file_names("brew", ["12", "../x"])
    {'12': 'brew-12.html', '../x': 'brew-x-d6b96a97.html'}
    """
    found: dict[str, str] = {}
    taken: set[str] = set()
    for label in labels:
        plain = re.sub(r"[^A-Za-z0-9_-]+", "-", label).strip("-")[:60]
        if plain != label or plain.lower() in taken:
            plain = f"{plain}-{hashlib.sha256(label.encode()).hexdigest()[:8]}".lstrip("-")
        taken.add(plain.lower())
        found[label] = f"{kind}-{plain}.html"
    return found
