"""`plan_experiment`: how many more brews, in which random order, and what would save some of them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from brewlog.findings import sentences
from brewlog.findings.power import MOST_PAIRS, pairs_chance, pairs_for_chance
from brewlog.findings.relation import Relation
from brewlog.findings.result import Result
from brewlog.findings.sentences import points
from brewlog.plain import plain

EARLY_LOOK = 0.001
"""Two-sided probability below which an effect may be claimed before the end."""
SCATTER_DOUBT = 0.3
"""The scatter of a few dozen brews is known within about this share."""
USUAL_SCATTER = 2.5
"""Scatter of one brew where no fit tells it, common practice, no source. [points]"""


@dataclass(frozen=True)
class Experiment(Result):
    """A plan fixed before the first brew of it."""

    response: str
    effect: float
    """Difference between a tight and a loose brew that is to be seen. [points]"""
    chance: float
    """Chance of seeing it with `brews` brews."""
    brews: int | None
    """Number of brews, two per pair; None where more than 200 would be needed."""
    scatter: float
    """Standard deviation of one brew against its pair. [points]"""
    order: pd.DataFrame
    """One row per brew: number, rig, pair, hold (`tight` or `loose`), and `pair_cell` to copy into brews.csv."""
    power: pd.DataFrame
    """Chance for other numbers of brews, and with the scatter 30 % smaller and larger."""
    savings: pd.DataFrame
    """Brews needed if one thing more were measured."""
    seed: int | None
    """Seed of the order; None where a generator was given."""

    @property
    def sentence(self) -> str:
        """The plan in plain words, with the rule for early looks."""
        values = {"effect": f"{self.effect:g}", "scatter": points(self.scatter)}
        if self.brews is None:
            chance = f"{100 * self.chance:.0f}"
            return sentences.PLAN_TOO_MANY.format(brews=2 * MOST_PAIRS, chance=chance, **values)
        wanted = self.power.attrs["wanted"]
        bounds = []
        for factor in (1 - SCATTER_DOUBT, 1 + SCATTER_DOUBT):
            pairs = pairs_for_chance(self.effect, factor * self.scatter, wanted)
            bounds.append(f"over {2 * MOST_PAIRS}" if pairs is None else str(2 * pairs))
        plan = sentences.PLAN.format(
            brews=self.brews,
            pairs=self.brews // 2,
            chance=f"{100 * self.chance:.0f}",
            brews_low=bounds[0],
            brews_high=bounds[1],
            **values,
        )
        return f"{plan} {sentences.LOOKS.format(brews=self.brews)}"

    def may_claim(self, p: float, brews_done: int) -> bool:
        """Whether an effect may be claimed now: at the end below 0.05, before it only below 0.001.

        Parameters
        ----------
        p : float
            Two-sided probability of the paired comparison so far.
        brews_done : int
            Brews of the plan that are done.
        """
        if self.brews is None:
            return False
        return bool(p < (0.05 if brews_done >= self.brews else EARLY_LOOK))

    def save(self, path: str | Path) -> Path:
        """Write the plan as a CSV file, so that number and order stand before the first brew.

        Raises
        ------
        FileExistsError
            If the file exists: a plan is fixed once.
        """
        target = Path(path)
        text = self.order.to_csv(index=False)
        with target.open("x", encoding="utf-8", newline="") as file:
            file.write(text)
        return target

    def summary(self) -> str:
        """The sentence, what would save brews, and the order."""
        parts = [self.sentence, self.savings.to_string(), self.order.to_string(index=False)]
        return "\n\n".join(parts)

    def to_dict(self) -> dict[str, Any]:
        """Return the plan as plain Python values, ready for JSON; missing is None. [points]"""
        names = ("response", "effect", "chance", "brews", "scatter", "sentence", "power", "savings", "seed")
        return {name: plain(getattr(self, name)) for name in names} | {"order": self.order.to_dict("records")}


def plan_experiment(
    relation: Relation,
    effect: float,
    chance: float = 0.8,
    rigs: list[str] | None = None,
    rng: np.random.Generator | int = 1,
) -> Experiment:
    """Plan random pairs of a tight and a loose brew that would show an effect.

    Parameters
    ----------
    relation : Relation
        From `relate`: it gives the scatter from brew to brew.
    effect : float
        Difference between a tight and a loose brew to be seen, above 0. [points]
    chance : float
        Wanted chance of seeing it, between 0.05 and 1. [1]
    rigs : list of str, optional
        Rigs to brew on, in turn; those of the relation where not given. Both brews of a pair stay on one rig.
    rng : numpy.random.Generator or int
        Generator of the order, or its seed.

    Returns
    -------
    Experiment

    Raises
    ------
    ValueError
        If `effect` or `chance` is out of range.

    Notes
    -----
    Inside a pair the grain bill, mill gap and rig stay the same, so that only scatter, measuring error and a little of
    the slow wander are left; the difference of a pair scatters by sqrt(2) times `scatter`. The power is that of the
    two-sided paired t test (`statsmodels.stats.power.TTestPower` gives the same).

    Examples
    --------
    >>> import pandas as pd
    >>> from brewlog.findings import relate
    >>> few = relate(pd.DataFrame({"brewhouse": [70.0, 73.0], "hold_rms": [1.5, 0.4]}))
    >>> plan_experiment(few, 3.0).order.head(2)["pair_cell"].tolist()
    ['1 loose', '1 tight']
    """
    if not np.isfinite(effect) or effect <= 0:
        raise ValueError(f"effect is {effect!r}; expected points of efficiency above 0, for example 2.")
    if not 0.05 < chance < 1.0:
        raise ValueError(f"chance is {chance!r}; expected a share between 0.05 and 1, for example 0.8.")
    seed = rng if isinstance(rng, int | np.integer) else None
    generator = np.random.default_rng(rng)
    scatter = USUAL_SCATTER if relation.fit is None else relation.fit.pair_scatter
    pairs = pairs_for_chance(effect, scatter, chance)
    names = list(rigs if rigs is not None else (relation.rows.rigs or ("",)))
    return Experiment(
        response=relation.response,
        effect=float(effect),
        chance=pairs_chance(pairs or MOST_PAIRS, effect, scatter),
        brews=None if pairs is None else 2 * pairs,
        scatter=scatter,
        order=random_order(pairs or 0, names, generator),
        power=_power(effect, scatter, chance),
        savings=_savings(relation, effect, chance, scatter),
        seed=None if seed is None else int(seed),
    )


def random_order(pairs: int, rigs: list[str], rng: np.random.Generator) -> pd.DataFrame:
    """Order of the brews: pairs one after the other, rigs in turn, tight or loose first by chance."""
    rows: list[tuple[int, str, int, str, str]] = []
    for pair in range(1, pairs + 1):
        first_tight = bool(rng.integers(2))
        for tight in (first_tight, not first_tight):
            hold = "tight" if tight else "loose"
            rows.append((len(rows) + 1, rigs[(pair - 1) % len(rigs)], pair, hold, f"{pair} {hold}"))
    return pd.DataFrame(rows, columns=["number", "rig", "pair", "hold", "pair_cell"])


def _power(effect: float, scatter: float, wanted: float) -> pd.DataFrame:
    brews = [8, 12, 16, 24, 32, 48, 64]
    columns = {"smaller": 1 - SCATTER_DOUBT, "found": 1.0, "larger": 1 + SCATTER_DOUBT}
    frame = pd.DataFrame(
        {
            f"scatter as {name}" if name == "found" else f"scatter 30 % {name}": [
                pairs_chance(n // 2, effect, factor * scatter) for n in brews
            ]
            for name, factor in columns.items()
        },
        index=pd.Index(brews, name="brews"),
    )
    frame.attrs["wanted"] = wanted
    return frame


def _savings(relation: Relation, effect: float, chance: float, scatter: float) -> pd.DataFrame:
    """Brews needed as measured now, and if one thing more were measured."""
    u2 = float(np.mean(relation.rows.response_sd**2)) if relation.rows.n else 0.0
    cases = {
        "as measured now": scatter,
        "efficiency read twice as well (a better volume mark, or repeated readings)": np.sqrt(scatter**2 - 0.75 * u2),
        "efficiency read without error (the most that measuring can save)": np.sqrt(scatter**2 - u2),
    }
    first_wort = relation.measured_sd.get("conversion")
    if first_wort is not None and relation.response in ("brewhouse", "mash"):
        name = "first-wort gravity on every brew, conversion compared"
        cases[name] = np.sqrt(scatter**2 - u2 + first_wort**2)
    rows = {}
    for name, sd in cases.items():
        pairs = pairs_for_chance(effect, float(sd), chance)
        rows[name] = (float(sd), np.nan if pairs is None else 2.0 * pairs)
    frame = pd.DataFrame.from_dict(rows, orient="index", columns=["scatter", "brews"])
    return frame.assign(saved=frame["brews"].iloc[0] - frame["brews"])
