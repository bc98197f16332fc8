"""Channels of a trace, their units and ranges, and the words that plainly name them."""

from __future__ import annotations

from brewlog.logbook.columns import Column

_TRACE_TEMP = (-40.0, 115.0)
CHANNELS = {
    "mash_temp": Column(
        "mash_temp", "a probe standing in the grain bed", "number", "degC", "", *_TRACE_TEMP, hot=104.0
    ),
    "base_temp": Column("base_temp", "the sensor at the kettle's base", "number", "degC", "", *_TRACE_TEMP, hot=104.0),
    "set_temp": Column("set_temp", "the controller's target", "number", "degC", "", *_TRACE_TEMP, hot=104.0),
    "power": Column("power", "electrical power of the heater", "number", "%", "", 0.0, 110.0),
    "heater": Column("heater", "heater off (0) or on (1)", "number", "1", "", 0.0, 1.0),
    "pump": Column("pump", "recirculation, of full speed", "number", "%", "", 0.0, 110.0),
    "flow": Column("flow", "recirculation flow", "number", "L/min", "", 0.0, 1000.0),
    "ambient_temp": Column("ambient_temp", "air around the rig", "number", "degC", "", *_TRACE_TEMP, hot=45.0),
    "wort_temp": Column("wort_temp", "wort after the mash", "number", "degC", "", *_TRACE_TEMP, hot=104.0),
}
"""Channels of a trace."""
_TIME_ELSEWHERE = (
    "zeit", "uhrzeit", "zeitstempel", "zeitpunkt", "datum/zeit", "datum zeit", "datum/uhrzeit", "datum uhrzeit",
    "datum und uhrzeit", "tiempo", "hora", "fecha/hora", "fecha hora", "fecha y hora", "heure", "horodatage",
    "date/heure", "date heure", "date et heure", "tijd", "tijdstip", "datum/tijd", "datum tijd", "ora", "orario",
    "data/ora", "data ora", "data e ora", "tempo", "tid", "tidpunkt", "tidspunkt", "czas", "čas", "aika",
)  # fmt: skip
"""Words for time in other languages than English."""
COMMON_WORDS = {
    "time": (
        "time",
        "timestamp",
        "datetime",
        "date time",
        "date and time",
        "date/time",
        "date & time",
        "local time",
        "logged at",
        "clock",
        *_TIME_ELSEWHERE,
    ),
    "elapsed": (
        "elapsed",
        "elapsed time",
        "seconds",
        "secs",
        "sec",
        "minutes",
        "mins",
        "hours",
        "time elapsed",
        "elapsed seconds",
        "elapsed minutes",
        "run time",
        "t",
    ),
    "mash_temp": (
        "mash_temp",
        "mash",
        "mash temperature",
        "bed",
        "bed temp",
        "bed temperature",
        "grain temp",
        "grain bed",
        "mash probe",
        "temp mash",
        "temp bed",
    ),
    "base_temp": (
        "base_temp",
        "base",
        "kettle",
        "kettle temp",
        "kettle temperature",
        "kettle base",
        "base temperature",
        "bottom temp",
        "temp base",
        "temp kettle",
    ),
    "set_temp": (
        "set_temp",
        "set",
        "target",
        "target temp",
        "target temperature",
        "setpoint",
        "set point",
        "set temperature",
        "setpoint temp",
        "setpoint temperature",
        "sp",
    ),
    "power": ("power", "heater power", "heat power", "heat", "output", "duty", "duty cycle", "heater duty", "pwm"),
    "heater": ("heater", "heater on", "element", "heater state"),
    "pump": ("pump", "pump speed", "pump on", "recirculation"),
    "flow": ("flow", "flow rate", "return flow", "recirculation flow"),
    "ambient_temp": (
        "ambient_temp",
        "ambient",
        "room",
        "room temp",
        "room temperature",
        "ambient temperature",
        "air",
        "air temp",
    ),
    "wort_temp": ("wort_temp", "wort", "wort temperature"),
}
"""Words that plainly name a channel; any but the first is a guess that is reported."""
