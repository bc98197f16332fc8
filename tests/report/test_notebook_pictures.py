"""Pictures of the notebooks on a telephone."""

from __future__ import annotations

import base64
import re
from importlib import resources

import nbformat.v4 as nb
import pytest

from brewlog import figures
from brewlog.figures.canvas import PHONE_WIDTH, for_telephone, narrow
from brewlog.report.notebook_pictures import draw_twice, fold_twins, set_pictures, what_is_shown


def picture(text: str):
    return nb.new_output("display_data", {"image/png": base64.b64encode(text.encode()).decode()})


@pytest.fixture
def notebook():
    return nb.new_notebook(
        cells=[nb.new_markdown_cell("figures.plot_fit(x)"), nb.new_code_cell("figures.plot_drift(fit, 'heat_share');"),
               nb.new_code_cell("table")]
    )  # fmt: skip


def test_each_figure_is_drawn_twice_and_shown_once(notebook):
    before = [cell.source for cell in notebook.cells]
    draw_twice(notebook)
    assert len(notebook.cells) == 4
    assert "with _for_telephone()" in notebook.cells[2].source
    notebook.cells[1].outputs = [picture("wide")]
    notebook.cells[2].outputs = [picture("slim")]
    fold_twins(notebook)
    assert [cell.source for cell in notebook.cells] == before
    wide, slim = (base64.b64encode(one).decode() for one in (b"wide", b"slim"))
    body = set_pictures(f'<p>a</p><img alt="?" class="x" src="data:image/png;base64,{wide}\n"><p>b</p>', notebook)
    assert body.startswith("<p>a</p><picture>")
    assert re.search(rf'<source media="screen and \(max-width: 46rem\)" srcset="data:image/png;base64,{slim}">', body)
    assert f'<img alt="{what_is_shown("figures.plot_drift(")}" src="data:image/png;base64,{wide}">' in body


def test_a_picture_without_a_twin_stays_one_picture(notebook):
    notebook.cells[1].outputs = [picture("wide")]
    fold_twins(notebook)
    body = set_pictures('<img src="data:image/png;base64,d2lkZQ==">', notebook)
    assert "<picture" not in body
    assert 'alt="One constant' in body


def test_no_rule_makes_a_picture_wider_than_its_page():
    css = resources.files("brewlog.report").joinpath("style.css").read_text(encoding="utf-8")
    rules = re.findall(r"([^{}]*\bimg\b[^{}]*)\{([^}]*)\}", css)
    assert len(rules) >= 3
    for selector, rule in rules:
        assert not re.search(r"max-width: ?none|(?<!-)width: ?\d+(?:rem|px|em)", rule), selector


def test_figures_are_drawn_for_a_telephone_only_inside_the_context(fit):
    from matplotlib import pyplot as plt

    with for_telephone():
        slim = figures.plot_drift(fit, "heat_loss")
        upper, _ = figures.plot_fit(fit, next(iter(fit.per_brew.index)))
    wide = figures.plot_drift(fit, "heat_loss")
    assert narrow(slim)
    assert narrow(upper)
    assert slim.figure.get_figwidth() == PHONE_WIDTH
    assert not narrow(wide)
    plt.close("all")


def test_what_is_shown_is_said_of_every_figure():
    for name in figures.__all__:
        words = what_is_shown(f"figures.{name}(x)")
        assert words.endswith(".")
        assert "return" not in words
    assert what_is_shown("table") == ""
