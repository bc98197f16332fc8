"""Clock times against the time-zone database: elapsed time runs on where summer time begins or ends."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

import brewlog
from brewlog.logbook.clocks import read_clock, read_moment

STEPS = np.arange(0.0, 3 * 3600.0, 30.0)
# the hour before each change of 2024: the IANA database has the last Sundays of March and October for Berlin,
# the second Sunday of March and the first of November for New York, early April and early October for Melbourne
CHANGES = [
    ("Europe/Berlin", "2024-03-31T00:00:00"),
    ("Europe/Berlin", "2024-10-26T23:30:00"),
    ("America/New_York", "2024-03-10T06:00:00"),
    ("America/New_York", "2024-11-03T04:40:00"),
    ("Australia/Melbourne", "2024-04-06T15:10:00"),
    ("Australia/Melbourne", "2024-10-05T15:10:00"),
    ("Asia/Kolkata", "2024-03-31T00:00:00"),
]


def local_times(zone: str, start: str) -> list[datetime]:
    first = datetime.fromisoformat(start).replace(tzinfo=UTC)
    return [(first + timedelta(seconds=float(step))).astimezone(ZoneInfo(zone)) for step in STEPS]


def book_of(make_book, times: list[str]):
    rows = "".join(f"{t},{65 + 0.3 * np.sin(k / 9):.2f}\n" for k, t in enumerate(times))
    return brewlog.read_logbook(make_book({"traces/b1.csv": "time,mash_temp\n" + rows}))


@pytest.mark.parametrize(("zone", "start"), CHANGES, ids=[f"{z} {s[:10]}" for z, s in CHANGES])
@pytest.mark.parametrize("offsets", [True, False], ids=["with offsets", "wall clock"])
def test_elapsed_time_runs_on_over_a_change_of_clocks(make_book, zone, start, offsets):
    times = local_times(zone, start)
    texts = [t.isoformat() if offsets else t.replace(tzinfo=None).isoformat() for t in times]
    book = book_of(make_book, texts)
    trace = book.brews["b1"].trace
    np.testing.assert_allclose(trace["elapsed"], STEPS, rtol=0, atol=1e-6)
    changed = len({t.utcoffset() for t in times}) > 1
    told = [p for p in book.problems if p.file == "traces/b1.csv" and "summer time" in p.cost]
    assert len(told) == (1 if changed and not offsets else 0)


@pytest.mark.parametrize(
    "text",
    [
        "2024-05-31T09:30:00+02:00", "2024-05-31 09:30:00+0200", "2024-05-31T07:30:00Z", "2024-05-31T09:30+02:00",
        "20240531T073000Z", "2024-05-31T07:30:00.000Z", "2024-05-31T13:00:00+05:30", "2024-05-31T02:30:00-05:00",
    ],
)  # fmt: skip
def test_iso_8601_writes_one_moment_in_many_ways(text):
    # all are 2024-05-31 07:30 UTC
    moment = datetime(2024, 5, 31, 7, 30, tzinfo=UTC).timestamp()
    for read in (read_moment(text), read_clock(pd.Series([text, text], dtype=object))):
        assert read is not None
        assert read.zoned
        assert float(read.seconds[0]) == moment


@pytest.mark.parametrize("factor", [1, 1_000, 1_000_000, 1_000_000_000])
def test_epoch_numbers_of_any_fineness(factor):
    moment = int(datetime(2024, 5, 31, 7, 30, tzinfo=UTC).timestamp())
    read = read_clock(pd.Series([str(moment * factor), str((moment + 10) * factor)], dtype=object))
    assert read is not None
    np.testing.assert_allclose(read.seconds, [moment, moment + 10], rtol=0, atol=1e-3)


def test_midnight_as_24_00_is_the_next_day():
    read = read_clock(pd.Series(["2024-12-31T23:59:50", "2024-12-31T24:00:00", "2025-01-01T00:00:10"], dtype=object))
    assert read is not None
    assert np.diff(read.seconds).tolist() == [10.0, 10.0]
