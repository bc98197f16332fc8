"""Heat capacities and wetting heat against published tables; water tests against the heat of water."""

from __future__ import annotations

import numpy as np
import pytest
from iapws import IAPWS95

from brewlog.logbook.records import Brew, Malt, Rig
from brewlog.rig import fit_model, make_series, one_node
from brewlog.rig.capacity import (
    grist_of,
    malt_heat_capacity,
    mash_inventory,
    vessel_from_records,
    water_heat_capacity,
    wetting_heat,
)
from brewlog.wort.water import water_specific_heat


@pytest.mark.parametrize(
    ("moisture", "relative"), [(0.0, 0.38), (0.02, 0.39), (0.03, 0.40), (0.06, 0.41), (0.08, 0.42)]
)
def test_specific_heat_of_malt(moisture, relative):
    # Brewing Room Book 1984/85, slaking table; printed to two decimals
    found = malt_heat_capacity(1.0, moisture, 65.0) / water_specific_heat(65.0)
    assert found == pytest.approx(relative, abs=0.0101)


@pytest.mark.parametrize(("moisture", "heat"), [(0.0, 40.0), (0.02, 29.7), (0.03, 27.3), (0.04, 22.1), (0.08, 14.4)])
def test_wetting_heat(moisture, heat):
    # implied by the rises printed in the Brewing Room Book 1984/85 for 2.7 kg of water per kg; 0.2 K is 2 kJ/kg
    assert float(wetting_heat(moisture)) / 1000 == pytest.approx(heat, abs=2.0)


def test_a_litre_of_water():
    # IAPWS-95 (package iapws): density at 20 degC times specific heat at 65 degC
    cold, warm = IAPWS95(T=293.15, P=0.101325), IAPWS95(T=338.15, P=0.101325)
    assert float(water_heat_capacity(1.0, 65.0)) == pytest.approx(cold.rho * warm.cp, rel=5e-4)


def heating(litres: float, share: float = 0.94, vessel: float = 4000.0, watts: float = 2400.0):
    """Noise-free heating from 15 to 65 degC by the enthalpy of water of IAPWS-95: its specific heat moves."""
    temps = np.linspace(15.0, 65.0, 60)
    mass = litres * IAPWS95(T=293.15, P=0.101325).rho / 1000
    enthalpy = np.array([IAPWS95(T=273.15 + temp, P=0.101325).h for temp in temps]) * 1000
    heat = mass * (enthalpy - enthalpy[0]) + vessel * (temps - temps[0])
    time = heat / (share * watts)
    even = np.arange(0.0, time[-1], 10.0)
    return make_series(even, watts, base_temp=np.interp(even, time, temps), ambient_temp=20.0)


def test_a_pair_of_water_tests_gives_the_heat_of_a_litre():
    # share known, no loss: the fitted capacity grows by 4.17 to 4.19 kJ/K per litre (IAPWS-95, 20 to 65 degC)
    found = []
    for litres in (15.0, 30.0):
        start = {"heat_share": 0.94, "base_heat_capacity": 8e4, "heat_loss": 1e-6}
        fit = fit_model(
            one_node(), heating(litres), start, fixed=("heat_share", "heat_loss", "probe_offset", "room_shift")
        )
        found.append(fit.constants["base_heat_capacity"])
    assert 4170 < (found[1] - found[0]) / 15 < 4190


def test_vessel_from_mass_volume_or_nothing():
    # stainless steel 480 to 500 J/kgK, 5 to 10 kg for 40 L: common practice, no source
    value, sd, words = vessel_from_records(Rig("a", vessel_mass=10.0))
    assert 4800 <= value <= 5000
    assert words == "the recorded vessel mass"
    assert sd < 0.2 * value
    value, sd, words = vessel_from_records(Rig("a", kettle_volume=40.0))
    assert 5 * 490 <= value <= 10 * 490
    assert "kettle's volume" in words
    assert vessel_from_records(None)[1] > sd


def test_inventory_adds_up_and_knows_what_is_missing():
    malts = (Malt("1", "pale malt", 4.0, moisture=0.04), Malt("1", "caramel malt", 1.0))
    brew = Brew("1", mash_water=20.0, malts=malts)
    found = mash_inventory(brew, Rig("a", vessel_mass=8.0))
    # by hand: 20 L x 4.18 kJ/K, 5 kg x 1.70 kJ/kgK, 8 kg x 0.49 kJ/kgK
    assert found.total == pytest.approx(20 * 4179.6 + 5 * 1700 + 3920, rel=0.005)
    assert found.sd > 0.02 * found.water
    assert mash_inventory(Brew("1", malts=malts), None) is None
    assert grist_of(Brew("1", malts=(*malts, Malt("1", "wheat malt")))) is None


def test_moisture_in_per_cent_is_refused():
    with pytest.raises(ValueError, match="mass fraction from 0 to"):
        malt_heat_capacity(1.0, 4.0)


@pytest.mark.parametrize("masses", [(0.0, 0.0), (4.0, None), ()])
def test_a_grist_without_mass_is_none(masses):
    malts = tuple(Malt("b", "pale malt", mass) for mass in masses)
    assert grist_of(Brew("b", malts=malts)) is None
    assert mash_inventory(Brew("b", malts=malts, mash_water=20.0), None) is None
