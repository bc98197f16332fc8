"""Many simulated brews over months, with known truth and with the same brews under the other control sensor."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from brewlog.simulate.day import SimulatedDay, simulate_day
from brewlog.simulate.plan import Block
from brewlog.simulate.recipes import RECIPES, draw_plan
from brewlog.simulate.rigs import KITCHEN, SHED, SimulatedRig

if TYPE_CHECKING:
    import pandas as pd

RINSE_PER_POINT = 0.06
"""Growth of the rinse that gives about one point of lauter efficiency. [1/%]"""


@dataclass(frozen=True, slots=True)
class HistorySettings:
    """What happens over a simulated history."""

    rigs: Sequence[SimulatedRig] = (KITCHEN, SHED)
    brews: int = 44
    """Of all rigs together; the rigs take turns at random."""
    start: date = date(2023, 3, 4)
    months: float = 18.0
    design: str = "switch"
    """`switch`: control moves from base to mash once on each rig. `random`: pairs of one tight and one loose brew in
    random order. `base` or `mash`: never moved."""
    moves: Sequence[float] = (0.5, 0.6)
    """Where in the log each rig's control moves, 0 to 1. [1]"""
    probe_from: Sequence[float] = (0.0, 0.0)
    """Where in the log each rig gets its bed probe, 0 to 1. [1]"""
    hold_effect: float = 1.35
    """See `BrewPlan.hold_effect`; the default gives about two points for the move from base to mash control."""
    gap_effect: float = 1.0
    """See `BrewPlan.gap_effect`."""
    mill_gap: float = 1.15
    """At the start. [mm]"""
    mill_change: float = 0.0
    """Lasting change of the gap. [mm]"""
    mill_at: float = 0.5
    """Where in the log it happens, 0 to 1. [1]"""
    mill_sd: float = 0.04
    """Of the gap, which is set anew at about every fourth brew. [mm]"""
    learning: float = 0.0
    """Points of lauter efficiency learnt over the log. [%]"""
    hidden: float = 0.0
    """Points of conversion that come with each rig's move of the control and that nobody wrote down. [%]"""
    heater_drift: float = 0.0
    """Relative change of the heaters' power over the log. [1]"""
    blocks: float = 0.0
    """Share of brews in which the bed sets for a while. [1]"""
    process_sd: float = 0.8
    """See `BrewPlan.process_sd`. [%]"""


@dataclass(frozen=True)
class DatedDay:
    """One brew of a history."""

    date: date
    recipe: str
    style: str
    day: SimulatedDay
    seed: np.random.SeedSequence = field(repr=False)
    pair: str | None = None
    changes: str | None = None

    def again(self, **changes: Any) -> SimulatedDay:
        """The same day, with the same luck, under a changed plan.

        Examples
        --------
        >>> history = simulate_history(HistorySettings(brews=1), np.random.default_rng(3))
        >>> first = history.brews[0]
        >>> first.again().truth == first.day.truth
        True
        """
        return simulate_day(self.day.rig, replace(self.day.plan, **changes), fresh(self.seed))


@dataclass(frozen=True)
class SimulatedHistory:
    """A simulated history and its truth."""

    settings: HistorySettings
    brews: tuple[DatedDay, ...]

    @property
    def truth(self) -> pd.DataFrame:
        """One row per brew: the true values of `SimulatedDay.truth` and the settings of the day."""
        import pandas as pd

        rows = [
            {
                "brew": brew.day.plan.brew,
                "date": pd.Timestamp(brew.date),
                "rig": brew.day.rig.label,
                "control": brew.day.plan.heater_follows,
                "grist": brew.day.plan.grist,
                "mill_gap": brew.day.plan.mill_gap,
                "thickness": brew.day.plan.thickness,
                **brew.day.truth,
            }
            for brew in self.brews
        ]
        return pd.DataFrame(rows).set_index("brew")

    def control_effect(self, response: str = "brewhouse") -> pd.DataFrame:
        """What control on the mash gains over control on the base, brew by brew: the counterfactual truth.

        Each brew is simulated under both sensors with the same luck.

        Parameters
        ----------
        response : str
            Efficiency by its name in the truth.

        Returns
        -------
        pandas.DataFrame
            Index brew; columns `base`, `mash`, `gain` [%] and `hold_base`, `hold_mash` [K].
        """
        import pandas as pd

        rows = {}
        for brew in self.brews:
            both = {
                sensor: brew.day.truth
                if brew.day.plan.heater_follows == sensor
                else brew.again(heater_follows=sensor, bed_probe=True).truth
                for sensor in ("base", "mash")
            }
            rows[brew.day.plan.brew] = {
                "base": both["base"][response],
                "mash": both["mash"][response],
                "gain": both["mash"][response] - both["base"][response],
                "hold_base": both["base"]["hold_rms"],
                "hold_mash": both["mash"]["hold_rms"],
            }
        return pd.DataFrame.from_dict(rows, orient="index").rename_axis("brew")


