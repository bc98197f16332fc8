"""No record raises: whatever is written, the account gives numbers or reasons."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from brewlog.logbook.records import Addition, Malt, Reading, Rig
from brewlog.wort import ExtractBalance, extract_balance
from tests.wort.brewdays import BREW, RIG

SPOILT = Rig(
    "shed", volume_sd=0.0, gravity_sd=-0.001, refractometer_factor=0.0, hydrometer_temp=float("nan"), dead_volume=-1.0,
    vessel_material="wood",
)  # fmt: skip


maybe = st.none() | st.floats(-10.0, 120.0) | st.just(float("nan"))
READINGS = st.builds(
    Reading,
    brew=st.just("1"),
    stage=st.sampled_from(["first wort", "pre-boil", "post-boil", "fermenter", "packaged", "mash"]),
    quantity=st.sampled_from(["gravity", "volume", "mass", "pH", "temperature"]),
    value=st.floats(0.0, 80.0) | st.floats(0.98, 1.15) | st.just(float("nan")),
    unit=st.sampled_from(["SG", "degP", "Brix", "kg/m^3", "L", "kg"]),
    temp=maybe,
    instrument=st.sampled_from([None, "", "hydrometer", "refractometer", "density meter", "sight glass", "spoon"]),
    sd=st.none() | st.floats(-1.0, 2.0) | st.just(float("nan")),
)
ADDITIONS = st.builds(
    Addition,
    brew=st.just("1"),
    what=st.sampled_from(["sugar", "extract", "water", "malt", "salt"]),
    mass=st.none() | st.floats(0.0, 5.0),
    volume=st.none() | st.floats(0.0, 5.0),
    temp=maybe,
    stage=st.sampled_from([None, "mash", "boil", "fermenter"]),
    extract=st.none() | st.floats(0.0, 1.0),
)
MALT = st.builds(
    Malt,
    brew=st.just("1"),
    malt=st.sampled_from(["pale malt", "", "flaked oats", "??"]),
    mass=st.none() | st.floats(0.0, 10.0),
    malt_extract=st.none() | st.floats(0.0, 1.0),
    moisture=st.none() | st.floats(0.0, 0.3),
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    readings=st.lists(READINGS, max_size=8),
    additions=st.lists(ADDITIONS, max_size=3),
    malts=st.lists(MALT, max_size=3),
    mash_water=st.none() | st.floats(0.0, 60.0),
    sparge_water=st.none() | st.floats(0.0, 60.0),
    rig=st.sampled_from([None, RIG, SPOILT]),
)
def test_no_record_raises_and_no_number_is_nan(readings, additions, malts, mash_water, sparge_water, rig):
    record = replace(
        BREW,
        readings=tuple(readings),
        additions=tuple(additions),
        malts=tuple(malts),
        mash_water=mash_water,
        sparge_water=sparge_water,
    )
    balance = extract_balance(record, rig)
    assert isinstance(balance, ExtractBalance)
    for name in ("conversion", "lauter", "mash", "brewhouse"):
        value = getattr(balance, name)
        assert (value is None) == (name in balance.reasons)
        if value is not None:
            assert np.isfinite(value.nominal_value)
            assert np.isfinite(value.std_dev)
    for table in (balance.states, balance.volume, balance.gravity, balance.extract_mass):
        assert all(np.isfinite(value.nominal_value) and np.isfinite(value.std_dev) for value in table.values())
    assert "nan" not in balance.summary().split("[1]")[0]  # a note may cite it
    assert len(balance.waterfall.columns) == 8
    assert len(balance.water.columns) == 5
