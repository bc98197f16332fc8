"""Conversion, draining and readings of the simulated day."""

import numpy as np
import pytest

from brewlog.simulate import KITCHEN, BrewPlan, simulate_day
from brewlog.simulate.extract import conversion, decay_rate, drain
from brewlog.simulate.readings import Kettle, hydrometer_reading, mark_reading
from brewlog.wort.gravity import correct_hydrometer
from brewlog.wort.volume import volume_at_20


def mash(temp: float, minutes: float) -> np.ndarray:
    return np.full((round(minutes * 12), 1), temp)


def converted(temps: np.ndarray, gap: float = 1.1, thickness: float = 3.5) -> float:
    return float(conversion(temps, 5.0, gap, thickness)[0])


@pytest.mark.parametrize(("temp", "half_life"), [(60, 237.41), (65, 71.73), (70, 22.44), (75, 7.26)])
def test_enzyme_half_life(temp, half_life):
    # alpha-amylase, computed from Brandam et al. 2003 after Koljonen et al. 1995 with R = 8.314462 [min]
    assert np.log(2) / float(decay_rate(np.array(float(temp)))) / 60 == pytest.approx(half_life, rel=1e-3)


def test_little_converts_below_the_pasting_temperature():
    # mashing at 58.6 degC gave 62 % of the sugar of 65 degC, 60 min (Foods 10(8) 1733, 2021); factor 2 of the loss
    share = converted(mash(58.6, 60)) / converted(mash(65.0, 60))
    assert 0.24 < share < 0.81


def test_hotter_longer_finer_thinner_dissolves_more():
    usual = converted(mash(65.0, 60))
    assert converted(mash(66.0, 60)) > usual
    assert converted(mash(65.0, 75)) > usual
    assert converted(mash(65.0, 60), gap=0.9) > usual + 0.01
    assert converted(mash(65.0, 60), thickness=4.0) > usual


def test_too_hot_kills_the_enzyme():
    assert converted(mash(80.0, 60)) < converted(mash(68.0, 60)) - 0.05


def test_conversion_does_not_depend_on_the_step():
    coarse = np.full((240, 2), 65.0)
    fine = np.full((2400, 2), 65.0)
    np.testing.assert_allclose(conversion(coarse, 15.0, 1.1, 3.5), conversion(fine, 1.5, 1.1, 3.5), atol=2e-3)


def test_draining_splits_what_is_dissolved():
    plan = BrewPlan()
    drained = drain(KITCHEN, plan, 4.0, 21.0, 1.0, 0.0)
    assert drained.extract + drained.retained_extract == pytest.approx(4.0)
    unrinsed = drain(KITCHEN, BrewPlan(sparge_water=0.0), 4.0, 21.0, 1.0, 0.0)
    # without rinse the grain keeps wort as strong as the mash
    assert unrinsed.retained_extract / unrinsed.retained_water == pytest.approx(4.0 / 21.0)
    assert unrinsed.extract < drained.extract
    assert drain(KITCHEN, plan, 4.0, 21.0, 0.0, 0.0).extract < drained.extract


def test_hot_instruments_read_what_the_corrections_undo():
    for temp in (15.0, 20.0, 35.0, 45.0):
        assert float(correct_hydrometer(hydrometer_reading(1.050, temp), temp)) == pytest.approx(1.050, abs=1e-7)
    shown = mark_reading(28.0, 98.0, 0.12, "stainless steel")
    assert shown > 28.9
    assert float(volume_at_20(shown, 98.0, 0.12, "stainless steel")) == pytest.approx(28.0)


def test_volume_and_gravity_of_wort():
    # 12 %: 1046.44 kg/m3 (SPS-4), apparent SG 1.0484
    kettle = Kettle(22.0, 3.0)
    assert kettle.volume == pytest.approx(25.0 / 1.046444, rel=1e-5)
    assert kettle.gravity == pytest.approx(1.04838, abs=3e-5)
    part = kettle.without(2.0)
    assert part.volume == pytest.approx(kettle.volume - 2.0)
    assert part.fraction == pytest.approx(kettle.fraction)


def test_readings_lie_about_the_truth():
    errors = []
    for seed in range(12):
        day = simulate_day(KITCHEN, BrewPlan(), np.random.default_rng(seed))
        for reading in day.readings:
            if reading.quantity == "gravity":
                stage = reading.stage.replace("-", "_")
                corrected = float(correct_hydrometer(reading.value, reading.temp))
                errors.append(corrected - day.truth[f"{stage}_gravity"])
    assert np.mean(errors) == pytest.approx(KITCHEN.gravity_offset, abs=0.0004)
    assert 0.0003 < np.std(errors) < 0.0011


def test_readings_come_with_unit_instrument_and_stage():
    plan = BrewPlan(refractometer=True, reads=("first wort", "pre-boil", "fermenter"), hot_samples=True)
    day = simulate_day(KITCHEN, plan, np.random.default_rng(2))
    assert [(r.stage, r.quantity, r.unit) for r in day.readings] == [
        ("first wort", "gravity", "Brix"),
        ("pre-boil", "gravity", "Brix"),
        ("pre-boil", "volume", "L"),
        ("fermenter", "gravity", "SG"),
        ("fermenter", "volume", "L"),
    ]
