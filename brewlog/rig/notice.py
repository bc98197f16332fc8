"""What the watch says: one record per thing that a brewer should know, with the cautions that belong to it."""

from __future__ import annotations

from dataclasses import dataclass

MAINS = "Mains power can kill: leave the inside of plugs, cables and heater to an electrician."
HOT = "Wort at mash temperature scalds: switch heater and pump off before you reach in."


@dataclass(frozen=True, slots=True)
class Finding:
    """Something about a rig that its brewer should know."""

    kind: str
    """`heater drift`, `heater outlier`, `blocked bed`, `probe jump`, `probe out of bed` or `clocks differ`."""
    brew: str | None
    """Label; None where the rig as a whole is meant."""
    start: float | None
    """[s]"""
    end: float | None
    """[s]"""
    size: float
    """In per cent for drift and outlier, part of the usual flow, K for jumps, s for clocks."""
    low: float
    high: float
    sentence: str

    def __str__(self) -> str:
        return self.sentence
