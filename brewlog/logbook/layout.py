"""Every file of a logbook, its columns, units and allowed words: said once, for reader, templates and docs."""

from __future__ import annotations

from dataclasses import replace

from brewlog.logbook.channel_layout import CHANNELS as CHANNELS
from brewlog.logbook.channel_layout import COMMON_WORDS as COMMON_WORDS
from brewlog.logbook.columns import Column as Column
from brewlog.logbook.columns import FileLayout as FileLayout


def _number(name: str, meaning: str, unit: str, low: float, high: float, written: str = "", field: str = "") -> Column:
    return Column(name, meaning, "number", unit, written, low, high, field=field)


def _label(name: str, meaning: str) -> Column:
    return Column(name, meaning, "label", needed=True)


def _temp(name: str, meaning: str, low: float = -5.0, high: float = 108.0, hot: float = 105.0) -> Column:
    return Column(name, meaning, "number", "degC", low=low, high=high, hot=hot)


_BREW = _label("brew", "label of the brew, as in brews.csv")
STAGES = ("first wort", "pre-boil", "post-boil", "fermenter", "packaged")
QUANTITIES = ("gravity", "volume", "mass", "pH", "temperature")
EVENTS = ("heat-up", "mash-in", "rest", "mash-out", "lift", "boil", "hops", "boil end", "fill", "pump off", "pump on")
GRAVITY_UNITS = {"SG": (0.98, 1.2), "degP": (-3.0, 45.0), "Brix": (-3.0, 45.0), "kg/m^3": (980.0, 1200.0)}
"""Units of a gravity, each with the range of readings that can be."""
GRAVITY_WORDS = {
    "sg": "SG", "s.g.": "SG", "specificgravity": "SG", "sp.gr.": "SG", "": "SG", "1": "SG",
    "degp": "degP", "°p": "degP", "p": "degP", "plato": "degP", "degplato": "degP", "°plato": "degP",
    "brix": "Brix", "degbrix": "Brix", "°brix": "Brix", "°bx": "Brix", "bx": "Brix",
    "kg/m^3": "kg/m^3", "kg/m3": "kg/m^3", "kg/m³": "kg/m^3",
}  # fmt: skip
"""Units of a gravity by what brewers write."""
OTHER_READINGS = {
    "volume": ("L", 0.0, 2000.0),
    "mass": ("kg", 0.0, 2000.0),
    "temperature": ("degC", -5.0, 108.0),
    "pH": ("1", 2.0, 12.0),
}
"""Canonical unit and range of the other quantities."""

