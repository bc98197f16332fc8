"""`explain_change`: pieces that add up, periods however they are named, and what the pieces cannot tell."""

from __future__ import annotations

import json
import re

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from statsmodels.stats.oaxaca import OaxacaBlinder

from brewlog.findings import explain_change, relate
from brewlog.findings.cells import own_columns
from brewlog.findings.model import fit_model
from brewlog.findings.pieces import pieces_of
from brewlog.findings.priors import resolve_priors
from brewlog.findings.rows import usable_rows
from brewlog.findings.where import where_changed


@pytest.fixture(scope="module")
def table(histories):
    return histories.draw(histories.Settings(n=44, **histories.HOME), 3).table


def test_pieces_and_the_unexplained_add_up(table):
    change = explain_change(table, "base", "mash")
    mash = table["control"] == "mash"
    measured = table["brewhouse"][mash].mean() - table["brewhouse"][~mash].mean()
    assert change.total == pytest.approx(measured)
    assert change.pieces["estimate"].sum() + change.unexplained == pytest.approx(measured)
    assert change.counts == (int((~mash).sum()), int(mash.sum()))
    assert (change.pieces["low"] <= change.pieces["estimate"]).all()


def test_a_piece_is_coefficient_times_change_of_mean(table):
    full = table.fillna(table.mean(numeric_only=True))
    relation = relate(full)
    pieces = explain_change(full, "base", "mash", relation=relation).pieces
    mash = full["control"] == "mash"
    gap = relation.params["mill_gap"] * (full["mill_gap"][mash].mean() - full["mill_gap"][~mash].mean())
    assert pieces.loc["mill_gap", "estimate"] == pytest.approx(gap)
    assert pieces.loc["mill_gap", "after"] == pytest.approx(full["mill_gap"][mash].mean())


def test_a_piece_carries_the_mean_that_was_filled(table):
    full = table.fillna(table.mean(numeric_only=True))
    gaps = full.copy()
    gaps.loc[gaps.index[::3], "sparge"] = np.nan
    relation = relate(gaps)
    mash = relation.rows.control == "mash"
    column = next(one for one in relation.rows.columns if one.name == "sparge")
    at = relation.fit.design.index("sparge")
    contrast = np.zeros(len(relation.fit.design.names))
    contrast[at] = relation.fit.design.matrix[mash, at].mean() - relation.fit.design.matrix[~mash, at].mean()

    def ranges(carried: bool) -> list[float]:
        """The wider of the ranges under the priors as they are and twice as wide."""
        found = []
        for fit in (relation.fit, relation.loose):
            square = fit.posterior.mean[at] ** 2 + fit.posterior.cov[at, at]
            filled = square * sum(column.variance[side].sum() / side.sum() ** 2 for side in (mash, ~mash))
            found.append(fit.posterior.along(contrast, filled if carried else 0.0).interval())
        return [min(low for low, _ in found), max(high for _, high in found)]

    found = explain_change(gaps, "base", "mash", relation=relation).pieces.loc["sparge", ["low", "high"]]
    assert found.tolist() == pytest.approx(ranges(carried=True), rel=1e-4)
    assert found.tolist() != pytest.approx(ranges(carried=False), rel=1e-2)


def test_a_piece_reaches_as_far_as_under_looser_priors(table):
    relation = relate(table)
    mash = relation.rows.control == "mash"
    told = explain_change(table, "base", "mash", relation=relation).pieces
    for fit in (relation.fit, relation.loose):
        alone = pieces_of(fit, ~mash, mash)
        assert (told["low"] <= alone["low"]).all()
        assert (told["high"] >= alone["high"]).all()
    assert told["estimate"].equals(pieces_of(relation.fit, ~mash, mash)["estimate"])


def test_the_way_back_has_the_other_sign(table):
    there, back = explain_change(table, "base", "mash"), explain_change(table, "mash", "base")
    np.testing.assert_allclose(there.pieces["estimate"], -back.pieces["estimate"], atol=1e-9)
    np.testing.assert_allclose(there.pieces["low"], -back.pieces["high"], atol=1e-9)


