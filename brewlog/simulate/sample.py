"""The sample logbook: eighteen months of an invented brewer in the invented village Larkmere, with two rigs."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np

from brewlog.simulate.day import simulate_day
from brewlog.simulate.files import TraceLayout, check_empty, trace_text, write_files
from brewlog.simulate.history import RINSE_PER_POINT, DatedDay, fresh
from brewlog.simulate.plan import Block
from brewlog.simulate.recipes import RECIPES, draw_plan
from brewlog.simulate.rigs import KITCHEN, SHED
from brewlog.simulate.slips import make_slips
from brewlog.simulate.tables import Row, brew_tables, rig_rows, text, water_test_rows
from brewlog.simulate.water_tests import SimulatedWaterTest, simulate_water_test

START, DAYS = date(2023, 3, 11), 546
BREWS = {"kitchen": 24, "shed": 21}
PROBE_ARRIVES = 12
"""Number of the kitchen brew from which on a probe stands in the bed; the shed has had one all along."""
MOVES = {"kitchen": 15, "shed": 12}
"""Number of the brew from which on each rig's controller acts on the bed probe."""
PAIRS = {18: "1 tight", 19: "1 loose", 20: "2 loose", 21: "2 tight"}
"""Brews of the shed in random order."""
MILL = ((date(2023, 3, 1), 1.18), (date(2023, 11, 5), 1.08), (date(2024, 6, 20), 1.12))
"""Gap of the mill from each date on. [mm]"""
BLOCKED = {"k19": Block(28.0, 22.0, 0.25), "s07": Block(35.0, 18.0, 0.3)}
HOT_FILLED = ("s15", "k21")
SUGAR = {"k10": 0.3, "s09": 0.6, "k22": 0.25}
"""Kettle sugar. [kg]"""
TOP_UP = {"k06": 1.5, "s13": 3.0}
"""Water added at the end of the boil. [L]"""
REFRACTOMETER_FROM = {"kitchen": 17, "shed": 8}
LEARNING = 0.8
"""Points of lauter efficiency learnt over the log. [%]"""
HOLD_EFFECT = 1.35
"""About two points for the move of the control sensor; see `BrewPlan.hold_effect`."""
SHED_HEADERS = {
    "elapsed": "seconds",
    "mash_temp": "bed",
    "base_temp": "kettle",
    "set_temp": "target",
    "power": "heat",
    "pump": "pump speed",
    "flow": "return hose",
    "ambient_temp": "room",
    "wort_temp": "can",
}
SHED_UNITS = {"elapsed": "s", "power": "kW", "pump": "%", "flow": "L/min"}


def sample_brews(rng: np.random.Generator) -> tuple[DatedDay, ...]:
    """Brew days of the sample, in the order of their dates."""
    draw = rng.spawn(1)[0]
    count = sum(BREWS.values())
    seeds = np.random.SeedSequence(int(rng.integers(2**63))).spawn(count)
    weekend = [day for day in range(DAYS) if (START + timedelta(days=day)).weekday() >= 5]
    days = np.sort(draw.choice(weekend, count, replace=False))
    rigs = draw.permutation([name for name, brews in BREWS.items() for _ in range(brews)])
    number = dict.fromkeys(BREWS, 0)
    brews = []
    for k, seed in enumerate(seeds):
        rig = str(rigs[k])
        number[rig] += 1
        when = START + timedelta(days=int(days[k]))
        brews.append(_sample_brew(rig, number[rig], when, k / (count - 1), seed, draw))
    return tuple(brews)


def _sample_brew(
    rig_name: str, number: int, when: date, share: float, seed: np.random.SeedSequence, draw: np.random.Generator
) -> DatedDay:
    rig = KITCHEN if rig_name == "kitchen" else SHED
    label = f"{rig_name[0]}{number:02d}"
    pair = PAIRS.get(number) if rig_name == "shed" else None
    mash_controls = pair.endswith("tight") if pair else number >= MOVES[rig_name]
    recipe = RECIPES[int(pair[0]) if pair else int(draw.integers(len(RECIPES)))]
    # within a pair beer, grist and mill are the same
    sizes = np.random.default_rng(int(pair[0])) if pair else draw
    touched = 0.02 * draw.standard_normal()
    refractometer = number >= REFRACTOMETER_FROM[rig_name]
    reads = [stage for stage, chance in zip(("post-boil", "fermenter"), draw.random(2), strict=True) if chance < 0.85]
    season = 4.0 * np.cos(2 * np.pi * (when.timetuple().tm_yday - 200) / 365)
    kitchen = rig_name == "kitchen"
    plan = draw_plan(
        rig,
        recipe,
        label,
        sizes,
        heater_follows="mash" if mash_controls else "base",
        bed_probe=not kitchen or number >= PROBE_ARRIVES,
        probe_before="room" if kitchen else "kettle",
        probe_after="room" if kitchen else "off",
        room_temp=round(float(19 + 0.4 * season if kitchen else 14 + 1.4 * season), 1),
        mill_gap=MILL[-1][1] if pair else round([gap for begin, gap in MILL if begin <= when][-1] + touched, 2),
        block=BLOCKED.get(label),
        boil_time=float(draw.choice([60.0, 60.0, 60.0, 75.0, 90.0])),
        cooling="hot-filled" if label in HOT_FILLED else "chilled",
        kettle_sugar=SUGAR.get(label, 0.0),
        top_up=TOP_UP.get(label, 0.0),
        reads=(*(["first wort"] if refractometer else []), "pre-boil", *reads),
        refractometer=refractometer,
        hot_samples=bool(draw.random() < 0.2),
        rinse_skill=LEARNING * RINSE_PER_POINT * share,
        hold_effect=HOLD_EFFECT,
        log_ambient=not kitchen and number >= 5,
        log_flow=not kitchen and number >= MOVES["shed"],
        log_every_else=20.0 if kitchen else 30.0,
    )
    day = simulate_day(rig, plan, fresh(seed))
    return DatedDay(when, recipe.name, recipe.style, day, seed, pair, _changes(rig_name, number))