BREWS = FileLayout(
    "brews.csv",
    "one row per brew day",
    (
        _label("brew", "your own label, unique; also the name of the trace's file"),
        Column("date", "ISO 8601 date", "date", wanted=True),
        Column("rig", "label in rigs.csv"),
        Column("recipe", "free text"),
        Column("style", "free text"),
        Column(
            "heater_follows",
            "the sensor the controller acted on during the mash",
            "word",
            words=("base", "mash"),
            also=(("bed", "mash"), ("grain bed", "mash")),
        ),
        replace(_number("mash_water", "water in the kettle at mash-in, at 20 degC", "L", 0.1, 2000.0), of_water=True),
        replace(_number("sparge_water", "rinse water, at 20 degC", "L", 0.0, 2000.0), of_water=True),
        _temp("sparge_temp", "temperature of the rinse water"),
        _number("mill_gap", "gap of the mill's rollers", "mm", 0.1, 5.0),
        _temp("grain_temp", "temperature of the grain before mash-in", -40.0, 60.0, hot=45.0),
        _temp("ambient_temp", "temperature of the air around the rig", -40.0, 60.0, hot=45.0),
        replace(_number("boil_time", "planned length of the boil", "min", 0.0, 600.0), scant=4.0, larger="h"),
        Column("cooling", "how the wort was cooled", "word", words=("chilled", "hot-filled")),
        _number("altitude", "above sea level", "m", -450.0, 6000.0),
        _number("planned_gravity", "pre-boil, as the recipe expects", "1", 0.98, 1.2, written="SG"),
        _number("planned_volume", "pre-boil at 20 degC, as the recipe expects", "L", 0.1, 2000.0),
        Column("changes", "what else was different that day"),
        Column("pair", "number of the random pair and `tight` or `loose`"),
        Column("notes", "free text"),
    ),
)
RIGS = FileLayout(
    "rigs.csv",
    "one row per rig",
    (
        Column("rig", "your own label, unique", "label", needed=True, field="label"),
        _number("heater_power", "nameplate power", "W", 10.0, 200000.0),
        _number("kettle_volume", "volume of the kettle", "L", 0.5, 2000.0),
        _number("dead_volume", "wort left behind under the tap", "L", 0.0, 1000.0),
        _number("sensor_sd", "one standard deviation of the temperature sensors", "K", 0.0, 20.0),
        _number("volume_sd", "one standard deviation of a volume", "L", 0.0, 100.0),
        _number("gravity_sd", "one standard deviation of a gravity, in SG", "1", 0.0, 0.05, written="SG"),
        _temp("hydrometer_temp", "calibration temperature of the hydrometer", 0.0, 60.0, hot=45.0),
        _number("refractometer_factor", "wort correction factor of the refractometer", "1", 0.8, 1.3),
        _number("vessel_mass", "mass of the empty vessel", "kg", 0.1, 1000.0),
        Column(
            "vessel_material", "what the vessel is made of", "word", words=("stainless steel", "aluminium", "copper")
        ),
        Column("notes", "free text"),
    ),
)
GRIST = FileLayout(
    "grist.csv",
    "one row per malt of a brew",
    (
        _BREW,
        Column("malt", "generic type of the malt"),
        replace(_number("mass", "as weighed", "kg", 0.0, 1000.0), missed=True),
        _number("extract", "laboratory extract, fine grind, dry basis", "1", 0.3, 1.0, "%", "malt_extract"),
        _number("fine_coarse", "fine-coarse difference of the extract", "1", -0.02, 0.2, "%"),
        _number("moisture", "moisture of the malt", "1", 0.0, 0.2, "%"),
    ),
)
ADDITIONS = FileLayout(
    "additions.csv",
    "one row per thing that joins later",
    (
        _BREW,
        Column("what", "what was added", "word", words=("sugar", "extract", "water", "malt", "salt"), needed=True),
        _number("mass", "as weighed", "kg", 0.0, 1000.0),
        _number("volume", "at `temp`", "L", 0.0, 2000.0),
        _temp("temp", "of what was added; 20 degC if empty", low=-40.0),
        Column("stage", "where it joined", "word", words=("mash", "boil", "fermenter")),
        _number("extract", "extract as is", "1", 0.0, 1.0, "%"),
        Column("event", "moment of the day"),
        Column("time", "time of the day"),
    ),
)
RESTS = FileLayout(
    "rests.csv",
    "one row per planned rest",
    (
        _BREW,
        Column("rest", "1, 2, 3 ... in the order of the day", "whole", "1", low=1, high=99, needed=True),
        Column("temp", "rest temperature", "number", "degC", low=20.0, high=105.0, needed=True, hot=105.0),
        replace(_number("time", "planned length", "min", 0.0, 1440.0), scant=3.0, larger="h"),
        _number("headroom", "how far above the rest temperature the base may run while heating", "K", 0.0, 60.0),
        _number("power", "limit of the heater's power, of nameplate", "%", 0.0, 100.0),
        Column("purpose", "`mash-in`, `saccharification`, `mash-out`, or your own word"),
    ),
)
READINGS = FileLayout(
    "readings.csv",
    "one row per measurement",
    (
        _BREW,
        Column("stage", "where it was taken", "word", words=STAGES, needed=True),
        Column("quantity", "what was measured", "word", words=QUANTITIES, needed=True),
        Column("value", "the reading, in `unit`", "number", needed=True),
        Column("unit", "gravity: SG, degP, Brix or kg/m^3; volume: L; mass: kg; temperature: degC"),
        _temp("temp", "of the wort when it was measured"),
        Column("instrument", "hydrometer, refractometer, density meter, sight glass, scale ..."),
        Column("sd", "one standard deviation, in `unit`", "number", low=0.0),
        Column("time", "time of the reading"),
    ),
)
EVENTS_FILE = FileLayout(
    "events.csv",
    "one row per moment of the day",
    (
        _BREW,
        Column("time", "clock time, as in the trace", "clock"),
        _number("elapsed", "since the trace's first row", "s", -86400.0, 1e7),
        Column("event", "what happened", "word", words=EVENTS, needed=True),
    ),
)
CHANNELS_FILE = FileLayout(
    "channels.csv",
    "one row per channel of a logger with names of its own",
    (
        Column("rig", "label in rigs.csv"),
        Column("channel", "name of the channel in brewlog", needed=True),
        Column("column", "header in that rig's trace files", needed=True),
        Column("unit", "unit of that column"),
    ),
)
WATER_TESTS = FileLayout(
    "water_tests.csv",
    "one row per calibration run with water alone",
    (
        Column(
            "test", "your own label, unique; also the name of the trace's file", "label", needed=True, field="label"
        ),
        Column("rig", "label in rigs.csv"),
        Column("date", "ISO 8601 date", "date"),
        _number("water", "as read, at `water_temp`", "L", 0.1, 2000.0),
        _temp("water_temp", "at which the volume was read"),
        Column("kind", "what was done", "word", words=("heat-up", "cool-down", "boil")),
        _number("water_after", "what a boil test left, at `water_temp`", "L", 0.0, 2000.0),
    ),
)
FILES = (BREWS, RIGS, GRIST, ADDITIONS, RESTS, READINGS, EVENTS_FILE, CHANNELS_FILE, WATER_TESTS)
"""Every file but the traces, in the order in which they are read."""

TRACE_FOLDER = "traces"
