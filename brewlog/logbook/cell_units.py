"""Units that cells themselves name or show: `5.1 kg`, a mash at 150 degrees."""

from __future__ import annotations

import re
from collections.abc import Sequence

from brewlog.logbook import values

_WITH_UNIT = re.compile(r"\s*([+-]?[\d.,'\u00a0\u202f]*\d[.,]?(?: \d{3})*)\s*([^\d\s.,][^\d]{0,20}\d?)\s*")


def number_and_unit(cell: str, comma: bool | None) -> tuple[list[float], str] | None:
    """Number and unit of a cell such as `5.1 kg`; None if it is no such cell.

    Examples
    --------
    >>> number_and_unit("5.1 kg", None), number_and_unit("81,2%", None), number_and_unit("1.O44", None)
    (([5.1], 'kg'), ([81.2], '%'), None)
    """
    found = _WITH_UNIT.fullmatch(cell) if len(cell) <= 60 else None
    numbers = values.parse_number(found[1], comma) if found else []
    return (numbers, found[2].strip()) if found and numbers else None


def not_celsius(numbers: Sequence[float], hot: float, share: float = 0.25) -> str | None:
    """Unit that temperatures are plainly in where they cannot be degC: `degF` or `K`; None where they can.

    More than a share of them lies above `hot`, and none below freezing: one wild value among others is no other unit.

    Parameters
    ----------
    numbers : sequence of float
    hot : float
        Hottest temperature that can be. [degC]
    share : float
        [1]

    Examples
    --------
    >>> not_celsius([68, 149, 152, 168], 105.0), not_celsius([66, 72, 660], 105.0), not_celsius([339.1, 345.2], 105.0)
    ('degF', None, 'K')
    """
    if not numbers or sum(number > hot for number in numbers) <= share * len(numbers) or min(numbers) < 32.0:
        return None
    if min(numbers) > 260.0 and max(numbers) < 390.0:
        return "K"
    return "degF" if max(numbers) <= 260.0 else None
