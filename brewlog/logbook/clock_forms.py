"""Forms of clock times other than ISO 8601: which one a column of them has."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date as Date
from datetime import datetime, timedelta

import pandas as pd

Order = Callable[[str], str | None]
"""Whether `day` or `month` comes first in other dates with some sign between them; None where they do not tell."""

_DAYS = ("%d.%m.%Y", "%d.%m.%y", "%d/%m/%Y", "%m/%d/%Y", "%d/%m/%y", "%m/%d/%y", "%Y/%m/%d", "%Y.%m.%d", "%d-%m-%Y",
         "%m-%d-%Y", "%d %b %Y", "%b %d %Y", "%b %d, %Y", "%d %B %Y", "%B %d, %Y", "%d-%b-%Y", "%Y-%m-%d")  # fmt: skip
_TIMES = ("%H:%M:%S", "%H:%M", "%H:%M:%S.%f", "%I:%M:%S %p", "%I:%M %p")
_ODD = ("%b %d %H:%M:%S %Y", "%Y-%m-%d_%H-%M-%S", "%Y-%m-%d %H-%M-%S", "%Y-%m-%dT%H.%M.%S", "%Y-%m-%d %H.%M.%S",
        "%d.%m.%Y %H.%M.%S", "%Y-%m-%d_%H:%M:%S", "%d/%b/%Y:%H:%M:%S", "%Y-%m-%d %H:%M:%S:%f",
        "%Y-%jT%H:%M:%S")  # fmt: skip
FORMATS = (
    *(f"{day} {time}" for day in _DAYS for time in _TIMES),
    *(f"{time} {day}" for day in _DAYS for time in _TIMES[:3]),
    *_ODD,
)
SWAPPABLE, LEANT = "; day and month could be swapped", ", in the order of the logbook's other dates"
"""What is said of the order of day and month where the times themselves do not tell it."""
NEAR = timedelta(days=2)
"""How near its day the first time of a trace must lie to decide between day and month."""


def other_forms(
    texts: pd.Series, sample: list[str], day: Date | None, order: Order | None = None
) -> tuple[str, pd.Series, str] | None:
    """The form that fits most cells, the times by it, and what is to be said of the order of day and month."""
    some = [form for form in FORMATS if any(_fits(text, form) for text in sample[:5])]
    likely = [form for form in some if sum(_fits(text, form) for text in sample) > 0.8 * len(sample)]
    fits = {form: pd.to_datetime(texts, format=form, errors="coerce") for form in likely}
    if not fits:
        return None
    most = max(times.notna().sum() for times in fits.values())
    fits = {form: times for form, times in fits.items() if times.notna().sum() == most}
    near = {form: times for form, times in fits.items() if day and abs(times.min().date() - day) <= NEAR}
    fits = near or fits
    # a brew day lasts hours: the shortest span is the right one, a tie is no answer
    spans = {form: times.max() - times.min() for form, times in fits.items()}
    best = min(spans, key=lambda form: spans[form])
    rivals = [form for form in fits if spans[form] == spans[best] and not fits[form].equals(fits[best])]
    if rivals and order is not None and (first := order("/" if "/" in best else "-")):
        leant = [form for form in (best, *rivals) if _first(form) == first]
        if len(leant) == 1:
            return leant[0], fits[leant[0]], LEANT
    return best, fits[best], SWAPPABLE if rivals else ""


def _first(form: str) -> str:
    """Which comes first in a form."""
    return "day" if form.find("%d") < form.find("%m") else "month"


def _fits(text: str, form: str) -> bool:
    try:
        datetime.strptime(text, form)
    except ValueError:
        return False
    return True


def words_of(form: str) -> str:
    """A form in words."""
    names = {"d": "day", "j": "day of the year", "m": "month", "b": "month", "B": "month", "Y": "year", "y": "year",
             "H": "hour", "I": "hour", "M": "minute", "S": "second", "f": "fraction", "p": "AM/PM"}  # fmt: skip
    return re.sub(r"%([A-Za-z])", lambda match: names[match[1]], form)
