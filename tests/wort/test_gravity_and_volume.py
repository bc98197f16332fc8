"""Hydrometer, refractometer and hot volumes against tables."""

from __future__ import annotations

import numpy as np
import pytest

from brewlog.quantities import ureg
from brewlog.wort import (
    correct_hydrometer,
    extract_from_brix,
    extract_from_density,
    extract_from_sg,
    extract_mass,
    sg_from_extract,
    volume_at_20,
    water_density,
    wort_density,
)
from brewlog.wort.gravity import saccharometer_extract_float
from tests.wort.published import CONTRACTION, HYDROMETER, HYDROMETER_15, IN_VOLUME

AIR = 1.2


def test_hydrometer_correction_with_glass_and_sugar():
    for scale, made_for, temp, reading, sg, percent in HYDROMETER:
        if scale == "SG":
            ours = correct_hydrometer(reading, temp, made_for)
            assert ours == pytest.approx(sg, abs=2e-5)
            # the table takes SG as a ratio of true densities
            assert 100 * extract_from_density(sg * water_density(20.0)) == pytest.approx(percent, abs=0.005)
        else:
            ours = saccharometer_extract_float(np.array(reading / 100), np.array(temp), made_for)
            assert 100 * ours == pytest.approx(percent, abs=0.005)
            assert sg_from_extract(ours) == pytest.approx(sg, abs=1.2e-4)  # the table's SG is true, ours apparent


def to_15(sg_20):
    """The same wort on the scale of a 15 degC hydrometer."""
    density = wort_density(extract_from_sg(sg_20), 15.0)
    return (density - AIR) / (water_density(15.0) - AIR)


@pytest.mark.parametrize(
    ("reading", "cool", "hot"), [(1.005, 5e-4, 1e-3), (1.020, 5e-4, 1e-3), (1.040, 5e-4, 1e-3), (1.060, 1e-3, 1.3e-3)]
)
def test_hydrometer_for_15_degrees_against_the_table_in_home_use(reading, cool, hot):
    temp, add = np.array([row for row in HYDROMETER_15 if row[0] > 0]).T
    ours = to_15(correct_hydrometer(np.full_like(temp, reading), temp, 15.0)) - reading
    np.testing.assert_allclose(ours[temp <= 30], add[temp <= 30], atol=cool, rtol=0)
    np.testing.assert_allclose(ours, add, atol=hot, rtol=0)


def test_near_freezing_the_15_degree_table_goes_back_with_the_water_and_wort_does_not():
    # water is densest at 4 degC, so that the table's correction turns back below it; wort of 1.040 does not
    (zero, at_zero), (five, at_five) = HYDROMETER_15[:2]
    assert (zero, five) == (0.0, 5.0)
    assert at_zero > at_five
    for temp, add in ((zero, at_zero), (five, at_five)):
        assert water_density(15.0) / water_density(temp) - 1 == pytest.approx(add, abs=1e-4)
    ours = to_15(correct_hydrometer(np.full(2, 1.040), np.array([zero, five]), 15.0)) - 1.040
    assert ours[0] < ours[1]
    assert ours[0] - at_zero == pytest.approx(-0.0006, abs=1e-4)


def test_the_15_degree_table_has_neither_glass_nor_sugar():
    # bare ratio of the densities of water; its two errors cancel at 1.020 and leave 0.0005 at 1.040 and 40 degC
    bare = water_density(15.0) / water_density(40.0) - 1
    assert bare == pytest.approx(0.0069, abs=1e-4)
    ours = [to_15(correct_hydrometer(sg, 40.0, 15.0)) - sg for sg in (1.020, 1.040)]
    assert ours[0] == pytest.approx(0.0069, abs=1e-4)
    assert ours[1] - bare == pytest.approx(0.0005, abs=1e-4)


def test_hydrometer_at_its_own_temperature_is_left_alone():
    assert correct_hydrometer(1.050, 20.0) == pytest.approx(1.050, abs=1e-12)
    assert correct_hydrometer(1.050, ureg.Quantity(68.0, "degF")) == pytest.approx(1.050, abs=1e-9)
    assert correct_hydrometer(1.050, 30.0) > 1.050 > correct_hydrometer(1.050, 12.0)


def test_refractometer_is_divided_by_its_factor():
    assert extract_from_brix(12.48, 1.04) == pytest.approx(0.12)
    assert extract_from_brix(ureg.Quantity(12.48, "percent"), 1.04) == pytest.approx(0.12)
    with pytest.raises(ValueError, match=r"factor is 104; expected a correction factor of 0\.9 to 1\.2"):
        extract_from_brix(12.0, 104)


def test_contraction_of_hot_wort_alone_and_on_the_marks_of_a_vessel():
    percent, temp, liquid, marks = np.array(CONTRACTION).T
    np.testing.assert_allclose(volume_at_20(1.0, temp, percent / 100), liquid, atol=2e-5, rtol=0)
    np.testing.assert_allclose(
        volume_at_20(1.0, temp, percent / 100, vessel="stainless steel"), marks, atol=2e-4, rtol=0
    )


def test_0_96_is_the_liquid_alone():
    # ratio of the densities of water at 100 and 20 degC (IAPWS-95): 958.4 / 998.2; a steel vessel has grown 0.42 %
    assert volume_at_20(1.0, 100.0) == pytest.approx(0.9601, abs=1e-4)
    assert volume_at_20(1.0, 100.0, 0.12) == pytest.approx(0.9601, abs=1e-4)
    assert volume_at_20(1.0, 100.0, 0.12, vessel="stainless steel") == pytest.approx(0.9641, abs=1e-4)


def test_vessels_of_other_metals():
    # linear expansion of aluminium is larger, of copper a little smaller than that of stainless steel (handbook values)
    steel, aluminium, copper = (
        volume_at_20(1.0, 90.0, 0.1, vessel=metal) for metal in ("stainless steel", "aluminium", "copper")
    )
    assert copper < steel < aluminium < 1.002 * steel
    with pytest.raises(ValueError, match="vessel is 'tin'; expected one of 'stainless steel', 'aluminium', 'copper'"):
        volume_at_20(1.0, 90.0, vessel="tin")


def test_extract_in_a_hot_volume_by_two_chains():
    for litres, temp, plato, sps4, asbc in IN_VOLUME:
        ours = extract_mass(volume_at_20(litres, temp, plato / 100), plato / 100)
        assert ours == pytest.approx(sps4, rel=2e-4)
        assert ours == pytest.approx(asbc, rel=1e-3)


def test_volume_and_extract_scale():
    assert volume_at_20(0.0, 90.0, 0.1) == 0.0
    np.testing.assert_allclose(volume_at_20([10.0, 20.0], 90.0, 0.1) / [1, 2], volume_at_20(10.0, 90.0, 0.1))