def test_noise_is_what_measuring_alone_would_make(table):
    change = explain_change(table, "base", "mash")
    mash = table["control"] == "mash"
    parts = [(table["brewhouse_sd"][side] ** 2).sum() / side.sum() ** 2 for side in (mash, ~mash)]
    assert change.noise == pytest.approx(2 * np.sqrt(sum(parts)))


def test_a_new_instrument_joins_the_noise(table):
    mash = table["control"] == "mash"
    same = explain_change(table.assign(instruments="hydrometer"), "base", "mash")
    other = table.assign(instruments=np.where(mash, "density meter", "hydrometer"))
    more = table.assign(instruments=np.where(mash, "hydrometer, scale", "hydrometer"))
    changed = explain_change(other, "base", "mash")
    extra = sum((table["brewhouse_sd"][side] ** 2).mean() for side in (mash, ~mash))
    assert changed.noise**2 - same.noise**2 == pytest.approx(4 * extra)
    assert "the instruments changed between the periods (hydrometer, then density meter)" in changed.notes[0]
    assert explain_change(more, "base", "mash").noise == same.noise


def test_periods_by_date_by_word_and_by_condition_agree(table):
    first = table["date"][table["control"] == "mash"].min()
    last = first - pd.Timedelta(days=1)
    by_word = explain_change(table, "base", "mash")
    by_date = explain_change(table, (None, last.date().isoformat()), (first, None))
    by_mask = explain_change(table, table["control"] == "base", table["control"] == "mash")
    by_array = explain_change(table, (table["control"] == "base").to_numpy(), table["control"] == "mash")
    for other in (by_date, by_mask, by_array):
        pd.testing.assert_series_equal(other.pieces["estimate"], by_word.pieces["estimate"])
    assert by_date.before == f"up to {last.date()}"
    assert by_date.after == f"since {first.date()}"


def test_a_condition_is_matched_by_the_index(table):
    mask = (table["control"] == "mash").sample(frac=1.0, random_state=1)
    assert explain_change(table, ~mask, mask).total == explain_change(table, "base", "mash").total


@pytest.mark.parametrize(
    ("before", "after", "text"),
    [
        ("bottom", "mash", "before is 'bottom'; expected 'base' or 'mash', a range of dates"),
        (("2019-01-01", "2019-02-01"), "mash", "before (2019-01-01 to 2019-02-01) holds no brew of the table."),
        ("base", "base", "before (base control) and after (base control) share"),
        (("soon", None), "mash", "before holds 'soon', which is no date"),
        ((1, 2), "mash", "before is (1, 2); expected"),
        (3, "mash", "before is 3; expected"),
        (pd.Series([1.0, 2.0]), "mash", "before is a Series of float64; expected"),
        (np.array([True]), "mash", "before has shape (1,) and the table 44 rows"),
    ],
)
def test_periods_that_cannot_be_read_are_answered_plainly(table, before, after, text):
    with pytest.raises(ValueError, match=re.escape(text)):
        explain_change(table, before, after)


def test_columns_that_are_not_there(table):
    with pytest.raises(ValueError, match="has no column 'control'"):
        explain_change(table.drop(columns="control"), "base", "mash")
    with pytest.raises(ValueError, match="has no column 'date'"):
        explain_change(table.drop(columns="date"), (None, "2024-01-01"), "mash")
    with pytest.raises(ValueError, match="about 'brewhouse' and response is 'mash'"):
        explain_change(table, "base", "mash", response="mash", relation=relate(table))


def test_too_few_usable_brews_say_so(table):
    few = table.copy()
    few.loc[few.index[few["control"] == "mash"][1:], "hold_rms"] = np.nan
    change = explain_change(few, "base", "mash")
    assert change.pieces.empty
    assert "can be used, two of each are needed at least" in change.sentence
    assert np.isfinite(change.total)


