"""Simulated days as records of a logbook, without files between."""

from __future__ import annotations

from datetime import date

from brewlog.logbook.records import Addition, Brew, Rest
from brewlog.simulate.day import SimulatedDay


def brew_record(day: SimulatedDay, when: date | None = None, events: bool = True) -> Brew:
    """Brew as the reader would give it if every cell had been filled in rightly.

    Parameters
    ----------
    day : SimulatedDay
    when : date, optional
    events : bool
        The brewer wrote the moments of the day down.

    Examples
    --------
    >>> import numpy as np
    >>> from brewlog.simulate import KITCHEN, BrewPlan, brew_record, simulate_day
    >>> brew = brew_record(simulate_day(KITCHEN, BrewPlan(), np.random.default_rng(1)))
    >>> brew.rig, brew.heater_follows, len(brew.readings)
    ('kitchen', 'mash', 6)
    """
    plan = day.plan
    additions = []
    if plan.kettle_sugar:
        additions.append(Addition(plan.brew, "sugar", mass=plan.kettle_sugar, stage="boil", extract=1.0))
    if plan.top_up:
        additions.append(Addition(plan.brew, "water", volume=plan.top_up, temp=plan.tap_temp, stage="boil"))
    trace = day.trace.copy()
    trace.attrs["units"] = {"elapsed": "s", "power": "%", "pump": "%", "heater": "1", "flow": "L/min"} | {
        name: "degC" for name in trace.columns if name.endswith("_temp")
    }
    moments = day.events if events else ()
    return Brew(
        label=plan.brew,
        date=when,
        rig=day.rig.label,
        heater_follows=plan.heater_follows,
        mash_water=plan.mash_water,
        sparge_water=plan.sparge_water,
        sparge_temp=float(plan.sparge_temp),
        mill_gap=plan.mill_gap,
        grain_temp=plan.grain_temp,
        ambient_temp=plan.room_temp,
        boil_time=plan.boil_time,
        cooling=plan.cooling,
        altitude=day.rig.altitude,
        malts=tuple(malt.record(plan.brew) for malt in plan.malts),
        additions=tuple(additions),
        rests=tuple(
            Rest(plan.brew, number, rest.temp, rest.time, rest.headroom, rest.power, rest.purpose)
            for number, rest in enumerate(plan.rests, start=1)
        ),
        readings=day.readings,
        load_trace=lambda: (trace, (), moments),
    )
