"""A brew with its readings, for the tests of the account."""

from __future__ import annotations

from dataclasses import replace

from brewlog.logbook.records import Brew, Malt, Reading, Rig

WATER = 0.998203  # kg/L at 20 degC
RIG = Rig("kitchen", volume_sd=0.25, gravity_sd=0.0005, vessel_material="stainless steel")
MALTS = (
    Malt("1", "pale malt", 4.8, malt_extract=0.81, moisture=0.04),
    Malt("1", "wheat malt", 0.6, malt_extract=0.84, moisture=0.05),
)
POTENTIAL = 4.8 * 0.96 * 0.81 + 0.6 * 0.95 * 0.84


def read(stage, quantity, value, unit, temp=20.0, **more):
    return Reading("1", stage, quantity, value, unit, temp, **more)


FIRST_WORT = read("first wort", "gravity", 1.0740, "SG")
PRE = (read("pre-boil", "gravity", 1.0440, "SG"), read("pre-boil", "volume", 28.6, "L", 72.0))
POST = (read("post-boil", "gravity", 1.0500, "SG"), read("post-boil", "volume", 26.0, "L", 98.0))
FERMENTER = (read("fermenter", "gravity", 1.0500, "SG"), read("fermenter", "volume", 22.8, "L"))
BREW = Brew("1", malts=MALTS, mash_water=19.0, sparge_water=15.0, boil_time=60.0)


def brew(*readings, **changes):
    return replace(BREW, readings=tuple(readings), **changes)
