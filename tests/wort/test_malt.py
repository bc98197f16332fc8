"""Potential of a grist and the strongest first wort."""

from __future__ import annotations

import numpy as np
import pytest

from brewlog.logbook.records import Malt
from brewlog.rig.capacity import malt_heat_capacity, water_heat_capacity
from brewlog.wort import as_is, first_wort_maximum, malt_default, malt_potential
from brewlog.wort.malt import MALT_DEFAULTS
from brewlog.wort.potential import weigh_grist
from tests.wort.published import FIRST_WORT


def test_first_wort_maximum():
    ratio, extract, moisture, simple, with_malt_water = np.array(FIRST_WORT).T
    np.testing.assert_allclose(100 * first_wort_maximum(ratio, extract / 100), simple, atol=0.002, rtol=0)
    np.testing.assert_allclose(
        100 * first_wort_maximum(ratio, extract / 100, moisture / 100), with_malt_water, atol=0.002, rtol=0
    )


def test_strike_water_from_the_first_wort_wanted():
    # M. Metzger, brewing calculations: yield (100 - fw) / fw x grist: 75 %, 16 % and 5 kg ask for 19.69 L
    assert first_wort_maximum(19.6875 / 5, 0.75) == pytest.approx(0.16, abs=1e-6)


def test_dry_basis_and_as_is_are_not_confused():
    dry = first_wort_maximum(3.0, 0.80, 0.04, basis="dry")
    assert dry == pytest.approx(first_wort_maximum(3.0, as_is(0.80, 0.04), 0.04))
    assert dry < first_wort_maximum(3.0, 0.80, 0.04)
    with pytest.raises(ValueError, match="basis is 'wet'; expected 'as is' or 'dry'"):
        first_wort_maximum(3.0, 0.8, basis="wet")


def test_as_is_extract():
    # Noonan, New Brewing Lager Beer, p. 13, as quoted: dbcg / (1 + moisture) - 0.002 gives 0.7516 for 0.78 and 3.5 %;
    # the dry matter gives 0.7527
    assert as_is(0.78, 0.035) == pytest.approx(0.7527, abs=1e-4)
    assert round(0.78 / 1.035 - 0.002, 4) == 0.7516
    with pytest.raises(
        ValueError, match=r"moisture is 4; expected a mass fraction from 0 to 0.3 \(4 per cent is 0.04\)"
    ):
        as_is(0.78, 4)


def test_potential_is_summed_on_dry_matter():
    malts = [
        Malt("1", "pale malt", 4.0, malt_extract=0.81, moisture=0.04),
        Malt("1", "wheat malt", 1.0, malt_extract=0.84, moisture=0.05),
    ]
    potential, notes = malt_potential(malts)
    assert potential.nominal_value == pytest.approx(4 * 0.96 * 0.81 + 0.95 * 0.84)
    # 0.6 %-points of extract and 0.3 of moisture on each, 0.35 % on the scale that weighs both
    each = [4 * 0.96 * 0.006, 4 * 0.81 * 0.003, 0.95 * 0.006, 0.84 * 0.003, 0.0035 * potential.nominal_value]
    assert potential.std_dev == pytest.approx(np.sqrt(np.sum(np.square(each))))
    assert notes == ()


def test_yields_on_malt_and_on_laboratory_extract_differ_by_the_as_is_extract():
    # MEBAK and American use: the factor is 1/0.75 to 1/0.79
    grist, _ = weigh_grist([Malt("1", "pale malt", 5.0, malt_extract=0.81, moisture=0.04)])
    assert 1 / 0.79 < grist.grist / grist.potential < 1 / 0.75


def test_a_missing_analysis_takes_the_default_of_its_type_and_says_so():
    known, _ = malt_potential([Malt("1", "Pilsner malt", 5.0, malt_extract=0.81, moisture=0.04)])
    assumed, notes = malt_potential([Malt("1", "Pilsner malt", 5.0)])
    assert assumed.std_dev > 1.3 * known.std_dev
    assert abs(assumed.nominal_value - known.nominal_value) < 2 * assumed.std_dev
    assert notes == (
        "no extract analysis recorded; taken from the type of malt: Pilsner malt 81.5 ± 1.0 %.",
        "no moisture analysis recorded; taken from the type of malt: Pilsner malt 4.2 ± 0.7 %.",
    )


