"""Figures and tables in the reader's units: the same things, at the places where those units put them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from brewlog import figures
from brewlog.figures.units import UnitChoice
from brewlog.findings import relate
from brewlog.mash import hold
from tests.figures.reading import line, texts

US = UnitChoice("us")


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        # exact by definition: degF = degC x 1.8 + 32; a difference of 1 K is 1.8 degF; pound 0.45359237 kg; US gallon
        # 3.785411784 L (NIST Special Publication 811, 2008, appendix B)
        ("64.0 to 68.0 °C", "147.2 to 154.4 °F"),
        ("−0.5 ± 0.2 K (rms)", "−0.90 ± 0.36 °F (rms)"),
        ("20.0 ± 0.5 °C", "68.0 ± 0.9 °F"),
        ("6.93 (6.73 to 7.14) W/K", "3.85 (3.74 to 3.97) W/°F"),
        ("28.9 ± 0.3 L at SG 1.0470 ± 0.0007", "7.63 ± 0.08 gal at SG 1.0470 ± 0.0007"),
        ("within 1 K", "within 1.8 °F"),
        ("5 L", "1.3 gal"),
        ("4.0 kg of malt", "8.8 lb of malt"),
        ("0.9 K instead of 1.5 K", "1.6 °F instead of 2.7 °F"),
        ("cold to 64 degC", "cold to 147 °F"),
        ("SG 1.048 and 20.0 L", "SG 1.048 and 5.28 gal"),
        ("brews k12, L3 and 4 kegs; in 5 Lots", "brews k12, L3 and 4 kegs; in 5 Lots"),
        ("1.2 points per K", "1.2 points per K"),
    ],
)
def test_sentences_in_the_readers_units(said, shown):
    assert US.in_words(said) == shown
    assert UnitChoice().in_words(said) == said


def test_tables_in_the_readers_units():
    frame = pd.DataFrame({"temp": [64.0], "hold_rms": [0.5], "purpose": ["x"], "seen": [1.0]})
    units = {"temp": "degC", "hold_rms": "K", "seen": "1"}
    shown = US.frame(frame, units)
    assert shown.to_dict("list") == {
        "temp [°F]": [pytest.approx(147.2)], "hold_rms [°F]": [pytest.approx(0.9)], "purpose": ["x"], "seen": [1.0],
    }  # fmt: skip
    assert list(UnitChoice().frame(frame, units)) == ["temp [°C]", "hold_rms [K]", "purpose", "seen"]
    rows = pd.DataFrame({"estimate": [1.0], "sd": [0.5], "low": [0.0], "high": [2.0], "unit": ["K"]})
    row = US.frame(rows).loc[0].tolist()
    assert row[:4] == pytest.approx([1.8, 0.9, 0.0, 3.6])
    assert row[4] == "°F"


def test_mash_day_in_fahrenheit_with_a_band_of_differences(base_brew):
    metric, ours = figures.plot_mash_day(base_brew), figures.plot_mash_day(base_brew, units="us")
    assert ours.get_ylabel() == "temperature [°F]"
    np.testing.assert_allclose(line(ours, "base").get_ydata(), line(metric, "base").get_ydata() * 1.8 + 32, rtol=1e-12)
    assert "147 °F" in texts(ours)
    bands = [one for one in ours.collections if type(one).__name__.endswith("PolyCollection")]
    heights = [np.ptp(band.get_paths()[0].vertices[:, 1]) for band in bands]
    assert heights[:3] == pytest.approx([1.8] * 3)  # half a kelvin either side
    low, high = metric.get_ylim()
    assert ours.get_ylim() == pytest.approx((low * 1.8 + 32, high * 1.8 + 32))


def test_reconstructed_band_scales_without_offset(blind_brew, reconstructed):
    ours = figures.plot_mash_day(blind_brew, mash=reconstructed, units="us")
    band = next(one for one in ours.collections if np.ptp(one.get_paths()[0].vertices[:, 0]) > 30)
    vertices = band.get_paths()[0].vertices
    at = vertices[np.isclose(vertices[:, 0], vertices[len(vertices) // 3, 0])][:, 1]
    assert np.ptp(at) == pytest.approx(2 * 1.96 * 0.3 * 1.8, rel=1e-6)


def test_lead_and_holds_are_differences(mash_brew, base_brew):
    metric, ours = figures.plot_lead(mash_brew), figures.plot_lead(mash_brew, units="us")
    assert ours.get_ylabel() == "base minus bed [°F]"
    np.testing.assert_allclose(line(ours, "lead").get_ydata(), line(metric, "lead").get_ydata() * 1.8, rtol=1e-9)
    held = figures.plot_holds([hold(base_brew)], units="us")
    assert held.get_ylabel() == "distance of the bed from its rest, rms [°F]"
    assert held.get_xticklabels()[0].get_text().startswith("rest 1, 147 °F")
    drawn = sorted(
        y for one in held.collections if type(one).__name__ == "PathCollection" for _, y in one.get_offsets()
    )
    assert drawn == pytest.approx(sorted(1.8 * hold(base_brew).rests["hold_rms"].dropna()))


def test_account_in_pounds():
    steps = pd.DataFrame(
        {
            "estimate": [4.0, -1.0, 3.0],
            "sd": [0.1, 0.1, 0.1],
            "share": [100.0, -25.0, 75.0],
            "kind": ["level", "step", "level"],
        },
        index=["potential", "left", "fermenter"],
    )
    ax = figures.plot_waterfall(steps, units="us")
    assert ax.get_xlabel() == "extract [lb]"
    assert ax.patches[0].get_width() == pytest.approx(4.0 / 0.45359237)
    assert "−2.20 lb  −25 %" in texts(ax)


def test_rig_in_the_readers_units(fit):
    label = next(iter(fit.per_brew.index))
    metric, ours = figures.plot_fit(fit, label), figures.plot_fit(fit, label, units="us")
    assert ours[0].get_ylabel() == "temperature [°F]"
    assert ours[1].get_ylabel() == "measured minus\nmodelled [°F]"
    np.testing.assert_allclose(
        ours[1].get_lines()[0].get_ydata(), metric[1].get_lines()[0].get_ydata() * 1.8, atol=1e-9
    )
    assert "W/°F" in texts(figures.plot_constants(fit, units="us"))
    drift = figures.plot_drift(fit, "heat_loss", units="us")
    assert drift.get_ylabel() == "heat loss [W/°F]"
    np.testing.assert_allclose(line(drift, "heat_loss").get_ydata(), fit.per_brew["heat_loss"].dropna() / 1.8)


def test_relation_keeps_its_line_in_other_units(table):
    relation = relate(table)
    metric, ours = figures.plot_relation(relation, table), figures.plot_relation(relation, table, units="us")
    assert "rms [°F]" in ours.get_xlabel()
    np.testing.assert_allclose(
        line(ours, "average brew").get_xdata(), line(metric, "average brew").get_xdata() * 1.8, rtol=1e-12
    )
    np.testing.assert_allclose(line(ours, "average brew").get_ydata(), line(metric, "average brew").get_ydata())
    assert ours.get_xlim()[1] == pytest.approx(metric.get_xlim()[1] * 1.8)


def test_other_systems_are_refused(base_brew):
    with pytest.raises(ValueError, match="expected one of metric, us"):
        figures.plot_mash_day(base_brew, units="imperial")


def test_the_sd_of_a_column_has_its_unit():
    frame = pd.DataFrame({"heat_loss": [9.0], "heat_loss_sd": [0.9]})
    shown = UnitChoice("us").frame(frame, {"heat_loss": "W/K"})
    assert shown.to_dict("list") == {
        "heat_loss [W/°F]": [pytest.approx(5.0)],
        "heat_loss_sd [W/°F]": [pytest.approx(0.5)],
    }


def test_rows_are_rounded_by_their_own_interval_and_missing_is_a_dash():
    rows = pd.DataFrame(
        {"estimate": [3740.29, 0.9478, np.nan], "low": [2663.8, 0.9263, np.nan], "high": [4816.9, 0.9693, np.nan],
         "unit": ["J/K", "1", "W/K"]}
    )  # fmt: skip
    shown = UnitChoice().frame(rows, rounded=True)
    # a quarter of the interval is 538 J/K and 0.01075: none and three decimals
    assert shown[["estimate", "low", "high"]].to_numpy().tolist() == [
        ["3740", "2664", "4817"], ["0.948", "0.926", "0.969"], ["–", "–", "–"],
    ]  # fmt: skip
