"""A report of a small logbook, written once."""

from __future__ import annotations

import shutil

import pytest

import brewlog
from brewlog.report import write_report
from tests.figures.conftest import fit as fit
from tests.figures.conftest import table as table

HOSTILE = '<script>alert("x")</script><img src=x onerror=y>'


@pytest.fixture(scope="session")
def report_folder(small_book_path, tmp_path_factory):
    """Pages of a small logbook whose brewer wrote markup into a free text and into a label."""
    folder = tmp_path_factory.mktemp("hostile")
    book_path = folder / "book"
    shutil.copytree(small_book_path, book_path)
    brews = (book_path / "brews.csv").read_text(encoding="utf-8").splitlines()
    header = brews[0].split(",")
    cells = brews[1].split(",")
    cells[header.index("changes")] = '"' + HOSTILE.replace('"', '""') + '"'
    brews[1] = ",".join(cells)
    brews.append(",".join(["../../<b>x" if name == "brew" else "" for name in header]))
    (book_path / "brews.csv").write_text("\n".join(brews) + "\n", encoding="utf-8")
    out = folder / "report"
    book = brewlog.read_logbook(book_path)
    written = write_report(book, out, compare=[tuple(list(book.brews)[1:3])])
    assert written.lost == {}
    return out
