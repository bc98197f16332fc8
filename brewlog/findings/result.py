"""What the results of the findings have in common: their sentence as text and HTML."""

from __future__ import annotations

from html import escape


class Result:
    """A result that has a sentence."""

    @property
    def sentence(self) -> str:
        """The finding in plain words."""
        raise NotImplementedError

    def __str__(self) -> str:
        return self.sentence

    def _repr_html_(self) -> str:
        return f"<p>{escape(self.sentence)}</p>"
