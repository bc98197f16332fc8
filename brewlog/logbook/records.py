"""Records of a logbook: frozen, in canonical units, missing values as None.

Field names are the column names of the logbook's files; units are those of ``names.csv``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date as Date
from datetime import datetime
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd


def _nothing() -> Mapping[str, str]:
    return MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Rig:
    """One brewing rig: a row of rigs.csv."""

    label: str
    """The brewer's own name of the rig."""
    heater_power: float | None = None
    """Nameplate power. [W]"""
    kettle_volume: float | None = None
    """[L]"""
    dead_volume: float | None = None
    """Left behind under the tap. [L]"""
    sensor_sd: float | None = None
    """[K]"""
    volume_sd: float | None = None
    """[L]"""
    gravity_sd: float | None = None
    """In SG. [1]"""
    hydrometer_temp: float = 20.0
    """Calibration temperature of the hydrometer. [degC]"""
    refractometer_factor: float = 1.04
    """Wort correction factor: refractometer reading over extract. [1]"""
    vessel_mass: float | None = None
    """[kg]"""
    vessel_material: str | None = None
    """`stainless steel`, `aluminium` or `copper`."""
    notes: str | None = None
    own: Mapping[str, str] = field(default_factory=_nothing)
    """Columns of the brewer's own, as written."""


@dataclass(frozen=True, slots=True)
class Malt:
    """One malt of one brew: a row of grist.csv."""

    brew: str
    malt: str
    """Generic type, as the brewer wrote it."""
    mass: float | None = None
    """As weighed. [kg]"""
    malt_extract: float | None = None
    """Laboratory extract, fine grind, dry basis, as mass fraction; None where no analysis is recorded. [1]"""
    fine_coarse: float | None = None
    """Fine-coarse difference as mass fraction. [1]"""
    moisture: float | None = None
    """Mass fraction. [1]"""
    own: Mapping[str, str] = field(default_factory=_nothing)
    """Columns of the brewer's own, as written."""


@dataclass(frozen=True, slots=True)
class Addition:
    """Something that joins later: a row of additions.csv."""

    brew: str
    what: str
    """`sugar`, `extract`, `water`, `malt` or `salt`."""
    mass: float | None = None
    """[kg]"""
    volume: float | None = None
    """At `temp`, or at 20 degC where `temp` is None. [L]"""
    temp: float | None = None
    """[degC]"""
    stage: str | None = None
    """`mash`, `boil` or `fermenter`."""
    extract: float | None = None
    """Extract as is, mass fraction. [1]"""
    event: str | None = None
    time: str | None = None
    own: Mapping[str, str] = field(default_factory=_nothing)
    """Columns of the brewer's own, as written."""


@dataclass(frozen=True, slots=True)
class Rest:
    """One planned rest: a row of rests.csv."""

    brew: str
    rest: int
    """1, 2, 3 ... in the order of the day."""
    temp: float
    """Rest temperature. [degC]"""
    time: float | None = None
    """Planned length. [min]"""
    headroom: float | None = None
    """How far above the rest temperature the base may run while heating. [K]"""
    power: float | None = None
    """Heater power limit, of nameplate. [%]"""
    purpose: str | None = None
    """`mash-in`, `saccharification`, `mash-out`, or the brewer's own word."""
    own: Mapping[str, str] = field(default_factory=_nothing)
    """Columns of the brewer's own, as written."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One measured value, as the brewer wrote it."""

    brew: str
    stage: str
    """`first wort`, `pre-boil`, `post-boil`, `fermenter` or `packaged`."""
    quantity: str
    """`gravity`, `volume`, `mass`, `pH` or `temperature`."""
    value: float
    """In `unit`; a reading that was not taken has no record."""
    unit: str
    """gravity: `SG`, `degP`, `Brix` or `kg/m^3`; volume: `L`; mass: `kg`; temperature: `degC`; pH: `1`."""
    temp: float | None = None
    """Of the wort when it was measured; None = not recorded. [degC]"""
    instrument: str | None = None
    sd: float | None = None
    """One standard deviation, in `unit`; None where nobody stated it."""
    time: str | None = None
    line: int | None = None
    """Line in readings.csv, for messages."""
    own: Mapping[str, str] = field(default_factory=_nothing)
    """Columns of the brewer's own, as written."""


@dataclass(frozen=True, slots=True)
class Event:
    """One moment of the day: a row of events.csv."""

    brew: str
    event: str
    elapsed: float
    """Since the first row of the brew's trace (clock times are converted by the reader). [s]"""
    own: Mapping[str, str] = field(default_factory=_nothing)
    """Columns of the brewer's own, as written."""


