"""Choosing a brew in a notebook: by a list to click where ipywidgets is installed, by its label without it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

from brewlog.report.review import BrewReview, latest_brew, review_brew
from brewlog.rig import RigFit, calibrate

if TYPE_CHECKING:
    from brewlog.logbook import Logbook

Show = Callable[[BrewReview], Any]


@dataclass(frozen=True)
class BrewPicker:
    """A brew to look at, and a list to choose another one from."""

    labels: tuple[str, ...]
    label: str
    """The brew that was chosen first."""
    widget: Any = None
    """The list with what it shows below; None without ipywidgets."""

    def to_dict(self) -> dict[str, Any]:
        """Labels as plain values."""
        return {"label": self.label, "labels": list(self.labels)}

    @property
    def sentence(self) -> str:
        """What to do without a list to click."""
        return (
            f"Brew {self.label} is shown. To see another one, write its label behind BREW in the second cell and run "
            f"the notebook again: {', '.join(self.labels)}."
        )

    def _repr_mimebundle_(self, **options: Any) -> Any:
        if self.widget is None:
            return {"text/plain": self.sentence, "text/html": f"<p>{escape(self.sentence)}</p>"}
        return self.widget._repr_mimebundle_(**options)


def pick_brew(book: Logbook, label: str | None = None, show: Show | None = None) -> BrewPicker:
    """A list of a logbook's brews to choose from, with what the logbook says of the chosen one below it.

    Without ipywidgets the result tells the labels, and how to choose one by hand.

    Parameters
    ----------
    book : Logbook
    label : str, optional
        The brew that is shown first; the latest when None.
    show : callable, optional
        Gets the `BrewReview` of the chosen brew; what it displays or returns stands below the list. Shows the review's
        sentences when None.

    Returns
    -------
    BrewPicker

    Raises
    ------
    KeyError
        If the logbook has no such brew; the nearest label is named.
    """
    chosen = latest_brew(book).label if label is None else book.brews[label].label
    labels = tuple(book.brews)
    widgets = _widgets()
    return BrewPicker(labels, chosen, None if widgets is None else _list_of(widgets, book, labels, chosen, show))


def _widgets() -> ModuleType | None:
    try:
        return import_module("ipywidgets")
    except ImportError:
        return None


def _list_of(widgets: Any, book: Logbook, labels: tuple[str, ...], chosen: str, show: Show | None) -> Any:
    """The list and, below it, what `show` makes of the brew that is chosen."""
    from IPython.display import display

    titles = [(f"{label}  {book.brews[label].date or ''}".rstrip(), label) for label in labels]
    choose = widgets.Dropdown(options=titles, value=chosen, description="Brew")
    below = widgets.Output()
    fits: dict[str, RigFit] = {}

    def change(event: Any) -> None:
        label = event["new"]
        rig = book.brews[label].rig
        below.clear_output(wait=True)
        with below:
            if rig is not None and rig not in fits:  # fitted once, when its first brew is looked at
                fits[rig] = calibrate(book, rig)
            review = review_brew(book, label, fits)
            result = review if show is None else show(review)
            if result is not None:
                display(result)

    choose.observe(change, names="value")
    return widgets.VBox([choose, below])
