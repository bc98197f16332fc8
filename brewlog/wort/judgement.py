"""The account of one brew solved and tested, with what does not fit set aside."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import sqrt

import numpy as np
from scipy.special import chdtrc

from brewlog.logbook.records import Rig
from brewlog.wort.books import Books, candidates
from brewlog.wort.reconcile import Reconciled
from brewlog.wort.suspects import ALARM, Suspect, average_fits, deciding_reading, find_suspects, weigh_suspects


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
    sizes = [abs(datum.value) if datum.is_reading else np.inf for datum in books.data]
    suspects = find_suspects(test, books.states, [datum.name for datum in books.data], sizes)
    without = [books.solve([suspect.state]) for suspect in suspects]
    notes = []
    if without and all(np.array_equal(one.determined, final.determined) for one in without):
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
