"""Brewing rigs on paper: what a simulated rig is made of, and two invented ones."""

from __future__ import annotations

from dataclasses import dataclass, field

from brewlog.logbook.records import Rig
from brewlog.simulate.charge import SPECIFIC_HEAT


@dataclass(frozen=True, slots=True)
class Probe:
    """A temperature sensor and what it does to the truth."""

    lag: float = 20.0
    """Time constant. [s]"""
    offset: float = 0.0
    """Reading minus truth. [K]"""
    noise: float = 0.05
    """Standard deviation of the noise of one reading. [K]"""
    step: float = 0.1
    """Readings are rounded to multiples of this. [K]"""
    depth: float = 0.5
    """Bed probe: where it stands, 0 = top of the bed, 1 = bottom. [1]"""
    depth_sd: float = 0.0
    """Standard deviation of the depth from brew to brew. [1]"""
    superheat: float = 0.0
    """Base sensor: how much of the element's temperature above the wort it sees. [1]"""
    period: float = 0.0
    """A new reading comes only this often; between, the last one is repeated. [s]"""
    dropouts: float = 0.0
    """Mean number of dropouts an hour (a wireless probe out of touch). [1/h]"""
    dropout_length: float = 60.0
    """Mean length of a dropout. [s]"""


@dataclass(frozen=True, slots=True)
class Controller:
    """How the rig's controller drives the heater and logs."""

    kind: str = "proportional"
    """`proportional` or `on-off` (with hysteresis): what the base temperature does to the heater."""
    band: float = 1.0
    """Proportional: full power this far below the goal. On-off: hysteresis. [K]"""
    gain: float = 1.6
    """Under mash control: lead of the base per kelvin that the bed lacks. [1]"""
    integral_time: float = 600.0
    """Under mash control: time in which a steady lack of 1 K adds 1 K of lead. [s]"""
    window: float = 20.0
    """Length of the window in which power is made up of on and off; 0 = continuous (phase angle). [s]"""
    logs: str = "demand"
    """What is logged: `demand` = the power asked for at that moment, `mean` = the mean power since the row before,
    `state` = heater on or off at that moment."""
    patience: float = 60.0
    """After this long without a bed reading the controller acts on the base sensor. [s]"""
    base_margin: float = 0.0
    """Under base control the base is held this far above the rest temperature. [K]"""


