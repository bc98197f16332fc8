"""Clocks that began anew amid a day: at the zero of their count, or after twelve hours for want of AM and PM."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from brewlog.logbook.order import FAR, HOUR, Told, usual_step
from brewlog.logbook.records import TraceFault
from brewlog.logbook.telling import Teller

APART = 2 * HOUR
"""Times of no date that go back to so long before the first row began anew. [s]"""
HALF_DAY = 12 * HOUR
YEAR = 300 * 86400.0
"""A clock that goes forward by so much was not set before. [s]"""
ZEROS = (0.0, 315532800.0, 946684800.0)
"""Where clocks begin that nobody set: 1970, 1980 and 2000 (common practice, no source). [s]"""
NEAR_ZERO = 30 * 86400.0
"""How long after that a clock still shows that nobody set it. [s]"""


def is_unset(seconds: float) -> bool:
    """True for the time of a clock that nobody set: soon after the zero of its count.

    Parameters
    ----------
    seconds : float
        Since 1970. [s]
    """
    return any(0 <= seconds - zero < NEAR_ZERO for zero in ZEROS)


def half_days(seconds: np.ndarray, lines: np.ndarray, column: str, tell: Teller) -> np.ndarray:
    """Times of a clock of twelve hours without AM and PM, made to run on where it goes from 12:59 to 1:00.

    Parameters
    ----------
    seconds : numpy.ndarray, shape (n,)
        By the wall clock, finite. [s]
    lines : numpy.ndarray of int
    column : str
    tell : Teller

    Returns
    -------
    numpy.ndarray, shape (n,)
        [s]
    """
    hours = np.floor(seconds / HOUR) % 24
    if len(seconds) < 3 or hours.min() < 1 or hours.max() > 12:
        return seconds
    usual = usual_step(seconds)
    back = np.flatnonzero(np.abs(np.diff(seconds) + HALF_DAY - usual) < max(2.0, 1.5 * usual)) + 1
    if not len(back):
        return seconds
    result = seconds.copy()
    for k in back:
        result[k:] += HALF_DAY
    found = "a clock that goes from 12:59 to 1:00, without AM and PM"
    tell.note(int(lines[back[0]]), column, found, "hours from 0 to 23", "read as 12 h later, the day runs on")
    return result


def join_resets(times: np.ndarray, lines: np.ndarray, dated: bool, day: float | None) -> tuple[np.ndarray, list[Told]]:
    """Times in which the rows after a reset of the clock follow on, or run up to where the clock was set again.

    Parameters
    ----------
    times : numpy.ndarray, shape (n,)
        In the order of the file, finite. [s]
    lines : numpy.ndarray of int
    dated : bool
        True where the times carry their date.
    day : float or None
        Noon of the brew day, since 1970. [s]

    Returns
    -------
    tuple of numpy.ndarray, shape (n,), and list of Told

    Notes
    -----
    Rows belong together while the time neither goes back by `APART` (12 h where it carries a date) nor runs ahead by
    three days. Which of such pieces has the day's true time is told by the date of the brew, else by a piece that is
    not near the zero of a clock, else by the first. How long a clock stood still before a reset nothing can tell.
    """
    steps = np.diff(times)
    least = HALF_DAY if dated else APART
    wrong = (steps < -least) | (steps > YEAR)
    if not wrong.any() or (steps <= 0).all():
        return times, []
    cuts = [0, *(np.flatnonzero((steps < -least) | (steps > (FAR if dated else least))) + 1).tolist(), len(times)]
    pieces = list(pairwise(cuts))
    true = _true_pieces(times, pieces, least, day)
    if all(true):
        return times, []
    usual = usual_step(times)
    result = times.copy()
    found = []
    ends = _ends(times, pieces, true)
    last: float | None = None
    for k, (a, b) in enumerate(pieces):
        if not true[k]:
            length = float(times[b - 1] - times[a])
            begin = None if last is None else last + usual
            latest = None if ends[k] is None else ends[k] - usual - length  # type: ignore[operator]
            place = latest if latest is not None and (begin is None or latest >= begin) else begin
            action = "taken to run up to the next row" if place == latest else "taken to follow on, its pause not known"
            result[a:b] = times[a:b] - times[a] + (times[a] if place is None else place)
            found.append((a, b, action))
        top = float(result[a:b].max())
        last = top if last is None else max(last, top)
    start = float(result.min())
    told = []
    for a, b, action in found:
        fault = TraceFault("clock reset", None, float(result[a]) - start, float(result[b - 1]) - start, b - a, action)
        told.append(Told(fault, int(lines[a]), False))
    return result, told


def _true_pieces(times: np.ndarray, pieces: list[tuple[int, int]], least: float, day: float | None) -> list[bool]:
    """Which pieces have the day's true time."""
    begins = [float(times[a]) for a, _ in pieces]
    likely = [k for k, begin in enumerate(begins) if not is_unset(begin)]
    near = [k for k, begin in enumerate(begins) if day is not None and abs(begin - day) < FAR]
    first = (near or likely or [0])[0]
    earliest = begins[first]
    right = []
    for k, (a, b) in enumerate(pieces):
        lies = abs(begins[k] - begins[first]) <= FAR and (k <= first or times[a:b].max() >= earliest - least)
        right.append(bool(lies))
    return right


def _ends(times: np.ndarray, pieces: list[tuple[int, int]], true: list[bool]) -> list[float | None]:
    """For each piece the first time of a true piece right behind it; None where there is none."""
    behind = [float(times[a]) if right else None for (a, _), right in zip(pieces, true, strict=True)]
    return [*behind[1:], None]