def fresh(seed: np.random.SeedSequence) -> np.random.Generator:
    """Return a generator as if nothing had been spawned from `seed` yet."""
    return np.random.default_rng(np.random.SeedSequence(seed.entropy, spawn_key=seed.spawn_key))


def simulate_history(settings: HistorySettings, rng: np.random.Generator) -> SimulatedHistory:
    """Simulate a history of brews.

    Parameters
    ----------
    settings : HistorySettings
    rng : numpy.random.Generator
        The same generator state gives the same history; histories that differ in effects alone meet the same luck.

    Returns
    -------
    SimulatedHistory

    Raises
    ------
    ValueError
        If `design` is not a known word.

    Examples
    --------
    >>> history = simulate_history(HistorySettings(brews=4), np.random.default_rng(3))
    >>> history.truth["control"].tolist()
    ['base', 'base', 'mash', 'mash']
    """
    if settings.design not in ("switch", "random", "base", "mash"):
        raise ValueError(f"design is {settings.design!r}; expected switch, random, base or mash.")
    draw = rng.spawn(1)[0]
    seeds = np.random.SeedSequence(int(rng.integers(2**63))).spawn(settings.brews)
    rigs = draw.permutation(np.arange(settings.brews) % len(settings.rigs))
    controls, pairs = _controls(settings, rigs, draw)
    gaps = _gaps(settings, draw)
    days = np.sort(draw.integers(0, max(round(settings.months * 30.4), 1), settings.brews))
    brews = []
    for k, seed in enumerate(seeds):
        share = k / max(settings.brews - 1, 1)
        which = int(rigs[k])
        rig = settings.rigs[which]
        rig = replace(rig, heater_power=rig.heater_power * (1 + settings.heater_drift * share))
        recipe = RECIPES[int(draw.integers(len(RECIPES)))]
        block = Block(draw.uniform(15, 50), draw.uniform(12, 35), draw.uniform(0.1, 0.5))
        plan = draw_plan(
            rig,
            recipe,
            f"{k + 1}",
            draw,
            mill_gap=float(gaps[k]),
            heater_follows=controls[k],
            bed_probe=share >= settings.probe_from[which] or controls[k] == "mash",
            hold_effect=settings.hold_effect,
            gap_effect=settings.gap_effect,
            rinse_skill=settings.learning * RINSE_PER_POINT * share,
            unwritten=settings.hidden * (controls[k] == "mash") * (settings.design == "switch"),
            process_sd=settings.process_sd,
            block=block if draw.random() < settings.blocks else None,
        )
        when = settings.start + timedelta(days=int(days[k]))
        brews.append(DatedDay(when, recipe.name, recipe.style, simulate_day(rig, plan, fresh(seed)), seed, pairs[k]))
    return SimulatedHistory(settings, tuple(brews))


def _controls(
    settings: HistorySettings, rigs: np.ndarray, rng: np.random.Generator
) -> tuple[list[str], list[str | None]]:
    """Control sensor and random pair of every brew."""
    count = len(rigs)
    controls, pairs = ["base"] * count, [None] * count  # type: tuple[list[str], list[str | None]]
    if settings.design == "mash":
        return ["mash"] * count, pairs
    if settings.design == "switch":
        return ["mash" if k / max(count - 1, 1) >= settings.moves[rig] else "base" for k, rig in enumerate(rigs)], pairs
    number = 0
    for which in range(len(settings.rigs)) if settings.design == "random" else ():
        brews = np.flatnonzero(rigs == which)
        for first in range(0, len(brews), 2):
            number += 1
            tight_first = rng.random() < 0.5
            for k, tight in zip(brews[first : first + 2], (tight_first, not tight_first), strict=False):
                controls[k] = "mash" if tight else "base"
                pairs[k] = f"{number} {'tight' if tight else 'loose'}"
    return controls, pairs


def _gaps(settings: HistorySettings, rng: np.random.Generator) -> np.ndarray:
    """Gap of the mill at every brew: it stays until somebody touches it. [mm]"""
    gaps = np.empty(settings.brews)
    off = settings.mill_sd * rng.standard_normal()
    for k in range(settings.brews):
        kick = settings.mill_sd * rng.standard_normal()
        if rng.random() < 0.25:
            off = kick
        after = k / max(settings.brews - 1, 1) >= settings.mill_at
        gaps[k] = round(settings.mill_gap + off + (settings.mill_change if after else 0.0), 2)
    return gaps