def _changes(rig: str, number: int) -> str | None:
    """What the brewer wrote down as different that day."""
    if rig == "kitchen" and number == PROBE_ARRIVES:
        return "bed probe in the basket, controller still on the base"
    if number == MOVES[rig]:
        return "controller acts on the bed probe from now on"
    return {("kitchen", 3): "new hop spider", ("shed", 5): "room sensor logged"}.get((rig, number))


def sample_water_tests(rng: np.random.Generator) -> tuple[dict[str, SimulatedWaterTest], dict[str, str]]:
    """Water tests of the sample and their dates, by label."""
    kinds = {
        "kitchen-heat": (KITCHEN, "heat-up", 25.0, "2023-03-05"),
        "kitchen-boil": (KITCHEN, "boil", 26.0, "2024-01-28"),
        "shed-cool": (SHED, "cool-down", 48.0, "2023-10-15"),
    }
    tests = {label: simulate_water_test(rig, kind, water, rng) for label, (rig, kind, water, _) in kinds.items()}
    return tests, {label: when for label, (*_, when) in kinds.items()}


def _channel_rows() -> list[Row]:
    return [
        {"rig": "shed", "channel": channel, "column": column, "unit": SHED_UNITS.get(channel, "degC")}
        for channel, column in SHED_HEADERS.items()
    ]


def _layout(brew: DatedDay, rng: np.random.Generator) -> TraceLayout:
    if brew.day.rig.label == "shed":
        return TraceLayout(headers=SHED_HEADERS, nameplate=brew.day.rig.heater_power)
    start = datetime(brew.date.year, brew.date.month, brew.date.day, 8) + timedelta(minutes=int(rng.integers(0, 180)))
    comma = brew.day.plan.brew == "k08"  # exported by a spreadsheet that had another language set
    return TraceLayout(
        start=start,
        headers={"pump": ""},
        separator=";" if comma else ",",
        decimal="," if comma else ".",
    )


def write_logbook(folder: str | Path, rng: np.random.Generator) -> None:
    """Write the sample logbook of Larkmere, with the gaps and slips that real records have.

    The same generator state writes the same bytes.

    Parameters
    ----------
    folder : path
        New or empty.
    rng : numpy.random.Generator

    Raises
    ------
    FileExistsError
        If the folder holds anything.

    Notes
    -----
    Everything in it is invented: place, brewer, numbers. ``python -m brewlog.simulate DIR --seed 7`` made
    ``sample_data``.
    """
    check_empty(folder)
    days, tests_rng, layout_rng, slips = rng.spawn(4)
    brews = sample_brews(days)
    tests, dates = sample_water_tests(tests_rng)
    layouts = {brew.day.plan.brew: _layout(brew, layout_rng) for brew in brews}
    frames = {brew.day.plan.brew: brew.day.trace for brew in brews}
    tables = brew_tables(brews)
    tables["events"] = _events(brews, layouts, slips)
    make_slips(tables, frames, slips)
    tables = {
        "rigs": rig_rows([KITCHEN, SHED]),
        "channels": _channel_rows(),
        **tables,
        "water_tests": water_test_rows(tests, dates),
    }
    traces = {_file(label): trace_text(frame, layouts[label]) for label, frame in frames.items()}
    for label, test in tests.items():
        shed = TraceLayout(headers=SHED_HEADERS, nameplate=SHED.heater_power)
        traces[f"{label}.csv"] = trace_text(test.trace, shed if test.rig is SHED else TraceLayout())
    write_files(folder, tables, traces)


def _file(label: str) -> str:
    return f"{label}.csv.gz" if label == "s03" else f"{label}.csv"


def _events(brews: tuple[DatedDay, ...], layouts: Mapping[str, TraceLayout], rng: np.random.Generator) -> list[Row]:
    """Events that the brewer wrote down: of some brews, to the minute."""
    rows = []
    for brew in brews:
        if rng.random() > 0.4:
            continue
        start = layouts[brew.day.plan.brew].start
        for event in brew.day.events:
            if event.event in ("pump on", "pump off"):
                continue
            elapsed = round(event.elapsed / 60) * 60.0
            clock = "" if start is None else (start + timedelta(seconds=elapsed)).isoformat(timespec="minutes")
            rows.append(
                {
                    "brew": brew.day.plan.brew,
                    "time": clock,
                    "elapsed [s]": text(elapsed) if start is None else "",
                    "event": event.event,
                }
            )
    return rows
