"""A planned gravity in whatever unit the brewer plans in: brought to SG, by the one formula of the project."""

from __future__ import annotations

import pytest

import brewlog
from brewlog.report.planned import planned_and_reached
from brewlog.wort import sg_from_extract
from tests.logbook.corpus import GOOD

# mass per cent and SG 20/20: polynomial of the ASBC table, computed; ICUMSA SPS-4 is within 4e-5 of it
PUBLISHED = ((10.0, 1.04003), (12.0, 1.04837), (15.0, 1.06111))
GRAVITIES = ("1.046", "1.046", "1.051")


def book_of(tmp_path, header, *cells, file="brews.csv", name="planned_gravity", was=GRAVITIES):
    """The good logbook with another header and other cells in one column."""
    lines = [line.split(",") for line in GOOD[file].splitlines()]
    place = lines[0].index(name)
    lines[0][place] = header
    for line, cell, old in zip(lines[1:], cells, was, strict=True):
        assert line[place] == old
        line[place] = cell
    for other, content in GOOD.items():
        target = tmp_path / "book" / other
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(content, encoding="utf-8")
    (tmp_path / "book" / file).write_text("\n".join(map(",".join, lines)) + "\n", encoding="utf-8")
    return brewlog.read_logbook(tmp_path / "book")


def planned(book):
    return [brew.planned_gravity for brew in book.brews.values()]


@pytest.mark.parametrize("unit", ["degP", "°P", "P", "Plato", "deg P", "° P"])
def test_a_gravity_planned_in_degrees_plato_is_read_in_sg(tmp_path, unit):
    book = book_of(tmp_path, f"planned_gravity [{unit}]", *(f"{plato:g}" for plato, _ in PUBLISHED))
    assert book.problems == ()
    assert planned(book) == pytest.approx([sg for _, sg in PUBLISHED], abs=6e-5)
    assert planned(book) == pytest.approx([float(sg_from_extract(plato / 100)) for plato, _ in PUBLISHED], rel=1e-12)


def test_a_brewer_who_plans_in_plato_sees_plan_and_result(tmp_path):
    book = book_of(tmp_path, "planned_gravity [°P]", "11.44", "", "12.6")
    brew = book.brews["l1"]
    rows = planned_and_reached(brew, brewlog.extract_balance(brew, book.rigs["shed"]))
    in_sg = planned_and_reached(
        (twin := book_of(tmp_path, "planned_gravity", *GRAVITIES).brews["l1"]),
        brewlog.extract_balance(twin, book.rigs["shed"]),
    )
    for (name, unit, plan, reached), (_, _, other, _) in zip(rows, in_sg, strict=True):
        assert plan == pytest.approx(other, rel=1e-3), (name, unit)  # the plan has four digits
        assert reached is not None


def test_a_plan_in_brix_is_sugar_by_weight_and_says_so(tmp_path):
    book = book_of(tmp_path, "planned_gravity [Brix]", "10", "12", "15")
    assert planned(book) == pytest.approx([sg for _, sg in PUBLISHED], abs=6e-5)
    assert [(p.line, p.column, p.severity) for p in book.problems] == [(1, "planned_gravity [Brix]", "note")]
    assert "as degP" in book.problems[0].cost


@pytest.mark.parametrize(("unit", "factor"), [("kg/m^3", 1.0), ("g/cm3", 1e-3), ("kg/L", 1e-3)])
def test_a_plan_in_density_is_that_at_20_degrees(tmp_path, unit, factor):
    # 1038.10 and 1046.44 kg/m3 at 10 and 12 %: ICUMSA SPS-4, computed
    book = book_of(tmp_path, f"planned_gravity [{unit}]", f"{1038.10 * factor:.6g}", f"{1046.44 * factor:.6g}", "")
    assert planned(book)[:2] == pytest.approx([1.0400, 1.0484], abs=6e-5)
    assert [p.severity for p in book.problems] == ["note"]
    assert "20 degC" in book.problems[0].cost


@pytest.mark.parametrize(("cell", "unit"), [("11.44 °P", "°P"), ("11.44 degP", "degP"), ("11.44 Plato", "Plato")])
def test_a_unit_inside_the_cell_counts(tmp_path, cell, unit):
    book = book_of(tmp_path, "planned_gravity", cell, *GRAVITIES[1:])
    assert planned(book) == pytest.approx([1.0460, 1.046, 1.051], abs=6e-5)
    assert [(p.line, p.severity) for p in book.problems] == [(2, "note")]
    assert book.problems[0].cost == f"read as 11.44 {unit}, SG 1.0460"


def test_plato_without_a_unit_is_asked_about(tmp_path):
    book = book_of(tmp_path, "planned_gravity", "11.4", *GRAVITIES[1:])
    assert planned(book) == [None, 1.046, 1.051]
    assert [(p.line, p.severity) for p in book.problems] == [(2, "problem")]
    assert "planned_gravity [degP]" in book.problems[0].expected


def test_sg_under_a_header_of_plato_is_never_taken_for_plato(tmp_path):
    book = book_of(tmp_path, "planned_gravity [degP]", "1.046", "12", "15")
    assert planned(book)[0] is None
    assert [(p.line, p.found, p.severity) for p in book.problems] == [(2, "1.046", "problem")]


@pytest.mark.parametrize("cell", ["-20", "200", "inf"])
def test_what_is_no_wort_is_left_out(tmp_path, cell):
    book = book_of(tmp_path, "planned_gravity [degP]", cell, "12", "15")
    assert planned(book)[0] is None
    assert [(p.line, p.found, p.severity) for p in book.problems] == [(2, cell, "problem")]


def test_the_sd_of_a_rig_in_plato(tmp_path):
    book = book_of(tmp_path, "gravity_sd [degP]", "0.25", "", file="rigs.csv", name="gravity_sd", was=("0.001",) * 2)
    # between 11.75 and 12.25 %, by the published table: SG 1.0473 to 1.0495 over half a degree
    assert book.rigs["shed"].gravity_sd == pytest.approx(0.25 * (1.0611 - 1.0400) / 5, rel=0.03)
    assert [(p.line, p.column, p.severity) for p in book.problems] == [(1, "gravity_sd [degP]", "note")]
