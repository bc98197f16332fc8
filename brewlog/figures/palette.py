"""Colours of the figures, our own choice: told apart with any colour vision; labels and markers say it again."""

from __future__ import annotations

import numpy as np

PAPER = "#ffffff"
"""Ground of every figure."""
INK = "#1d2730"
"""Text, targets, estimates."""
SOFT = "#56616b"
"""Second text, ticks, found events."""
GRID = "#e4e6e8"
"""Grid lines; decoration only."""
LEFT_OUT = "#868e96"
"""What was not used."""
BAND = "#d7e3e4"
"""Tolerance and intervals, behind lines."""
BED = "#0a5a64"
"""The bed, and control by the bed: dark."""
BASE = "#bd5a26"
"""The base, and control by the base: bright."""
RECONSTRUCTED = "#7b3f9d"
"""What was reconstructed or modelled."""
POWER = "#8b7a4b"
"""Heater power."""
GAIN = BED
LOSS = BASE

LINES = {"bed": BED, "base": BASE, "reconstructed": RECONSTRUCTED, "power": POWER, "left out": LEFT_OUT, "ink": INK}
"""Colours that carry meaning by themselves."""

CONTROL = {"mash": (BED, "o"), "base": (BASE, "s"), "": (LEFT_OUT, "D")}
"""Colour and marker by controlling sensor; the empty word stands for not known."""

CONTROL_WORDS = {"mash": "controlled in the mash", "base": "controlled at the base", "": "control not known"}

_DEFICIENCIES = {
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def _linear(colour: str) -> np.ndarray:
    part = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255
    return np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)


def luminance(colour: str) -> float:
    """Relative luminance of a colour, 0 black to 1 white.

    Parameters
    ----------
    colour : str
        `#rrggbb`.

    References
    ----------
    .. [1] W3C, "Web Content Accessibility Guidelines (WCAG) 2.2", 2023, definition of relative luminance.

    Examples
    --------
    >>> luminance("#ffffff"), luminance("#000000")
    (1.0, 0.0)
    """
    return round(float(_linear(colour) @ [0.2126, 0.7152, 0.0722]), 12)


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21.

    Text needs 4.5, lines and marks need 3 against what they stand on [1]_.

    References
    ----------
    .. [1] W3C, "Web Content Accessibility Guidelines (WCAG) 2.2", 2023, criteria 1.4.3 and 1.4.11.

    Examples
    --------
    >>> round(contrast("#000000", "#ffffff"))
    21
    """
    dark, bright = sorted((luminance(one), luminance(other)))
    return (bright + 0.05) / (dark + 0.05)


def difference(one: str, other: str, vision: str = "usual") -> float:
    """How different two colours look, as distance in CIELAB; 10 is plain to see side by side.

    Parameters
    ----------
    one, other : str
        `#rrggbb`.
    vision : str
        `usual`, `deuteranopia`, `protanopia`, `tritanopia` or `grey` (a copy without colour).

    Raises
    ------
    ValueError
        If `vision` is another word.

    Notes
    -----
    Euclidean distance in CIELAB under D65, after the simulation of dichromatic vision of [1]_.

    References
    ----------
    .. [1] Machado, Oliveira, Fernandes, "A physiologically-based model for simulation of color vision deficiency",
       IEEE Transactions on Visualization and Computer Graphics 15(6), 2009, tables for severity 1.

    Examples
    --------
    >>> difference("#000000", "#ffffff").__round__(3)
    100.0
    """
    if vision not in ("usual", "grey", *_DEFICIENCIES):
        raise ValueError(f"vision is {vision!r}; expected usual, grey, {', '.join(_DEFICIENCIES)}.")
    return float(np.linalg.norm(_lab(_seen(one, vision)) - _lab(_seen(other, vision))))


def _seen(colour: str, vision: str) -> np.ndarray:
    linear = _linear(colour)
    if vision == "grey":
        return np.full(3, luminance(colour))
    if vision == "usual":
        return linear
    return np.clip(np.array(_DEFICIENCIES[vision]) @ linear, 0.0, 1.0)


def _lab(linear: np.ndarray) -> np.ndarray:
    to_xyz = np.array(
        [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
    )
    relative = to_xyz @ linear / to_xyz.sum(axis=1)
    f = np.where(relative > (6 / 29) ** 3, np.cbrt(relative), relative / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])
