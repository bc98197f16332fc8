"""The account of one brew solved and tested, with what does not fit set aside."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import sqrt

import numpy as np
from scipy.special import chdtrc

from brewlog.logbook.records import Rig
from brewlog.wort.books import Books, candidates
from brewlog.wort.reconcile import Reconciled
from brewlog.wort.suspects import (
    ALARM,
    Suspect,
    average_fits,
    closest,
    deciding_reading,
    find_suspects,
    may_slip,
    weigh_suspects,
)

GROSS = 200.0
"""Misfit beyond which the balances are not straight enough for the linear test, such as a decimal slip. [chi-square]"""


@dataclass(frozen=True)
class Judgement:
    """What the readings say together, and how far they are to be believed."""

    test: Reconciled
    """Solved as if no error were shared: for the test of the whole."""
    final: Reconciled
    """Solved with all that is known of the errors, suspects set aside."""
    suspects: list[Suspect]
    """What explains a misfit, the best first; empty where all fits."""
    decider: str | None = None
    """Reading not yet taken that would tell the suspects apart."""
    widen: float = 1.0
    """Factor on every standard deviation, where the account does not close even without the first suspect."""
    notes: list[str] = field(default_factory=list)


def judge(books: Books, rig: Rig) -> Judgement:
    """Solve the account; where it does not close, find what explains that and do without it."""
    final, test = books.solve(), books.test()
    if not test.df or test.p_value >= ALARM:
        return Judgement(test, final, [])
    suspects = _suspects(books, test)
    without = [books.solve([suspect.state]) for suspect in suspects]
    notes = []
    if without and all(_as_complete(one, final) for one in without):
        final = average_fits(without, weigh_suspects(suspects))
        names = " or ".join(suspect.name for suspect in suspects)
        notes.append(f"{names}: does not fit the rest of the account, the figures do without it.")
    decider = deciding_reading(without, candidates(books, rig)) if len(suspects) > 1 else None
    widen = 1.0
    left, df = test.chi_square - (suspects[0].gain if suspects else 0.0), test.df - bool(suspects)
    if df and chdtrc(df, left) < ALARM:
        widen = sqrt(left / df)
        notes.append(f"the account does not close even so; every standard deviation is widened by {widen:.1f}.")
    return Judgement(test, final, suspects, decider, widen, notes)


def _as_complete(fit: Reconciled, whole: Reconciled) -> bool:
    """Whether the account says as much without a reading; always, where with it there is no account at all."""
    return fit.converged and (not whole.converged or np.array_equal(fit.determined, whole.determined))


def _suspects(books: Books, test: Reconciled) -> list[Suspect]:
    """Data that explain a misfit; one too large for the linear test is looked for by setting each aside in turn."""
    sizes = [abs(datum.value) if datum.is_reading else np.inf for datum in books.data]
    if test.converged and test.chi_square < GROSS:
        return find_suspects(test, books.states, [datum.name for datum in books.data], sizes)
    rows = []
    for datum, state, size in zip(books.data, books.states, sizes, strict=True):
        fit = books.test([state])
        slip = float(books.readings[state] - fit.state[state])
        if fit.converged and fit.determined[state] and fit.df < test.df and may_slip(slip, size):
            sd = float(np.hypot(np.linalg.norm(fit.errors[state]), np.linalg.norm(books.apart[state])))
            rows.append(Suspect(datum.name, state, slip, sd, test.chi_square - fit.chi_square))
    return closest(rows)
