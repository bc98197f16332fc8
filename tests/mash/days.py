"""Brew days drawn with a ruler, for the tests of this room."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from brewlog.logbook.records import Brew, Event, Rest, TraceFault


def brew_of(
    trace: pd.DataFrame | None,
    rests: Sequence[Rest] = (),
    events: Sequence[tuple[str, float]] = (),
    faults: Sequence[TraceFault] = (),
    **fields,
) -> Brew:
    """A brew with this trace; events as (word, elapsed)."""
    recorded = tuple(Event("1", word, elapsed) for word, elapsed in events)
    return Brew("1", rests=tuple(rests), load_trace=lambda: (trace, tuple(faults), recorded), **fields)


PLAN = (
    Rest("1", 1, 63.0, 40.0, 6.0, 100.0, "saccharification"),
    Rest("1", 2, 71.0, 25.0, 6.0, 80.0, "saccharification"),
    Rest("1", 3, 76.0, 10.0, 8.0, 60.0, "mash-out"),
)

TRUTH = {
    "mash_in": 60.0,
    "rest 1": (68.0, 108.0),
    "ramp 2": (108.0, 116.0),
    "rest 2": (116.0, 142.0),
    "ramp 3": (142.0, 149.0),
    "rest 3": (149.0, 160.0),
    "lift": 160.0,
    "boil": 195.0,
    "boil end": 255.0,
}
"""Minutes of the drawn day."""


def full_day(control: str = "mash", step: float = 10.0, noise: float = 0.05, seed: int = 5) -> pd.DataFrame:
    """Water, strike, mash-in, three rests, boil and cooling, with all channels.

    Under mash control the bed stands at the target and the base 1.2 K above it, 5 K while heating; under base control
    the base stands at the target and the bed follows with a time constant of 6 min to 0.8 K below it.
    """
    minutes = np.arange(0.0, 285.0, step / 60)
    target = np.select(
        [minutes < 60, minutes < 108, minutes < 142, minutes < 160], [67.0, 63.0, 71.0, 76.0], default=100.0
    )
    course = np.interp(
        minutes,
        [0, 50, 60, 64, 68, 108, 116, 142, 149, 160, 195, 255, 285],
        [12, 67, 67, 63.2, 63, 63, 71, 71, 76, 76, 99.3, 99.3, 20],
    )
    mashing = (minutes >= 60) & (minutes < 160)
    heating = ((minutes >= 108) & (minutes < 116)) | ((minutes >= 142) & (minutes < 149))
    if control == "mash":
        bed = course
        base = course + np.where(mashing & (minutes >= 64), np.where(heating, 5.0, 1.2), 0.0)
    else:
        base, bed = course, course.copy()
        for k in np.flatnonzero(mashing & (minutes >= 68)):
            bed[k] = bed[k - 1] + (base[k] - 0.8 - bed[k - 1]) * step / 360
    power = np.select([minutes < 50, heating, mashing, minutes < 195, minutes < 255], [100, 80, 12, 100, 70], default=0)
    rng = np.random.default_rng(seed)
    return pd.DataFrame(
        {
            "elapsed": minutes * 60,
            "mash_temp": np.where(minutes < 60, 18.0, bed) + noise * rng.standard_normal(minutes.size),
            "base_temp": base + noise * rng.standard_normal(minutes.size),
            "set_temp": target,
            "power": power.astype(float),
        }
    )
