"""A second run makes only what changed."""

from __future__ import annotations

import csv
import shutil
from contextlib import contextmanager
from types import SimpleNamespace

import pandas as pd
import pytest

import brewlog
from brewlog.report import jobs, write_report
from brewlog.report.blocks import Text
from brewlog.report.digests import brew_digest, digest
from brewlog.report.manifest import FILE, Manifest, read_manifest
from brewlog.report.notebooks import notebook_source as source
from brewlog.report.render import Page

TABLES = {"brew_table.csv", "constants.csv", "findings.csv"}
WHOLE_BOOK = {"index.html", "findings.html", "why_efficiency_changed.html", *TABLES}


@pytest.fixture(autouse=True)
def _plain_pages(monkeypatch):
    """Pages of one line: what is tested here is which of them are made, not what they say."""

    def stub(kind):
        def make(context, *labels):
            names = {"brew": context.brews, "rig": context.rigs, "compare": context.pairs}.get(kind)
            file = f"{kind}.html" if names is None else names[labels if len(labels) > 1 else labels[0]]
            return Page(file, kind, [Text(" ".join(labels))])

        return make

    def constants(book, label):
        """Constants that rest on volumes and on the rig's own row, made in no time."""
        volumes = [r.value for brew in book.brews_of(label) for r in brew.readings if r.quantity == "volume"]
        table = pd.DataFrame({"estimate": [sum(volumes)]}, index=["boil_off"])
        nothing = pd.DataFrame()
        return SimpleNamespace(
            constants=table, per_brew=nothing, per_stretch=nothing, left_out=pd.Series(dtype=object),
            record=book.rigs[label], model=SimpleNamespace(name="a model"),
        )  # fmt: skip

    monkeypatch.setattr("brewlog.report.results.calibrate", constants)
    for kind in ("index", "findings", "rig", "brew", "compare"):
        monkeypatch.setattr(jobs, f"{kind}_page", stub(kind))
    monkeypatch.setattr(jobs, "notebook_page", lambda stem, book, choices: Page(f"{stem}.html", stem, [Text(stem)]))
    for frame in ("table_frame", "constants_frame", "findings_frame"):
        monkeypatch.setattr(jobs, frame, lambda results: pd.DataFrame({"a": [1]}))


@pytest.fixture(scope="module")
def first_run(small_book_path, tmp_path_factory):
    """A logbook with the report of a first run, to be copied."""
    folder = tmp_path_factory.mktemp("first")
    shutil.copytree(small_book_path, folder / "book")
    return folder


@pytest.fixture
def book_and_out(first_run, tmp_path):
    if not (first_run / "out").exists():
        written = run(first_run)
        assert written.kept == []
        assert len(written.files) == 3 + 2 + 6 + 3 + 3
    shutil.copytree(first_run, tmp_path / "copy")
    return tmp_path / "copy"


def run(folder, **options):
    return write_report(brewlog.read_logbook(folder / "book"), folder / "out", **options)


@contextmanager
def rows_of(folder, file):
    """Rows of a file of the logbook, to be changed in place."""
    path = folder / "book" / file
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    header = list(rows[0])
    yield rows
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, header)
        writer.writeheader()
        writer.writerows(rows)


def label_and_rig(folder):
    book = brewlog.read_logbook(folder / "book")
    brew = next(iter(book.brews.values()))
    return brew.label, brew.rig, [other.label for other in book.brews.values() if other.rig != brew.rig]


def test_nothing_is_made_where_nothing_changed(book_and_out, monkeypatch):
    monkeypatch.setattr("brewlog.report.results.calibrate", None)  # not even a constant is fitted
    before = {path.name: path.stat().st_mtime_ns for path in (book_and_out / "out").glob("*.html")}
    written = run(book_and_out)
    assert written.files == []
    assert len(written.kept) == 17
    assert {path.name: path.stat().st_mtime_ns for path in (book_and_out / "out").glob("*.html")} == before


@pytest.mark.parametrize("quantity", ["gravity", "volume"])
def test_a_changed_reading_makes_its_brew_and_the_findings_anew(book_and_out, quantity):
    label, rig, others = label_and_rig(book_and_out)
    with rows_of(book_and_out, "readings.csv") as rows:
        row = next(r for r in rows if r["brew"] == label and r["quantity"] == quantity)
        row["value"] = f"{float(row['value']) * 1.001:.4f}"
    made = set(run(book_and_out).files)
    assert WHOLE_BOOK | {f"brew-{label}.html", f"rig-{rig}.html"} <= made
    assert made.isdisjoint({"problems.html", *(f"brew-{other}.html" for other in others)})
    # the other brews of that rig tell something new only where the reading moved a constant of the rig
    same_rig = {f"brew-{other.label}.html" for other in brewlog.read_logbook(book_and_out / "book").brews_of(rig)}
    assert len(made & same_rig) == (len(same_rig) if quantity == "volume" else 1) < len(same_rig) + 1
    assert len(same_rig) > 1


def test_what_no_constant_rests_on_makes_one_brew_anew(book_and_out):
    label = label_and_rig(book_and_out)[0]
    with rows_of(book_and_out, "brews.csv") as rows:
        next(row for row in rows if row["brew"] == label)["notes"] = "windy"
    made = set(run(book_and_out).files)
    assert {file for file in made if file.startswith("brew-")} == {f"brew-{label}.html"}


