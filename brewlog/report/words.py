"""Numbers and short sentences as people read them: rounded to what is known, with range and unit."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Sequence
from datetime import date
from itertools import groupby
from typing import Any

from brewlog.figures.decimals import decimals
from brewlog.figures.units import unit_sign

NOT_KNOWN = "not known"
_LAST_CELL = re.compile(r"(?<=\S) {3,}(?=\S+(?: \S+)*$)")
_NUMBERED = re.compile(r"\s*(\[\d+\] )?")


def number(value: float | None, sd: float | None = None, unit: str = "1", digits: int | None = None) -> str:
    """A number with its unit, rounded to what its standard deviation allows.

    Missing values (None or NaN) read "not known".

    Examples
    --------
    >>> number(71.2345, 2.1, "%")
    '71.2 ± 2.1 %'
    >>> number(float("nan"))
    'not known'
    """
    if value is None or not math.isfinite(value):
        return NOT_KNOWN
    places = digits if digits is not None else decimals(sd) if sd is None else decimals(sd, value)
    text = f"{value:.{places}f}".replace("-", "−")
    if not text.strip("−0."):
        text = text.lstrip("−")  # what rounds to nothing has no sign
    if sd is not None and math.isfinite(sd):
        text += f" ± {sd:.{places}f}"
    return f"{text} {unit_sign(unit)}".rstrip()


def interval(estimate: float | None, low: float | None, high: float | None, unit: str = "1") -> str:
    """An estimate with the ends of its 95 % interval.

    Examples
    --------
    >>> interval(0.93, 0.912, 0.948)
    '0.930 (0.912 to 0.948)'
    >>> interval(212.3, None, None, "W/K")
    '212 W/K (range not known)'
    """
    if estimate is None or not math.isfinite(estimate):
        return NOT_KNOWN
    sign = unit_sign(unit)
    if low is None or high is None or not (math.isfinite(low) and math.isfinite(high)):
        return f"{estimate:.3g} {sign}".rstrip() + " (range not known)"
    places = decimals((high - low) / 4, estimate)
    ends = f"({low:.{places}f} to {high:.{places}f})".replace("-", "−")
    return f"{estimate:.{places}f} {ends} {sign}".replace("-", "−").rstrip()


def value_of(quantity: Any) -> tuple[float | None, float | None]:
    """Nominal value and standard deviation of an `uncertainties` value, a float or None.

    Examples
    --------
    >>> value_of(3)
    (3.0, None)
    """
    if quantity is None:
        return None, None
    if hasattr(quantity, "nominal_value"):
        return float(quantity.nominal_value), float(quantity.std_dev)
    return float(quantity), None


def counted(n: int, noun: str, plural: str | None = None) -> str:
    """A count with its noun.

    Examples
    --------
    >>> counted(1, "brew"), counted(3, "brew")
    ('1 brew', '3 brews')
    """
    return f"{n} {noun if n == 1 else plural or noun + 's'}"


def joined(items: Sequence[str]) -> str:
    """A list in words.

    Examples
    --------
    >>> joined(["a", "b", "c"])
    'a, b and c'
    """
    return ", ".join(items[:-1]) + (" and " if len(items) > 1 else "") + "".join(items[-1:])


def written_day(day: date) -> str:
    """A date in words.

    Examples
    --------
    >>> written_day(date(2024, 6, 9))
    '9 June 2024'
    """
    return f"{day.day} {day:%B %Y}"


def signs(text: str) -> str:
    """A text with the sign of a unit in place of its name, where a number stands before it.

    Examples
    --------
    >>> signs("taken as 20 degC; temp [degC]")
    'taken as 20 °C; temp [degC]'
    """
    return re.sub(r"(?<=\d )degC\b", unit_sign("degC"), text)


def folded_lines(text: str, most: int = 100) -> str:
    """A text of fixed pitch whose sentences are folded into lines of at most `most` characters.

    Rows of tables (two blanks between cells) are never folded; the last cells of wide ones stand at the left of their
    column. What is folded goes on below its first word.

    Examples
    --------
    >>> print(folded_lines("[1] one two three", 11))
    [1] one two
        three
    >>> folded_lines("name      1.00     2.00", 11)
    'name      1.00     2.00'
    """
    lines: list[str] = []
    for is_row, group in groupby(text.splitlines(), lambda line: "  " in line.strip()):
        part = list(group)
        if is_row:
            wide = min(map(len, part)) > most  # rows that are padded to one width
            lines += [_LAST_CELL.sub("  ", line.rstrip()) if wide else line for line in part]
            continue
        for line in part:
            number = _NUMBERED.match(line)
            start = " " * len(number[0] if number else "")
            short = len(line) <= most
            lines += [line] if short else textwrap.wrap(line, most, subsequent_indent=start, break_long_words=False)
    return "\n".join(lines) + ("\n" if text.endswith("\n") else "")
