"""Every figure: the axes it was given, units on the labels, the right lines, limits that hold them."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from matplotlib import pyplot as plt

from brewlog import figures
from brewlog.figures.canvas import apart, broken
from brewlog.findings import explain_change, relate
from brewlog.mash import find_marks, hold, match_rests
from tests.figures.reading import line, texts


def key(ax) -> list[str]:
    return [text.get_text() for text in ax.get_legend().get_texts()]


@pytest.fixture(scope="module")
def relation(table):
    return relate(table)


@pytest.fixture(scope="module")
def change(table, relation):
    return explain_change(table, "base", "mash", relation=relation)


def test_mash_day_draws_on_the_axes_given_with_units(base_brew):
    _, ax = plt.subplots()
    assert figures.plot_mash_day(base_brew, ax=ax) is ax
    assert ax.get_xlabel() == "time since mash-in [min]"
    assert ax.get_ylabel() == "temperature [°C]"
    twin = next(one for one in ax.figure.axes if one is not ax)
    assert twin.get_ylabel() == "heater\npower [%]"


def test_mash_day_lines_are_the_trace_since_mash_in(base_brew):
    ax = figures.plot_mash_day(base_brew)
    zero, trace = find_marks(base_brew).mash_in, base_brew.trace
    base = line(ax, "base")
    at = np.flatnonzero(np.isclose(base.get_xdata() * 60 + zero, trace["elapsed"].iloc[400]))[0]
    assert base.get_ydata()[at] == pytest.approx(trace["base_temp"].iloc[400])
    for word in ("base", "bed", "64 °C", "71 °C", "76 °C", "mash-in", "mash-out", "lift"):
        assert word in texts(ax).split(" | "), word
    rests = [span.temp for span in match_rests(base_brew)]
    low, high = ax.get_ylim()
    assert low < min(rests) - 0.5
    assert high > max(rests) + 0.5
    bands = [one for one in ax.collections if type(one).__name__.endswith("PolyCollection")]
    heights = [np.ptp(band.get_paths()[0].vertices[:, 1]) for band in bands]
    assert heights[: len(rests)] == pytest.approx([1.0] * len(rests))


def test_mash_day_marks_found_events_and_gaps(mash_brew):
    trace = mash_brew.trace
    marks = find_marks(mash_brew)
    gap = trace["elapsed"].between(marks.mash_in + 1200, marks.mash_in + 1800)
    trace.loc[gap, "mash_temp"] = np.nan
    ax = figures.plot_mash_day(replace(mash_brew, load_trace=lambda: (trace, (), ())))
    assert "mash-in (found)" in texts(ax)
    assert "bed not seen" in texts(ax)
    bed = line(ax, "bed")
    assert np.isnan(bed.get_ydata()).sum() == 1  # broken once, not bridged
    whole = figures.plot_mash_day(mash_brew)
    assert "bed not seen" not in texts(whole)


def test_mash_day_draws_a_reconstruction_with_its_band(blind_brew, reconstructed):
    ax = figures.plot_mash_day(blind_brew, mash=reconstructed)
    assert "bed, reconstructed\n(95 % band)" in texts(ax)
    drawn = line(ax, "bed, reconstructed").get_ydata()
    assert np.nanmin(drawn) == pytest.approx(reconstructed["mash_temp"].min(), abs=0.01)
    assert "no probe in the bed" in texts(figures.plot_mash_day(blind_brew))


def test_names_of_lines_stand_clear_of_the_scale_of_the_heater(blind_brew, reconstructed):
    low = reconstructed.assign(mash_temp=reconstructed["mash_temp"].min() - 5.0)
    falling = low.assign(mash_temp=low["mash_temp"] - np.r_[np.zeros(len(low) - 2), 9.0, 9.0])
    for mash in (reconstructed, low, falling):
        ax = figures.plot_mash_day(blind_brew, mash=mash)
        ax.figure.canvas.draw()
        twin = next(one for one in ax.figure.axes if one is not ax)
        name = next(one for one in ax.texts if one.get_text().startswith("bed, reconstructed"))
        assert not twin.yaxis.label.get_window_extent().overlaps(name.get_window_extent())


def test_rests_planned_in_fahrenheit_have_one_decimal_at_most(mash_brew):
    first, *others = mash_brew.rests
    odd = replace(mash_brew, rests=(replace(first, temp=578 / 9), *others))  # 147.6 degF
    for plot in (figures.plot_mash_day, figures.plot_lead):
        assert "64.2 °C" in texts(plot(odd)).split(" | ")
        assert "148 °F" in texts(plot(odd, units="us")).split(" | ")
    assert "rest 1, 64.2 °C" in figures.plot_holds([hold(odd)]).get_xticklabels()[0].get_text()


def test_a_brew_without_trace_gives_a_sentence(without_trace):
    assert texts(figures.plot_mash_day(without_trace)) == "No trace was logged of brew b1."
    assert texts(figures.plot_lead(without_trace)) == "No trace was logged of brew b1."


def test_lead_is_base_minus_bed(mash_brew):
    ax = figures.plot_lead(mash_brew)
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("time since mash-in [min]", "base minus bed [K]")
    trace, zero = mash_brew.trace.dropna(subset=["mash_temp", "base_temp"]), find_marks(mash_brew).mash_in
    row = trace[trace["elapsed"] > zero + 3000].iloc[0]
    lead = line(ax, "lead")
    at = np.flatnonzero(np.isclose(lead.get_xdata() * 60 + zero, row["elapsed"]))[0]
    assert lead.get_ydata()[at] == pytest.approx(row["base_temp"] - row["mash_temp"])
    assert ax.get_ylim()[1] > np.nanmax(lead.get_ydata())


def test_lead_stays_below_what_the_headroom_allows(mash_brew, base_brew):
    ax = figures.plot_lead(mash_brew)
    allowed = [one for one in ax.get_lines() if one.get_label() == "_allowed"]
    assert allowed
    last = allowed[-1]
    span = match_rests(mash_brew)[-1]
    # at its end the bed stands 0.5 K below the rest, so the headroom and that half kelvin are allowed
    assert last.get_ydata()[-1] == pytest.approx(span.headroom + 0.5, abs=0.15)
    assert not [one for one in figures.plot_lead(base_brew).get_lines() if one.get_label() == "_allowed"]


def test_lead_without_a_bed_says_so(blind_brew):
    assert "one of them is not known" in texts(figures.plot_lead(blind_brew))


def test_holds_have_a_column_per_rest(base_brew, mash_brew, blind_brew, reconstructed):
    held = [hold(base_brew), hold(mash_brew), hold(blind_brew)]
    ax = figures.plot_holds(held)
    assert ax.get_ylabel() == "distance of the bed from its rest, rms [K]"
    names = [one.get_text() for one in ax.get_xticklabels()]
    assert names == [
        "rest 1, 64 °C\n2 brews, 1 not seen",
        "rest 2, 71 °C\n2 brews, 1 not seen",
        "mash-out, 76 °C\n2 brews, 1 not seen",
    ]
    drawn = sorted(y for one in ax.collections if type(one).__name__ == "PathCollection" for _, y in one.get_offsets())
    measured = sorted(np.concatenate([one.rests["hold_rms"].dropna() for one in held]))
    assert drawn == pytest.approx(measured)
    assert ax.get_ylim()[0] == 0.0
    assert ax.get_ylim()[1] > max(measured)
    assert "reconstructed" not in key(ax)
    assert "reconstructed" in key(figures.plot_holds([hold(blind_brew, reconstructed)]))


def test_holds_of_nothing_give_a_sentence():
    assert texts(figures.plot_holds([])) == "The bed was not seen in any rest of these brews."


def test_efficiency_history_has_every_brew_and_its_bar(table):
    ax = figures.plot_efficiency_history(table)
    assert ax.get_ylabel() == "brewhouse efficiency [% of potential]"
    known = table["brewhouse"].dropna()
    points = np.concatenate([one.get_ydata() for one in ax.get_lines() if ", " in str(one.get_label())] or [[]])
    bars = [one for one in ax.containers if type(one).__name__ == "ErrorbarContainer"]
    points = np.concatenate([one.lines[0].get_ydata() for one in bars])
    assert sorted(points) == pytest.approx(sorted(known))
    lengths = [np.ptp(part[:, 1]) for one in bars for part in one.lines[2][0].get_segments()]
    assert lengths == pytest.approx([2.8] * len(known))
    assert key(ax) == [
        "controlled in the mash",
        "controlled at the base",
        "kitchen",
        "shed",
        "no brewhouse efficiency (1)",
    ]
    low, high = ax.get_ylim()
    assert low < known.min() - 1.4
    assert high > known.max() + 1.4


def test_efficiency_history_says_when_there_is_none(table):
    assert "No brew has" in texts(figures.plot_efficiency_history(table.assign(brewhouse=np.nan)))
    with pytest.raises(ValueError, match="no column 'lauter'"):
        figures.plot_efficiency_history(table, "lauter")


def test_waterfall_bars_meet():
    steps = pd.DataFrame(
        {
            "estimate": [4.0, -0.8, 3.2, -0.2, 3.0],
            "sd": [0.05, 0.1, 0.08, 0.1, 0.08],
            "share": [100.0, -20.0, 80.0, -5.0, 75.0],
            "kind": ["level", "step", "level", "step", "level"],
        },
        index=["potential", "left behind", "kettle", "trub", "fermenter"],
    )
    ax = figures.plot_waterfall(steps)
    assert ax.get_xlabel() == "extract [kg]"
    edges = [(one.get_x(), one.get_x() + one.get_width()) for one in ax.patches]
    assert edges[1] == pytest.approx((4.0, 3.2))
    assert edges[3] == pytest.approx((3.2, 3.0))
    assert [one.get_text() for one in ax.get_yticklabels()] == list(steps.index)
    assert "−0.80 kg  −20 %" in texts(ax)
    assert ax.get_xlim()[0] == 0.0
    assert texts(figures.plot_waterfall(steps.iloc[:0])) == "Nothing is known of the extract of this brew."


def test_fit_draws_measured_modelled_and_what_is_left(fit):
    label = next(iter(fit.per_brew.index))
    upper, lower = figures.plot_fit(fit, label)
    assert upper.get_ylabel() == "temperature [°C]"
    assert lower.get_ylabel() == "measured minus\nmodelled [K]"
    assert lower.get_xlabel() == "time since the trace began [min]"
    rest = np.concatenate([one[:, 0] for one in fit.days[label].mash.residuals])
    drawn = np.concatenate([one.get_ydata() for one in lower.get_lines() if str(one.get_label()).endswith("base")])
    np.testing.assert_allclose(np.sort(drawn[np.isfinite(drawn)]), np.sort(rest[np.isfinite(rest)]), atol=1e-9)
    assert f"base {fit.days[label].mash.rms['base_temp']:.2f} K" in texts(upper)
    assert "was not fitted" in texts(figures.plot_fit(fit, "nobody")[0])


def test_constants_keep_a_row_each_with_their_number(fit):
    ax = figures.plot_constants(fit)
    assert ax.get_xlabel() == "share of the estimate [%]"
    assert [one.get_text() for one in ax.get_yticklabels()] == [
        str(name).replace("_", " ") for name in fit.constants.index
    ]
    row = fit.constants.loc["heat_loss"]
    place = list(fit.constants.index).index("heat_loss")
    number = next(one.get_text() for one in ax.texts if one.get_position() == (1.01, place))
    assert float(number.split(" ")[0]) == pytest.approx(row["estimate"], rel=0.05)
    assert f" {row['unit']} (" in number
    dots = [one.get_offsets() for one in ax.collections if type(one).__name__ == "PathCollection"]
    shares = np.sort(np.concatenate([part[:, 0] for part in dots]))
    loss = fit.per_brew["heat_loss"] / row["estimate"] * 100
    assert all(np.isclose(shares, value).any() for value in loss)


def test_drift_shows_every_brew_and_the_interval(fit):
    ax = figures.plot_drift(fit, "heat_loss")
    assert ax.get_ylabel() == "heat loss [W/K]"
    np.testing.assert_allclose(line(ax, "heat_loss").get_ydata(), fit.per_brew["heat_loss"].dropna())
    with pytest.raises(ValueError, match="has no constant 'charm'"):
        figures.plot_drift(fit, "charm")


def test_drift_has_the_sd_of_each_day_as_a_bar(fit):
    ax = figures.plot_drift(fit, "heat_share")
    lengths = [np.ptp(one[:, 1]) for one in ax.containers[0].lines[2][0].get_segments()]
    assert lengths == pytest.approx(list(2 * fit.per_brew["heat_share_sd"]))


def test_stretches_have_a_column_each_and_their_part_of_the_weight(fit):
    ax = figures.plot_stretches(fit)
    assert ax.get_ylabel() == "heat share"
    told = fit.per_stretch[fit.per_stretch["constant"] == "heat_share"]
    there = [name for name in ("heat-up", "mash", "boil") if (told["stretch"] == name).any()]
    assert len(there) >= 2
    words = [one.get_text().split("\n") for one in ax.get_xticklabels()]
    assert [one[0] for one in words] == there
    parts = told[told["stretch"].isin(there)].groupby("stretch")["weight"].sum()
    for name, said in words:
        assert f"{100 * parts[name] / parts.sum():.0f} % of the weight" in said
    for name in there:
        bars = next(one for one in ax.containers if one.get_label() == name)
        part = told[told["stretch"] == name]
        np.testing.assert_allclose(bars.lines[0].get_ydata(), part["estimate"].astype(float))
        lengths = [np.ptp(one[:, 1]) for one in bars.lines[2][0].get_segments()]
        assert lengths == pytest.approx(list(2 * part["sd"].astype(float)))
    middle = np.average(told["estimate"], weights=1 / told["sd"] ** 2)
    assert ax.get_ylim()[0] < middle < ax.get_ylim()[1]
    assert "No stretch of a brew day" in texts(figures.plot_stretches(fit, "boil_off"))


def test_relation_line_is_the_posterior_mean(relation, table):
    ax = figures.plot_relation(relation, table)
    assert ax.get_xlabel().startswith("tightness")
    assert "[K]" in ax.get_xlabel()
    assert ax.get_ylabel() == "brewhouse efficiency [% of potential]"
    drawn = line(ax, "average brew")
    slope = np.diff(drawn.get_ydata())[0] / np.diff(drawn.get_xdata())[0]
    assert slope == pytest.approx(relation.params["hold_rms"])
    at = np.interp(relation.rows.shrunk.mean(), drawn.get_xdata(), drawn.get_ydata())
    design = relation.fit.design.matrix
    assert at == pytest.approx(design.mean(axis=0) @ relation.params.to_numpy())
    assert "22 brews; 2 left out" in texts(ax)
    assert key(ax)[-1] == "left out"


def test_left_out_brews_stand_at_the_edges_in_grey(relation, table):
    ax = figures.plot_relation(relation, table)
    crosses = line(ax, "left out")
    places = sorted(zip(crosses.get_xdata(), crosses.get_ydata(), strict=True))
    assert places[0] == pytest.approx((table["hold_rms"][3], ax.get_ylim()[0]))
    assert places[1] == pytest.approx((ax.get_xlim()[1], table["brewhouse"][7]))
    assert crosses.get_color() == figures.palette.LEFT_OUT
    assert "left out" not in key(figures.plot_relation(relation))


def test_relation_of_nothing_gives_a_sentence(table):
    empty = relate(table.assign(hold_rms=np.nan))
    assert texts(figures.plot_relation(empty)) == "No brew has both a brewhouse efficiency and a tightness."


def test_change_has_all_pieces_and_the_rest(change):
    ax = figures.plot_change(change)
    assert ax.get_xlabel() == "change of brewhouse efficiency [percentage points]"
    labels = [one.get_text().replace("\n", " ") for one in ax.get_yticklabels()]
    assert sorted(labels[:-2]) == sorted(change.pieces["what"])
    assert labels[-2:] == ["not explained", "measured change"]
    widths = [one.get_width() for one in ax.patches]
    assert widths[-1] == pytest.approx(change.total)
    assert sum(widths[:-1]) == pytest.approx(change.total)
    low, high = ax.get_xlim()
    assert low < change.pieces["low"].min()
    assert high > change.pieces["high"].max()


def test_change_that_is_refused_gives_the_reason(change):
    nothing = SimpleNamespace(
        response="mash", after="a", before="b", reason="one brew only", pieces=change.pieces.iloc[:0]
    )
    assert texts(figures.plot_change(nothing)) == "The change cannot be told apart: one brew only"


def test_lines_break_at_gaps_of_more_than_five_minutes():
    times, values = broken(np.array([0.0, 300.0, 601.0]), np.array([1.0, 2.0, 3.0]))
    assert np.isnan(values).tolist() == [False, False, True, False]
    assert times.size == 4


def test_labels_are_moved_apart_no_further_than_need_be():
    np.testing.assert_allclose(apart([1.0, 5.0], 1.0), [1.0, 5.0])
    np.testing.assert_allclose(apart([5.0, 4.9, 4.8], 1.0), [5.9, 4.9, 3.9])