def test_base_malt_default_lies_within_published_ranges():
    # Master Brewers, malt shipment ranges: fine grind dry basis 81.4 to 82.6 %; common practice: 80 to 83 %, moisture
    # 3 to 5 %, fine-coarse difference 1.3 to 1.9 %
    for name in ("Pilsner malt", "pale malt", "Lager malt", "2-row"):
        default = malt_default(name)
        assert 0.80 <= default.malt_extract <= 0.83
        assert 0.03 <= default.moisture <= 0.05
        assert 0.013 <= default.fine_coarse <= 0.019


@pytest.mark.parametrize(
    ("malt", "kind"),
    [
        ("Caramel malt 60", "crystal malt"),
        ("Roasted barley", "roasted malt"),
        ("flaked barley", "unmalted grain"),
        ("Wheat malt", "wheat malt"),
        ("raw wheat", "unmalted grain"),
        ("cane sugar", "sugar"),
        ("dry malt extract", "dry malt extract"),
        ("rice hulls", "husks"),
        ("Munich malt", "munich malt"),
        ("mystery", "unknown malt"),
    ],
)
def test_types_of_malt(malt, kind):
    assert malt_default(malt).kind == kind


def test_every_default_has_an_honest_sd():
    for _, default in MALT_DEFAULTS:
        assert default.malt_extract_sd > 0
        assert default.moisture_sd > 0
        assert default.malt_extract + default.moisture <= 1.25
    assert malt_default("mystery").malt_extract_sd > malt_default("pale malt").malt_extract_sd


@pytest.mark.parametrize(
    ("malts", "reason"),
    [
        ([], "no malts recorded in grist.csv."),
        ([Malt("1", "pale malt"), Malt("1", "wheat malt", 1.0)], "mass not recorded for 'pale malt'."),
        ([Malt("1", "pale malt", 0.0)], "the malts weigh nothing."),
        (
            [Malt("1", "pale malt", 5.0, malt_extract=81.0)],
            "extract of 'pale malt' is 81; expected a mass fraction (80 % is 0.8).",
        ),
        (
            [Malt("1", "pale malt", 5.0, malt_extract=0.81, moisture=4.0)],
            "moisture of 'pale malt' is 4; expected a mass fraction (80 % is 0.8).",
        ),
    ],
)
def test_no_potential_without_its_reason(malts, reason):
    assert malt_potential(malts) == (None, (reason,))


def test_coarse_grind_is_below_fine_grind():
    grist, _ = weigh_grist([Malt("1", "pale malt", 5.0, malt_extract=0.81, moisture=0.04, fine_coarse=0.015)])
    assert grist.coarse == pytest.approx(5 * 0.96 * 0.795)
    assert grist.water == pytest.approx(0.2)


def test_a_mash_is_never_hotter_than_its_water():
    # A printed example (common practice, no source) mixes grist of 30 degC, 3 % moisture, slaking +2.1 K, with liquor
    # of 60 degC at 3 kg/kg and gets 65.9 degC by adding 0.40 + 30. The formula above it, with the specific heats of
    # Pauls, Brewing Room Book 1984/85, gives (0.40 x 30 + 3 x 60) / 3.40 + 2.1 = 58.57 degC; ours by heat capacities
    grain, water = malt_heat_capacity(1.0, 0.03, 45.0), water_heat_capacity(3.0 / 0.9982, 60.0)
    mash = (grain * 30.0 + water * 60.0) / (grain + water) + 2.1
    assert mash == pytest.approx((0.40 * 30 + 3 * 60) / 3.40 + 2.1, abs=0.15)
    assert mash < 60.0
    assert pytest.approx(65.9, abs=0.1) == (0.40 + 30 + 3 * 60) / 3.30 + 2.1  # the printed slip
