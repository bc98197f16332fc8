"""What a simulated brewer sets out to do on one day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from brewlog.logbook.records import Malt


@dataclass(frozen=True, slots=True)
class PlannedRest:
    """One rest of the mash."""

    temp: float
    """[degC]"""
    time: float
    """[min]"""
    purpose: str = "saccharification"
    headroom: float = 6.0
    """How far above the rest temperature the base may run under mash control. [K]"""
    power: float = 100.0
    """Limit of the heater's power, of nameplate. [%]"""


@dataclass(frozen=True, slots=True)
class PlannedMalt:
    """One malt: what the brewer weighs and the truth about it."""

    malt: str
    mass: float
    """[kg]"""
    extract: float = 0.81
    """Laboratory extract, fine grind, dry basis, as the sheet says. [1]"""
    moisture: float = 0.042
    """As the sheet says. [1]"""
    fine_coarse: float | None = 0.015
    """[1]"""

    def record(self, brew: str) -> Malt:
        """What the brewer writes down of it."""
        return Malt(brew, self.malt, self.mass, self.extract, self.fine_coarse, self.moisture)


@dataclass(frozen=True, slots=True)
class Block:
    """A stretch of the mash in which the bed has set and passes less."""

    start: float
    """Since mash-in. [min]"""
    length: float
    """[min]"""
    flow: float
    """Part of the flow that is left, 0 to 1. [1]"""


DEFAULT_RESTS = (
    PlannedRest(64.0, 40.0),
    PlannedRest(71.0, 25.0, power=80.0),
    PlannedRest(77.0, 10.0, "mash-out", headroom=8.0, power=80.0),
)


@dataclass(frozen=True, slots=True)
class BrewPlan:
    """One planned brew day."""

    brew: str = "1"
    malts: Sequence[PlannedMalt] = (PlannedMalt("pale malt", 5.0), PlannedMalt("caramel malt", 0.4, 0.77, 0.05))
    rests: Sequence[PlannedRest] = DEFAULT_RESTS
    mash_water: float = 21.0
    """At 20 degC. [L]"""
    sparge_water: float = 9.0
    """At 20 degC. [L]"""
    sparge_temp: float = 75.0
    """[degC]"""
    mill_gap: float = 1.1
    """[mm]"""
    grain_temp: float = 18.0
    """[degC]"""
    room_temp: float = 19.0
    """Mean of the room over the day. [degC]"""
    tap_temp: float = 12.0
    """Of the water at the start of the heat-up. [degC]"""
    strike_lead: float = 0.0
    """What the brewer adds to the strike temperature that a heat balance gives. [K]"""
    heater_follows: str = "mash"
    """Sensor the controller acts on during the mash: `base` or `mash`."""
    pump: float = 100.0
    """Speed of the pump during the mash. [%]"""
    block: Block | None = None
    boil_time: float = 60.0
    """[min]"""
    boil_power: float = 100.0
    """Limit of the heater's power in the boil, of nameplate. [%]"""
    kettle_sugar: float = 0.0
    """Dissolved in the boil. [kg]"""
    top_up: float = 0.0
    """Water added at the end of the boil, at 20 degC. [L]"""
    cooling: str = "chilled"
    """`chilled` or `hot-filled`."""
    lid: bool = True
    """On the kettle during the mash."""
    bed_probe: bool = True
    """A probe stands in the bed and is logged."""
    probe_before: str = "kettle"
    """Where the bed probe is before mash-in: `kettle`, `room` (on the bench) or `off`."""
    probe_after: str = "off"
    """Where the bed probe is after the lift."""
    log_ambient: bool = False
    """A sensor in the room is logged."""
    log_flow: bool = False
    """A meter in the return hose is logged."""
    reads: Sequence[str] = ("pre-boil", "post-boil", "fermenter")
    """Stages at which the brewer reads gravity and volume; `first wort` needs the refractometer."""
    refractometer: bool = False
    """Gravities of first wort and pre-boil are read with a refractometer."""
    hot_samples: bool = False
    """The pre-boil sample is read before it is cool."""
    log_every: float = 10.0
    """During the mash. [s]"""
    log_every_else: float = 30.0
    """Before mash-in and after the lift. [s]"""
    hold_effect: float = 1.0
    """How much of the effect of bed temperatures on conversion is real: 0 = conversion as if the bed had followed the
    plan exactly, 1 = kinetics of the true bed temperatures, more than 1 exaggerates. [1]"""
    gap_effect: float = 1.0
    """The same for the mill's gap: 0 = as with a gap of 1.1 mm. [1]"""
    rinse_skill: float = 0.0
    """Added to the rig's `rinse`: what the brewer has learnt. [1]"""
    unwritten: float = 0.0
    """What nobody wrote down and that helps conversion, in points. [%]"""
    process_sd: float = 0.8
    """Standard deviation of what nobody knows of, in conversion and in the rinse each, in points. [%]"""
    lot_sd: float = 0.6
    """Standard deviation of the true extract of a malt about its sheet, in points. [%]"""

    @property
    def grist(self) -> float:
        """Mass of all malts. [kg]"""
        return sum(malt.mass for malt in self.malts)

    @property
    def moisture(self) -> float:
        """Mean moisture of the grist. [1]"""
        return sum(malt.mass * malt.moisture for malt in self.malts) / self.grist

    @property
    def thickness(self) -> float:
        """Mash water per mass of grist. [L/kg]"""
        return self.mash_water / self.grist
