"""How many decimals a number is printed with: the one place where figures and pages choose them."""

from __future__ import annotations

import math

MOST = 6
"""No quantity of a brew day is known to more decimals."""
USUAL = 2
"""Decimals where nothing tells how well a number is known."""
_NO_WIDTH = 1e-6
"""Part of the value below which a spread is rounding of the computer, not of the readings. [1]"""


def decimals(sd: float | None, value: float | None = None, figures: int | None = None) -> int:
    """Decimals worth printing beside a standard deviation `sd`: one digit of it, two where it begins with 1 or 2.

    A spread that is missing, infinite, or of no width tells nothing: the number then gets three figures of `value`,
    and two decimals where that is not handed in.

    Parameters
    ----------
    sd : float or None
        In the unit of the number.
    value : float, optional
        The number itself.
    figures : int, optional
        So many digits of `sd` in place of one or two.

    Examples
    --------
    >>> decimals(0.34), decimals(0.012), decimals(25.0)
    (1, 3, 0)
    >>> decimals(1e-17, 0.2), decimals(0.0, 4388.4), decimals(None)
    (3, 0, 2)
    """
    known = value is not None and math.isfinite(value) and value != 0
    least = max(10.0**-MOST / 2, _NO_WIDTH * abs(value) if known and value is not None else 0.0)
    if sd is None or not math.isfinite(sd) or sd < least:
        return min(max(0, 2 - math.floor(math.log10(abs(value)))), MOST) if known and value is not None else USUAL
    exponent = math.floor(math.log10(sd))
    if figures is None:
        figures = 2 if sd / 10**exponent < 2.95 else 1
    return min(max(0, figures - 1 - exponent), MOST)