def test_a_changed_rig_makes_all_its_brews_anew_and_no_others(book_and_out):
    label, rig, others = label_and_rig(book_and_out)
    with rows_of(book_and_out, "rigs.csv") as rows:
        row = next(r for r in rows if rig in r.values())
        row["heater_power [W]" if "heater_power [W]" in row else "heater_power"] = "2345"
    made = set(run(book_and_out).files)
    assert f"brew-{label}.html" in made
    assert made.isdisjoint({f"brew-{other}.html" for other in others})


def test_other_units_make_everything_anew(book_and_out):
    assert len(run(book_and_out, units="us").files) == 17


def test_a_page_that_was_touched_or_lost_is_made_anew(book_and_out):
    (book_and_out / "out" / "problems.html").unlink()
    (book_and_out / "out" / "findings.html").write_text("mine")
    assert set(run(book_and_out).files) == {"problems.html", "findings.html"}
    assert "mine" not in (book_and_out / "out" / "findings.html").read_text()


@pytest.mark.parametrize("damage", ["", "{", "[]", '{"layout": 1, "files": {"index.html": 3}}', '{"layout": 99}'])
def test_a_damaged_list_is_an_empty_one(tmp_path, damage):
    (tmp_path / FILE).write_text(damage)
    assert read_manifest(tmp_path) == Manifest()


def test_a_damaged_list_makes_everything_anew(book_and_out):
    (book_and_out / "out" / FILE).write_text('{"layout": 1, "files": {"index')
    assert len(run(book_and_out).files) == 17
    assert run(book_and_out).files == []


def test_pages_of_brews_that_are_gone_are_removed_if_nobody_changed_them(book_and_out):
    book = brewlog.read_logbook(book_and_out / "book")
    gone, kept = list(book.brews)[-2:]
    out = book_and_out / "out"
    (out / f"brew-{kept}.html").write_text("the reader's own")
    (out / "brew-own.html").write_text("never ours")
    with rows_of(book_and_out, "brews.csv") as rows:
        rows[:] = [row for row in rows if row["brew"] not in (gone, kept)]
    assert run(book_and_out).removed == [f"brew-{gone}.html"]
    assert not (out / f"brew-{gone}.html").exists()
    assert (out / f"brew-{kept}.html").read_text() == "the reader's own"
    assert (out / "brew-own.html").exists()


def test_pages_of_brews_not_asked_for_stay_and_stay_linked(book_and_out):
    label = label_and_rig(book_and_out)[0]
    written = run(book_and_out, only=[label])
    assert written.removed == []
    assert len(list((book_and_out / "out").glob("brew-*.html"))) == 6
    assert f"brew-{label}.html" in written.kept


def test_a_notebook_that_was_edited_is_run_again(book_and_out, monkeypatch):
    monkeypatch.setattr(jobs, "notebook_source", lambda stem: stem[:1].encode() if stem[0] == "w" else source(stem))
    assert run(book_and_out).files == ["why_efficiency_changed.html"]


def test_a_page_that_failed_is_tried_again(book_and_out, monkeypatch):
    (book_and_out / "out" / "problems.html").unlink()
    with monkeypatch.context() as broken:
        broken.setattr(jobs, "problems_page", lambda problems: 1 / 0)
        written = run(book_and_out)
    assert list(written.lost) == ["problems.html"]
    assert "division by zero" in (book_and_out / "out" / "problems.html").read_text()
    again = run(book_and_out)
    assert (again.files, again.lost) == (["problems.html"], {})


def test_compared_brews_are_kept_up_to_date(book_and_out):
    book = brewlog.read_logbook(book_and_out / "book")
    one, other = list(book.brews)[:2]
    page = f"compare-{one}-with-{other}.html"
    assert set(run(book_and_out, compare=[(one, other)]).files) == {page, "index.html"}
    assert page in run(book_and_out).kept
    with rows_of(book_and_out, "brews.csv") as rows:
        next(row for row in rows if row["brew"] == other)["notes"] = "changed"
    assert page in run(book_and_out).files
    with rows_of(book_and_out, "brews.csv") as rows:
        rows[:] = [row for row in rows if row["brew"] != other]
    assert page in run(book_and_out).removed


def test_a_list_names_no_file_outside_its_folder(tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "precious").write_text("x")
    Manifest(files={}, rigs={}, pairs=[]).save(tmp_path / "out")
    text = (tmp_path / "out" / FILE).read_text()
    (tmp_path / "out" / FILE).write_text(text.replace('"files": {}', '"files": {"../precious": ["a", "b"]}'))
    assert read_manifest(tmp_path / "out").files == {}


def test_a_digest_sees_every_record_and_the_trace(small_book_path):
    from dataclasses import replace

    brew = next(iter(brewlog.read_logbook(small_book_path).brews.values()))
    whole = brew_digest(brew)
    assert whole == brew_digest(next(iter(brewlog.read_logbook(small_book_path).brews.values())))
    trace = brew.trace
    trace.loc[trace.index[5], "base_temp"] += 0.01
    other = [
        replace(brew, mill_gap=9.0),
        replace(brew, readings=(replace(brew.readings[0], value=1.0), *brew.readings[1:])),
        replace(brew, malts=brew.malts[:-1]),
        replace(brew, own={"moon": "full"}),
        replace(brew, load_trace=lambda: (trace, brew.trace_faults, brew.events)),
        replace(brew, load_trace=lambda: (brew.trace, brew.trace_faults, brew.events[:-1])),
    ]
    found = {brew_digest(one) for one in other}
    assert whole not in found
    assert len(found) == len(other)
    assert digest(1) != digest(1.0) != digest("1.0")
