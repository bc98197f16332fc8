"""One number that enters the account, and the sources of its error."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

import numpy as np

from brewlog.logbook.records import Reading
from brewlog.sucrose import sg_from_extract_float
from brewlog.wort import instruments as tools

STAGES = ("first wort", "pre-boil", "post-boil", "fermenter")
KETTLE = STAGES[:3]
"""Stages at which the wort stands in the kettle."""
OFFSET = " offset"
"""End of the name of a source of error that all readings of one instrument share."""


@dataclass(frozen=True, slots=True)
class Datum:
    """One number that enters the account, brought to 20 degC, with the sources of its error."""

    name: str
    """In words: `pre-boil volume`."""
    stage: str
    quantity: str
    """`extract` (mass fraction), `volume` [L at 20 degC], or a quantity of the account."""
    value: float
    parts: Mapping[str, float]
    """Change of `value` for one standard deviation of each source; sources of the same name are the same error."""
    unit: str = "L"
    """Unit in which a brewer reads it: `SG` for extracts."""
    per_value: float = 1.0
    """Change of the reading, in `unit`, per change of `value`."""
    is_reading: bool = True
    """False: known from elsewhere, such as a rig's constant."""

    @property
    def sd(self) -> float:
        """One standard deviation of `value`."""
        return sqrt(sum(part * part for part in self.parts.values()))

    @property
    def shown(self) -> float:
        """The value in `unit`."""
        return float(sg_from_extract_float(np.array(self.value))) if self.unit == "SG" else self.value

    @property
    def offsets(self) -> dict[str, float]:
        """Those of its errors that other readings of the same instrument share."""
        return {source: part for source, part in self.parts.items() if source.endswith(OFFSET)}


def split_sd(sd: float) -> tuple[float, float]:
    """Shared offset and own scatter of a stated standard deviation."""
    return sd * sqrt(tools.OFFSET_SHARE), sd * sqrt(1.0 - tools.OFFSET_SHARE)


def owner(reading: Reading, tool: tools.Instrument) -> str:
    """The instrument whose offset a reading shares: a kettle's marks are not those of a fermenter."""
    if reading.quantity != "gravity" and tool.kind in ("marks", "dipstick"):
        return f"{'kettle' if reading.stage in KETTLE else 'fermenter'} {tool.kind}"
    words = (reading.instrument or "").strip().casefold()
    return words or tool.kind
