"""Choosing a brew in a notebook, with ipywidgets and without it."""

from __future__ import annotations

import sys

import nbformat
import pytest

import brewlog
from brewlog.report import pick_brew, picker
from brewlog.report.notebooks import STILL, notebook_html


@pytest.fixture(scope="module")
def book(small_book_path):
    return brewlog.read_logbook(small_book_path)


def test_without_ipywidgets_the_labels_are_told(book, monkeypatch):
    monkeypatch.setitem(sys.modules, "ipywidgets", None)  # what an import finds where it is not installed
    chosen = pick_brew(book)
    assert chosen.widget is None
    assert chosen.label == list(book.brews)[-1]
    shown = chosen._repr_mimebundle_()
    assert all(label in shown["text/plain"] for label in book.brews)
    assert "BREW" in shown["text/html"]
    assert chosen.to_dict()["labels"] == list(book.brews)


def test_with_ipywidgets_a_choice_shows_that_brew(book, monkeypatch):
    pytest.importorskip("ipywidgets")
    seen = []
    monkeypatch.setattr(picker, "calibrate", lambda book, rig: None)
    monkeypatch.setattr(picker, "review_brew", lambda book, label, fits: label)
    chosen = pick_brew(book, show=seen.append)
    choose = chosen.widget.children[0]
    assert [label for _, label in choose.options] == list(book.brews)
    assert choose.value == chosen.label
    choose.value = next(iter(book.brews))
    assert seen == [next(iter(book.brews))]
    assert "application/vnd.jupyter.widget-view+json" in chosen._repr_mimebundle_()


def test_an_unknown_brew_is_named_with_the_nearest(book):
    with pytest.raises(KeyError, match="Did you mean"):
        pick_brew(book, next(iter(book.brews)) + "x")


def test_a_page_has_words_in_place_of_a_list():
    data = {"application/vnd.jupyter.widget-view+json": {"model_id": "1"}, "text/plain": "VBox()"}
    cell = nbformat.v4.new_code_cell("pick", outputs=[nbformat.v4.new_output("display_data", data)])
    notebook = nbformat.v4.new_notebook(cells=[cell])
    page = notebook_html(notebook)
    assert STILL in page
    assert "script" not in page
    assert "VBox" not in page
    assert "VBox()" in str(notebook), "the notebook itself is left as it was"
