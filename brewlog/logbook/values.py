"""One cell of text to a value: numbers with point or comma, dates, words, labels."""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Iterable
from datetime import date, datetime, timedelta

MISSING = frozenset({"", "-", "--", "–", "—", "n/a", "na", "n.a.", "nan", "none", "null", "#n/a", "?", "."})
"""Cells that mean "not recorded", in small letters."""
_PLAIN = re.compile(r"[+-]?(?:\d{1,30}(?:\.\d{0,30})?|\.\d{1,30})(?:[eE][+-]?\d{1,3})?")
_COMMA = re.compile(r"[+-]?\d{0,30},\d{1,30}(?:[eE][+-]?\d{1,3})?")
_THOUSANDS_POINT = re.compile(r"[+-]?\d{1,3}(?:,\d{3})+(?:\.\d*)?")
_THOUSANDS_COMMA = re.compile(r"[+-]?\d{1,3}(?:[.]\d{3})+,\d*")
_POINT_GROUP = re.compile(r"[+-]?[1-9]\d{0,2}\.\d{3}")
_SPACED = re.compile(r"[+-]?\d{1,3}(?:[ '\u00a0\u202f]\d{3})+(?:[.,]\d+)?")
EXCEL_DAY_ZERO = date(1899, 12, 30)
"""Day 0 of spreadsheet serial dates."""


def is_missing(cell: str) -> bool:
    """True for cells that mean "not recorded": nothing, dashes, or one of a few words."""
    text = cell.strip()
    return not text.strip("-–—") or text.casefold() in MISSING


def parse_number(cell: str, comma: bool | None = None) -> list[float]:
    """Every way to read a cell as a number; empty if it is none.

    Parameters
    ----------
    cell : str
    comma : bool, optional
        True where the file writes a decimal comma, False where it writes a point, None where that is not known.

    Returns
    -------
    list of float
        One value where the cell is unambiguous; two for cells such as `1,044` that are 1.044 or 1044.

    Examples
    --------
    >>> parse_number("1.5"), parse_number("1,5"), parse_number("1,044"), parse_number("1,044", comma=True)
    ([1.5], [1.5], [1.044, 1044.0], [1.044])
    """
    text = cell.strip().replace("−", "-")
    if len(text) > 60:
        return []
    if _PLAIN.fullmatch(text):
        number = float(text)
        if comma and _POINT_GROUP.fullmatch(text):
            return [float(text.replace(".", "")), number]  # 3.500 beside decimal commas
        return [number] if abs(number) < 1e300 else []
    if _COMMA.fullmatch(text):
        decimal = float(text.replace(",", "."))
        if comma or not _THOUSANDS_POINT.fullmatch(text):
            return [decimal]
        whole = float(text.replace(",", ""))
        return [whole] if comma is False else [decimal, whole]
    if _THOUSANDS_POINT.fullmatch(text):
        return [float(text.replace(",", ""))]
    if _THOUSANDS_COMMA.fullmatch(text):
        return [float(text.replace(".", "").replace(",", "."))]
    if _SPACED.fullmatch(text):
        return [float(re.sub(r"[ '\u00a0\u202f]", "", text).replace(",", "."))]
    return []


DATE_FORMATS = {
    "day.month.year": ("%d.%m.%Y", "%d.%m.%y"),
    "day/month/year": ("%d/%m/%Y", "%d/%m/%y"),
    "month/day/year": ("%m/%d/%Y", "%m/%d/%y"),
    "day-month-year": ("%d-%m-%Y",),
    "month-day-year": ("%m-%d-%Y",),
    "year/month/day": ("%Y/%m/%d",),
    "year.month.day": ("%Y.%m.%d",),
    "day month year": ("%d %b %Y", "%d %B %Y", "%d-%b-%Y", "%d-%b-%y", "%d. %B %Y"),
    "month day, year": ("%b %d, %Y", "%B %d, %Y", "%b %d %Y", "%B %d %Y"),
}
"""Ways to write a date other than ISO 8601."""
EARLIEST, LATEST = date(1950, 1, 1), date(2100, 1, 1)
"""Brew days lie between these."""
_TIME_BEHIND = re.compile(r"[T ]+\d{1,2}:\d{2}(?::\d{2}(?:\.\d{1,9})?)?(?: ?[AaPp][Mm])?(?:Z|[+-]\d{2}:?\d{2})?")