def test_where_a_gain_sits():
    table = pd.DataFrame(
        {
            "conversion": [90.0, 91.0, 92.0, 95.0, 96.0, 97.0, np.nan],
            "lauter": [80.0, 81.0, 82.0, 81.0, 82.0, 83.0, 90.0],
        }
    )
    before = np.array([True] * 3 + [False] * 4)
    where = where_changed(table, before, ~before)
    assert where.loc["conversion", "estimate"] == pytest.approx(5.0 * 81.5 / 100)
    assert where.loc["lauter", "estimate"] == pytest.approx(1.0 * 93.5 / 100)
    total = 96.0 * 82.0 / 100 - 91.0 * 81.0 / 100
    assert where["estimate"].sum() == pytest.approx(total)
    assert where.loc["conversion", "low"] > 0 > where.loc["lauter", "low"]
    assert where_changed(table.drop(columns="lauter"), before, ~before) is None
    assert where_changed(table.iloc[:4], before[:4], ~before[:4]) is None


def test_control_stands_beside_its_part_through_tightness(table):
    change = explain_change(table, "base", "mash")
    assert change.control.loc["moving the control sensor", "estimate"] == change.relation.control_effect.estimate
    assert set(change.control.index) == {
        "moving the control sensor",
        "of it, through tightness",
        "with what came unwritten",
    }


def test_sentence_never_speaks_of_shares(table):
    sentence = explain_change(table, "base", "mash").sentence
    assert "Left unexplained: " in sentence
    assert "% of" not in sentence


def test_oaxaca_pooled_with_indicator_is_the_sum_of_our_pieces():
    # Spending example of Oaxaca-Blinder (Greene, credit-card expenditure; statsmodels documents gap 158.7504, explained
    # 130.8095, unexplained 27.94091). With flat priors and the group as the step, our pieces are the explained part.
    frame = sm.datasets.ccard.load_pandas().data
    model = OaxacaBlinder(
        frame["AVGEXP"], frame[["OWNRENT", "AGE", "INCOME", "INCOMESQ"]], "OWNRENT", hasconst=False, swap=True
    )
    unexplained, explained, gap = model.two_fold(two_fold_type="pooled").params
    assert [gap, explained, unexplained] == pytest.approx([158.7504, 130.8095, 27.94091], abs=2e-4)
    scale = 20.0  # spending as points of an efficiency; income as tightness
    order = frame.sort_values("OWNRENT", kind="stable").reset_index(drop=True)
    table = pd.DataFrame(
        {
            "brewhouse": order["AVGEXP"] / scale,
            "brewhouse_sd": 0.0,
            "hold_rms": order["INCOME"],
            "hold_rms_sd": 0.0,
            "control": np.where(order["OWNRENT"] == 1, "mash", "base"),
            "age": order["AGE"],
            "incomesq": order["INCOMESQ"],
        }
    )
    flat = dict.fromkeys(("intercept", "hold_rms", "age", "incomesq", "step"), (0.0, np.inf))
    flat |= {"trend": (0.0, 0.0), "wander": (0.0, 0.0)}
    own, _ = own_columns(table, ["age", "incomesq"], [])
    priors = resolve_priors(flat, own)
    rows = usable_rows(table, "brewhouse", priors.covariates, own, [])
    fit = fit_model(rows, priors, robust=False)
    mash = rows.control == "mash"
    pieces = pieces_of(fit, ~mash, mash)["estimate"]
    step = next(name for name in pieces.index if name.startswith("step"))
    assert pieces.drop(step).sum() * scale == pytest.approx(explained, rel=1e-8)
    assert pieces[step] * scale == pytest.approx(unexplained, rel=1e-8)
    assert pieces["trend"] == 0.0


def test_drawing_names_every_piece(table):
    import matplotlib as mpl

    mpl.use("Agg")
    change = explain_change(table, "base", "mash")
    labels = {text.get_text() for text in change.plot().get_yticklabels()}
    assert {"grain bill", "mill gap", "tightness of the hold"} <= labels
    assert len(labels) >= len(change.pieces) + 1
    assert relate(table).plot().get_xlabel()


def test_values_ready_for_json(table):
    change = explain_change(table, "base", "mash")
    told = json.loads(json.dumps(change.to_dict(), allow_nan=False))
    assert told["total"] == change.total
    assert told["pieces"]["trend"]["estimate"] == change.pieces.loc["trend", "estimate"]
    assert told["pieces"]["rig"]["before"] is None
    assert told["counts"] == list(change.counts)
    assert told["sentence"] == change.sentence
    assert change._repr_html_().startswith("<p>From base control")
