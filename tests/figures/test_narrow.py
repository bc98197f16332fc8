"""Figures for a telephone: nothing outside the picture, no words on top of each other."""

from __future__ import annotations

from itertools import pairwise

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from brewlog import figures
from brewlog.figures.canvas import narrow
from brewlog.findings import explain_change, relate
from brewlog.mash import hold
from brewlog.report.drawing import PHONE_TALL, PHONE_WIDE


def drawn(draw, size=PHONE_WIDE):
    figure = Figure(figsize=size, layout="constrained")
    FigureCanvasAgg(figure)
    draw(figure)
    figure.canvas.draw()
    return figure


def boxes(figure, ax):
    """Outlines of every text that is seen, on axes and keys."""
    renderer = figure.canvas.get_renderer()
    labels = [ax.xaxis.label, ax.yaxis.label, *ax.texts]
    for axis in (ax.xaxis, ax.yaxis):
        low, high = sorted(axis.get_view_interval())
        labels += [tick.label1 for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high]
    for key in figure.legends:
        labels += key.get_texts()
    return {one.get_text(): one.get_window_extent(renderer) for one in labels if one.get_text() and one.get_visible()}


@pytest.fixture
def pictures(base_brew, mash_brew, blind_brew, reconstructed, fit, table):
    relation = relate(table)
    change = explain_change(table, "base", "mash", relation=relation)
    tall = (4.2, 1.6 + 0.42 * (len(change.pieces) + 2))
    return {
        "mash day": drawn(lambda f: figures.plot_mash_day(base_brew, ax=f.add_subplot()), PHONE_TALL),
        "blind day": drawn(lambda f: figures.plot_mash_day(blind_brew, reconstructed, ax=f.add_subplot()), PHONE_TALL),
        "lead": drawn(lambda f: figures.plot_lead(mash_brew, ax=f.add_subplot())),
        "holds": drawn(lambda f: figures.plot_holds([hold(base_brew), hold(mash_brew)], ax=f.add_subplot())),
        "history": drawn(lambda f: figures.plot_efficiency_history(table, ax=f.add_subplot())),
        "constants": drawn(lambda f: figures.plot_constants(fit, ax=f.add_subplot()), PHONE_TALL),
        "drift": drawn(lambda f: figures.plot_drift(fit, "heat_share", ax=f.add_subplot())),
        "stretches": drawn(lambda f: figures.plot_stretches(fit, ax=f.add_subplot())),
        "relation": drawn(lambda f: figures.plot_relation(relation, table, ax=f.add_subplot())),
        "change": drawn(lambda f: figures.plot_change(change, ax=f.add_subplot()), tall),
    }


def test_words_stay_inside_and_apart(pictures):
    for name, figure in pictures.items():
        ax = figure.axes[0]
        found = boxes(figure, ax)
        for text, box in found.items():
            assert box.x0 >= -1, f"{name}: {text!r} leaves the picture at the left"
            assert box.y0 >= -1, f"{name}: {text!r} leaves the picture below"
            assert box.x1 <= figure.bbox.x1 + 2, f"{name}: {text!r} leaves the picture at the right"
            assert box.y1 <= figure.bbox.y1 + 2, f"{name}: {text!r} leaves the picture above"
        shown = [one.get_text() for one in ax.get_yticklabels()]
        labels = [box for text, box in found.items() if text in shown]
        labels.sort(key=lambda box: box.y0)
        assert all(low.y1 <= high.y0 + 3 for low, high in pairwise(labels)), name


def test_keys_stand_above_in_place_of_labels_beside(base_brew):
    slim = drawn(lambda f: figures.plot_mash_day(base_brew, ax=f.add_subplot()), PHONE_TALL)
    assert narrow(slim.axes[0])
    assert [text.get_text() for text in slim.legends[0].get_texts()] == ["base", "bed"]
    assert not {"base", "bed"} & {text.get_text() for text in slim.axes[0].texts}
    wide = drawn(lambda f: figures.plot_mash_day(base_brew, ax=f.add_subplot()), (9.0, 5.6))
    assert not narrow(wide.axes[0])
    assert wide.legends == []
