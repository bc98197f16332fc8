"""What an HTML page holds."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

VOID = {"meta", "img", "br", "link", "input", "hr", "col", "source"}


class Outline(HTMLParser):
    """What a page holds; complains of tags that are not closed in turn."""

    def __init__(self):
        super().__init__()
        self.open, self.links, self.images, self.headings, self.tags, self.ids = [], [], [], [], set(), []
        self.stops: list[tuple[str, dict]] = []  # what the tabulator key stops at, in order

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        self.tags.add(tag)
        if "id" in attrs:
            self.ids.append(attrs["id"])
        if (tag == "a" and "href" in attrs) or tag == "summary" or "tabindex" in attrs:
            self.stops.append((tag, attrs))
        if tag == "a" and "href" in attrs:
            self.links.append(attrs["href"])
        if tag == "img":
            self.images.append(attrs)
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        if tag not in VOID:
            assert self.open, f"</{tag}> closes nothing"
            assert self.open.pop() == tag


def outline(text):
    parser = Outline()
    parser.feed(text)
    assert parser.open == []
    return parser


def pages(folder: Path) -> list[Path]:
    found = sorted(folder.glob("*.html"))
    assert len(found) >= 10  # three main pages, a rig, six brews and one without records, three notebooks
    return found
