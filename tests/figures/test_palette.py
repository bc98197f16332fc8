"""Colours: contrast on paper, and told apart with any colour vision."""

from __future__ import annotations

from itertools import combinations

import pytest

from brewlog.figures.palette import (
    BAND,
    BASE,
    BED,
    CONTROL,
    INK,
    LINES,
    PAPER,
    RECONSTRUCTED,
    SOFT,
    contrast,
    difference,
)


@pytest.mark.parametrize("name", LINES)
def test_lines_and_marks_stand_out_from_the_paper(name):
    # WCAG 2.2, criterion 1.4.11: 3 to 1 for graphics
    assert contrast(LINES[name], PAPER) >= 3.0


@pytest.mark.parametrize("colour", [INK, SOFT, BED, BASE, RECONSTRUCTED])
def test_text_stands_out_from_the_paper(colour):
    # WCAG 2.2, criterion 1.4.3: 4.5 to 1 for text
    assert contrast(colour, PAPER) >= 4.5


@pytest.mark.parametrize("colour", [INK, BED, BASE, RECONSTRUCTED])
def test_lines_stand_out_from_the_band(colour):
    assert contrast(colour, BAND) >= 3.0


@pytest.mark.parametrize("vision", ["usual", "deuteranopia", "protanopia", "tritanopia"])
def test_lines_that_meet_in_a_figure_are_told_apart(vision):
    for one, other in combinations(("bed", "base", "reconstructed", "ink"), 2):
        assert difference(LINES[one], LINES[other], vision) >= 19, (one, other)


def test_controlling_sensors_differ_in_marker_and_in_grey():
    assert len({marker for _, marker in CONTROL.values()}) == len(CONTROL)
    assert difference(BED, BASE, "grey") >= 15


def test_contrast_against_published_values():
    # W3C: black on white 21; #767676 is the lightest grey with 4.5 on white (WebAIM, contrast and color accessibility)
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert contrast("#777777", "#ffffff") < 4.5


def test_lab_distance_against_published_values():
    # CIELAB under D65 of sRGB red (53.24, 80.09, 67.20) and green (87.73, -86.18, 83.18) (Lindbloom, RGB to Lab)
    red_green = ((53.24 - 87.73) ** 2 + (80.09 + 86.18) ** 2 + (67.20 - 83.18) ** 2) ** 0.5
    assert difference("#ff0000", "#00ff00") == pytest.approx(red_green, abs=0.1)


def test_an_unknown_vision_is_named():
    with pytest.raises(ValueError, match="vision is 'x-ray'"):
        difference(BED, BASE, "x-ray")
