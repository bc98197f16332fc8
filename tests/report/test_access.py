"""Pages for everyone: valid, read by keyboard and by ear, with enough contrast in light, in dark and in print."""

from __future__ import annotations

import re
from importlib import resources

import pytest
from justhtml import JustHTML

from brewlog.figures.palette import contrast
from tests.report.outline import outline, pages

CSS = resources.files("brewlog.report").joinpath("style.css").read_text(encoding="utf-8")
PICTURE = re.compile(r"data:image/png;base64,[A-Za-z0-9+/=]+")


def palettes() -> dict[str, dict[str, str]]:
    """Colours by name, as the style sheet sets them for light screens, dark screens and paper."""
    found = {}
    for scheme, block in (
        ("light", re.search(r"^:root \{(.*?)\}", CSS, re.DOTALL | re.MULTILINE)),
        ("dark", re.search(r"prefers-color-scheme: dark\) \{\s*:root \{(.*?)\}", CSS, re.DOTALL)),
        ("print", re.search(r"@media print \{\s*:root \{(.*?)\}", CSS, re.DOTALL)),
    ):
        assert block is not None, scheme
        colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{3,6})\b", block[1]))
        found[scheme] = {
            name: value if len(value) == 7 else "#" + "".join(2 * digit for digit in value[1:])
            for name, value in colours.items()
        }
    return found


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
@pytest.mark.parametrize("ground", ["paper", "card", "shade"])
@pytest.mark.parametrize("text", ["ink", "soft", "accent", "good", "warn"])
def test_text_stands_out_from_every_ground(scheme, ground, text):
    # WCAG 2.2, criterion 1.4.3: 4.5 to 1 for text, level AA
    palette = palettes()[scheme]
    assert contrast(palette[text], palette[ground]) >= 4.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("edge", ["accent", "warn", "frame"])
def test_edges_that_carry_meaning_stand_out(scheme, edge):
    # WCAG 2.2, criterion 1.4.11: 3 to 1 for what is not text
    palette = palettes()[scheme]
    assert contrast(palette[edge], palette["paper"]) >= 3.0


def test_every_colour_of_text_is_one_of_the_palette():
    used = set(re.findall(r"[{;\s](?:color|border-color|background|outline): ?([^;}]+)", CSS))
    named = {name for value in used for name in re.findall(r"var\(--(\w+)\)", value)}
    assert named <= set(palettes()["light"])
    assert set(palettes()["light"]) == set(palettes()["dark"])
    bare = {value for value in used if re.search(r"#[0-9a-f]{3}", value)}
    assert bare <= {"#fff", "#000"}, "paper of figures, and print"


def test_every_page_is_valid_for_a_strict_parser(report_folder):
    for page in pages(report_folder):
        text = PICTURE.sub("data:,", page.read_text(encoding="utf-8"))
        JustHTML(text, strict=True)  # raises with the place
        found = outline(text)
        assert len(found.ids) == len(set(found.ids)), page.name
        assert text.startswith("<!DOCTYPE html>")
        assert '<html lang="en">' in text
        assert re.search(r"<title>[^<]+ – [^<]+</title>", text)


def test_the_parser_is_strict():
    with pytest.raises(Exception, match="Unexpected"):
        JustHTML("<!DOCTYPE html><title>x</title><p><div>a</div></p>", strict=True)


def test_the_keyboard_goes_through_a_page_in_reading_order(report_folder):
    for page in pages(report_folder):
        text = PICTURE.sub("data:,", page.read_text(encoding="utf-8"))
        found = outline(text)
        tag, first = found.stops[0]
        assert (tag, first["href"]) == ("a", "#main"), "the first stop skips to the content"
        assert "main" in found.ids
        assert all(int(attrs.get("tabindex", "0")) == 0 for _, attrs in found.stops), page.name
        assert text.index("<nav ") < text.index("<main ") < text.index("<footer")
        # tables scroll sideways on narrow screens, which needs a stop and a name
        assert text.count('<div class="table"') == text.count('tabindex="0" role="region" aria-label="'), page.name


def test_tables_name_their_rows_and_columns(report_folder):
    text = (report_folder / "index.html").read_text(encoding="utf-8")
    table = re.search(r"<table>.*?</table>", text, re.DOTALL)
    assert table is not None
    assert table[0].count('scope="col"') > 3
    assert table[0].count('scope="row"') == table[0].count("<tr>") - 1
    assert "<caption>" in table[0]


def test_pictures_have_a_version_for_telephones(report_folder):
    text = PICTURE.sub("data:,", (report_folder / "index.html").read_text(encoding="utf-8"))
    assert text.count("<figure>") == text.count('<source media="screen and (max-width: 46rem)" srcset="data:,">') > 0


def test_the_page_in_use_is_marked_in_the_menu(report_folder):
    text = (report_folder / "findings.html").read_text(encoding="utf-8")
    assert re.findall(r'<a href="([^"]+)" aria-current="page">', text) == ["findings.html"]


def test_the_style_sheet_reaches_the_page_as_it_was_written(report_folder):
    text = (report_folder / "index.html").read_text(encoding="utf-8")
    assert f"<style>{CSS}</style>" in text  # inside it a browser decodes no entity: an escaped quote would end a rule
    assert "</" not in CSS
