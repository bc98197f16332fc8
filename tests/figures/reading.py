"""What stands in a figure."""

from __future__ import annotations


def texts(ax) -> str:
    """All texts on the axes."""
    return " | ".join(text.get_text() for text in ax.texts)


def line(ax, label: str):
    """The line with a label."""
    return next(one for one in ax.get_lines() if one.get_label() == label)