@dataclass(frozen=True, slots=True)
class SimulatedRig:
    """A rig with more parts than the fitted model knows: element, wall, free wort, and a bed in layers."""

    label: str
    heater_power: float
    """Nameplate power. [W]"""
    kettle_volume: float
    """[L]"""
    diameter: float
    """Inner diameter of the kettle. [m]"""
    vessel_mass: float
    """Of the vessel with what hangs on it. [kg]"""
    vessel_material: str = "stainless steel"
    heat_share: float = 0.95
    """Part of the nameplate power at nominal voltage that enters the element; the rest warms cables and room. [1]"""
    element_heat_capacity: float = 700.0
    """[J/K]"""
    element_conductance: float = 120.0
    """Between element and wort. [W/K]"""
    wall_conductance: float = 260.0
    """Between wort and wall. [W/K]"""
    wall_loss: float = 3.4
    """Between wall and room. [W/K]"""
    lid_loss: float = 1.0
    """Between free wort on top, lid and return hose, and the room. [W/K]"""
    bed_loss: float = 3.2
    """Between the side of the whole bed and the room. [W/K]"""
    bed_wall: float = 1.5
    """Between the side of the whole bed and the wall. [W/K]"""
    layer_conductance: float = 3.0
    """Between neighbouring layers of the bed, without flow. [W/K]"""
    layers: int = 8
    """Layers of the bed in series."""
    flow: float = 2.1
    """Through a fresh bed at full pump speed. [L/min]"""
    pump_flow: float = 4.0
    """Delivered by the pump at full speed; what the bed does not pass overflows back to the base. [L/min]"""
    overflow: bool = True
    """False: the whole pump flow goes through the bed and is throttled by it."""
    setting: float = 0.15
    """Part of the flow that a bed loses while it sets during an hour. [1]"""
    bed_liquid: float = 1.5
    """Wort standing in the bed per mass of grist. [L/kg]"""
    top_volume: float = 2.0
    """Free wort above the bed. [L]"""
    lid_opening: float = 0.12
    """Part of the surface from which vapour escapes with the lid on. [1]"""
    dead_volume: float = 0.8
    """Left behind under the tap. [L]"""
    absorption: float = 0.85
    """Liquid held by the drained grain per mass of grist. [L/kg]"""
    trub: float = 1.2
    """Wort lost with hops and trub. [L]"""
    rinse: float = 0.52
    """Part of ideal washing that the rinse reaches. [1]"""
    mains_sd: float = 0.015
    """Standard deviation of the mains voltage from brew to brew, relative. [1]"""
    mains_wander: float = 0.008
    """Standard deviation of its slow wander within a day, relative. [1]"""
    base_sensor: Probe = field(default_factory=lambda: Probe(lag=8.0, noise=0.04, superheat=0.02))
    bed_probe: Probe = field(default_factory=lambda: Probe(lag=25.0, noise=0.03, dropouts=0.5))
    controller: Controller = field(default_factory=Controller)
    gravity_offset: float = 0.0
    """Of the rig's one hydrometer, reading minus truth, in SG. [1]"""
    gravity_noise: float = 0.0006
    """Of one reading, in SG. [1]"""
    volume_offset: float = 0.0
    """Of the volume marks, reading minus truth. [L]"""
    volume_noise: float = 0.25
    """Of one reading. [L]"""
    volume_step: float = 0.25
    """The brewer reads volumes to this. [L]"""
    altitude: float = 210.0
    """[m]"""
    notes: str | None = None

    @property
    def vessel_heat_capacity(self) -> float:
        """Heat capacity of the vessel and of what hangs on it, without the element. [J/K]"""
        return self.vessel_mass * SPECIFIC_HEAT[self.vessel_material]

    @property
    def surface(self) -> float:
        """Free surface of the wort. [m2]"""
        return 3.141592653589793 * self.diameter**2 / 4

    def record(self) -> Rig:
        """What the rig's owner would write down of it."""
        return Rig(
            label=self.label,
            heater_power=self.heater_power,
            kettle_volume=self.kettle_volume,
            dead_volume=self.dead_volume,
            sensor_sd=0.2,
            volume_sd=round(max(self.volume_noise * 1.4, self.volume_step / 2), 2),
            gravity_sd=0.001,
            vessel_mass=self.vessel_mass,
            vessel_material=self.vessel_material,
            notes=self.notes,
        )


KITCHEN = SimulatedRig(
    label="kitchen",
    heater_power=2400.0,
    kettle_volume=35.0,
    diameter=0.36,
    vessel_mass=7.5,
    gravity_offset=0.0004,
    volume_offset=0.15,
    bed_probe=Probe(
        lag=28.0, offset=0.15, noise=0.02, depth=0.55, depth_sd=0.08, period=10.0, dropouts=0.6, dropout_length=50.0
    ),
    notes="basket rig with overflow pipe; jacket off",
)
"""A 35 L basket rig with an overflow pipe and a wireless bed probe."""

SHED = SimulatedRig(
    label="shed",
    heater_power=3500.0,
    kettle_volume=68.0,
    diameter=0.45,
    vessel_mass=15.0,
    heat_share=0.96,
    element_heat_capacity=1100.0,
    element_conductance=170.0,
    wall_conductance=380.0,
    wall_loss=3.6,
    lid_loss=1.4,
    bed_loss=3.8,
    bed_wall=2.5,
    layer_conductance=5.0,
    flow=2.7,
    pump_flow=2.7,
    overflow=False,
    setting=0.12,
    bed_liquid=1.95,
    top_volume=3.5,
    dead_volume=1.4,
    absorption=0.9,
    trub=2.2,
    rinse=0.5,
    base_sensor=Probe(lag=6.0, offset=-0.1, noise=0.05, superheat=0.02),
    bed_probe=Probe(lag=18.0, offset=-0.1, noise=0.04, depth=0.6, depth_sd=0.05),
    controller=Controller(band=1.5, window=0.0),
    gravity_offset=-0.0003,
    volume_offset=-0.3,
    volume_noise=0.4,
    volume_step=0.5,
    notes="insulated sides, all of the flow goes through the bed",
)
"""A 68 L rig in a shed: the whole flow goes through the bed, a wired probe stands in it."""