_WEEKDAY = re.compile(r"(?:mon|tue|wed|thu|fri|sat|sun)[a-z]{0,6}\.?,? +(?=\d|[a-z]{3})", re.IGNORECASE)
_ORDINAL = re.compile(r"(?<=\d)(?:st|nd|rd|th)\b", re.IGNORECASE)


def day_part(cell: str) -> str:
    """A date cell without weekday and ordinal before, or a time of day behind it.

    Examples
    --------
    >>> day_part("Sat 2nd March 2024"), day_part("2024-03-02T09:30"), day_part("2024.03.02.")
    ('2 March 2024', '2024-03-02', '2024.03.02')
    """
    text = cell.strip()
    if len(text) > 60:
        return text
    text = _WEEKDAY.sub("", text, count=1)
    text = _ORDINAL.sub("", text)
    if text.endswith(".") and text[-2:-1].isdigit():
        text = text[:-1]  # 2.3.2024. or 2024.03.02.
    found = re.search(r"[T ]+\d{1,2}:", text)
    return text[: found.start()] if found and _TIME_BEHIND.fullmatch(text[found.start() :]) else text


def parse_iso_date(cell: str) -> date | None:
    """ISO 8601 date, with or without a time behind it; None if it is none.

    Examples
    --------
    >>> parse_iso_date("2024-05-31T09:30"), parse_iso_date("20240531"), parse_iso_date("2024-05-31x")
    (datetime.date(2024, 5, 31), datetime.date(2024, 5, 31), None)
    """
    text = day_part(cell)
    if re.fullmatch(r"\d{4}-\d{1,2}-\d{1,2}", text):  # 2024-5-31 is read too: only one reading fits
        text = "-".join(part.zfill(2) for part in text.split("-"))
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def parse_date(cell: str, formats: Iterable[str]) -> date | None:
    """Date by the first of some formats that fits; None if none does.

    Examples
    --------
    >>> parse_date("25/4/2023", ["%m/%d/%Y", "%d/%m/%Y"]), parse_date("25/4/2023", ["%m/%d/%Y"])
    (datetime.date(2023, 4, 25), None)
    """
    text = day_part(cell)
    for form in formats if len(text) <= 30 else ():
        try:
            return datetime.strptime(text, form).date()
        except ValueError:
            continue
    return None


def serial_date(cell: str) -> date | None:
    """Date of a spreadsheet's serial number (days since 30 December 1899); None if it cannot be one.

    Examples
    --------
    >>> serial_date("45292")
    datetime.date(2024, 1, 1)
    """
    text = cell.strip()
    if re.fullmatch(r"\d{5}(\.\d+)?", text) and 20000 <= float(text) < 80000:
        return EXCEL_DAY_ZERO + timedelta(days=int(float(text)))
    return None


def plain(text: str) -> str:
    """A word or header without case, blanks, hyphens and underscores, for comparing."""
    return re.sub(r"[\s_\-]+", "", text.casefold())


_WHOLE = re.compile(r"0*(\d{1,9})(?:[.,]0+)?")
_LOOK = str.maketrans("lio|", "1101")


def _as_seen(text: str) -> str:
    """A word with signs that look alike made one, and a whole number as it counts: `kl` as `k1`, `007` as `7`."""
    seen = plain(text[:80]).translate(_LOOK)
    found = _WHOLE.fullmatch(seen)
    return found[1] if found else seen


MOST_WORDS = 2000
"""Words among which the nearest one is looked for."""


def nearest(text: str, known: Collection[str]) -> str | None:
    """The known word that is most like `text`; None where none is near, or where there are too many to compare.

    Examples
    --------
    >>> nearest("fermentor", ["pre-boil", "fermenter"]), nearest("xyz", ["pre-boil"])
    ('fermenter', None)
    >>> nearest("kl", ["k1", "k2"]), nearest("7.0", ["7", "17"]), nearest("7", ["007"])
    ('k1', '7', '007')
    """
    if len(known) > MOST_WORDS:
        return None
    twins = [word for word in known if _as_seen(word) == _as_seen(text)]
    if len(twins) == 1:
        return twins[0]
    table = {plain(word): word for word in known}
    found = difflib.get_close_matches(plain(text)[:80], list(table), n=1, cutoff=0.6)
    return table[found[0]] if found else None
