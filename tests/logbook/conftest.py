"""One small good logbook, and folders made from it with one thing changed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

_ROWS = "".join(f"{10 * i},{65 + 0.001 * i:.2f},{66 + 0.002 * i:.2f}\n" for i in range(200))
_TRACE = "elapsed [s],mash_temp [degC],base_temp [degC]\n" + _ROWS
GOOD = {
    "brews.csv": (
        "brew,date,rig,mash_water [L],mill_gap [mm],planned_gravity,sparge_temp\n"
        "b1,2024-05-01,attic,20,1.1,1.048,75\n"
        "b2,2024-05-08,attic,21,1.0,1.050,76\n"
    ),
    "rigs.csv": "rig,heater_power [W]\nattic,2500\n",
    "grist.csv": ("brew,malt,mass [kg],extract [%],moisture [%]\nb1,pale malt,5,81,4\nb2,pale malt,5.2,81,4\n"),
    "readings.csv": (
        "brew,stage,quantity,value,unit,temp [degC],instrument,sd\n"
        "b1,pre-boil,gravity,1.044,SG,20,hydrometer,\n"
        "b1,pre-boil,volume,28,L,95,sight glass,\n"
        "b2,pre-boil,gravity,1.046,SG,20,hydrometer,\n"
    ),
    "rests.csv": "brew,rest,temp [degC],time [min]\nb1,1,65,60\nb2,1,66,60\n",
    "traces/b1.csv": _TRACE,
    "traces/b2.csv": _TRACE.replace(",66.", ",66.5"),
}
"""Files of the good logbook."""

MakeBook = Callable[..., Path]


@pytest.fixture
def make_book(tmp_path: Path) -> MakeBook:
    """Function that writes the good logbook with some files changed (None leaves one out)."""

    def make(changes: Mapping[str, str | bytes | None] | None = None) -> Path:
        folder = tmp_path / "book"
        for name, content in {**GOOD, **(changes or {})}.items():
            if content is None:
                continue
            file = folder / name
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        return folder

    return make