@dataclass(frozen=True, slots=True)
class TraceFault:
    """A stretch of a trace in which a channel was not what it seems, and what was done about it."""

    kind: str
    """`gap`, `dropout`, `stuck`, `error code`, `spike`, `out of range`, `duplicate time`, `restart`, `clock reset`,
    `out of order`."""
    channel: str | None
    """Canonical channel, None where all channels are meant."""
    start: float
    """[s]"""
    end: float
    """[s]"""
    rows: int
    """Rows of the file concerned."""
    action: str
    """What was done: for example `left out`."""

    def __str__(self) -> str:
        where = self.channel or "trace"
        span = f"{self.start / 60:.1f} to {self.end / 60:.1f} min"
        return f"{where}: {self.kind}, {span}, {self.rows} rows, {self.action}"


@dataclass(frozen=True)
class Brew:
    """One brew day with everything that was recorded of it."""

    label: str
    """The brewer's own label, unique in the logbook."""
    date: Date | None = None
    rig: str | None = None
    """Label of the rig."""
    recipe: str | None = None
    style: str | None = None
    notes: str | None = None
    heater_follows: str | None = None
    """The sensor the controller acted on during the mash: `base` or `mash`."""
    mash_water: float | None = None
    """Water in the kettle at mash-in, at 20 degC. [L]"""
    sparge_water: float | None = None
    """Rinse water, at 20 degC. [L]"""
    sparge_temp: float | None = None
    """[degC]"""
    mill_gap: float | None = None
    """[mm]"""
    grain_temp: float | None = None
    """[degC]"""
    ambient_temp: float | None = None
    """[degC]"""
    boil_time: float | None = None
    """Planned. [min]"""
    cooling: str | None = None
    """`chilled` or `hot-filled`."""
    altitude: float | None = None
    """[m]"""
    planned_gravity: float | None = None
    """Pre-boil, SG. [1]"""
    planned_volume: float | None = None
    """Pre-boil, at 20 degC. [L]"""
    changes: str | None = None
    pair: str | None = None
    """Random pair, as written: `3 tight`."""
    malts: tuple[Malt, ...] = ()
    additions: tuple[Addition, ...] = ()
    rests: tuple[Rest, ...] = ()
    readings: tuple[Reading, ...] = ()
    own: Mapping[str, str] = field(default_factory=_nothing)
    """Columns of the brewer's own, as written."""
    load_trace: Callable[[], tuple[pd.DataFrame | None, tuple[TraceFault, ...], tuple[Event, ...]]] | None = field(
        default=None, repr=False, compare=False
    )
    """Reads the trace; set by the reader, which remembers the result."""

    @property
    def trace(self) -> pd.DataFrame | None:
        """The day's trace, a copy; None where none was logged.

        Rows in order of time, as logged (gaps are not filled). Columns: `elapsed` [s] from the first row, `time`
        where a clock was logged, then the channels that were logged, in canonical units; NaN where a value is
        missing or was left out (see `trace_faults`).
        """
        if self.load_trace is None:
            return None
        frame = self.load_trace()[0]
        return None if frame is None else frame.copy()

    @property
    def trace_own(self) -> pd.DataFrame | None:
        """Columns of the trace that are no channels, as logged, beside `elapsed` [s]; None where there are none.

        The files are read again each time it is asked for.
        """
        load = getattr(self.load_trace, "own", None)
        return None if load is None else load()

    @property
    def trace_faults(self) -> tuple[TraceFault, ...]:
        """What the reader found wrong in the trace."""
        return () if self.load_trace is None else self.load_trace()[1]

    @property
    def events(self) -> tuple[Event, ...]:
        """Recorded moments of the day, in order."""
        return () if self.load_trace is None else self.load_trace()[2]


@dataclass(frozen=True)
class WaterTest:
    """A calibration run with water alone: a row of water_tests.csv."""

    label: str
    rig: str | None = None
    date: Date | datetime | None = None
    water: float | None = None
    """As read, at `water_temp`. [L]"""
    water_temp: float | None = None
    """At which the volume was read; 20 degC where not recorded. [degC]"""
    kind: str | None = None
    """`heat-up`, `cool-down` or `boil`."""
    water_after: float | None = None
    """What a boil test left, at `water_temp`. [L]"""
    own: Mapping[str, str] = field(default_factory=_nothing)
    """Columns of the brewer's own, as written."""
    load_trace: Callable[[], tuple[pd.DataFrame | None, tuple[TraceFault, ...], tuple[Event, ...]]] | None = field(
        default=None, repr=False, compare=False
    )

    trace = Brew.trace
    trace_own = Brew.trace_own
    trace_faults = Brew.trace_faults
