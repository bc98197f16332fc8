"""One defect at a time in a good logbook: what is said of it, word for word, and what stays as it was."""

from __future__ import annotations

import gzip
import hashlib
import json
import os
import subprocess
import sys

import pytest

import brewlog
from brewlog.cli import main
from brewlog.logbook import safe_csv
from brewlog.quantities import parse_unit
from tests.logbook.conftest import GOOD


def changed(file, old, new):
    assert old in GOOD[file]
    return {file: GOOD[file].replace(old, new)}


def said(folder):
    return [(problem.severity, str(problem)) for problem in brewlog.read_logbook(folder).problems]


def test_a_good_logbook_gives_no_word(make_book):
    book = brewlog.read_logbook(make_book())
    assert book.problems == ()
    brew = book.brews["b1"]
    assert (brew.mash_water, brew.mill_gap, brew.planned_gravity) == (20.0, 1.1, 1.048)
    assert brew.malts[0].malt_extract == pytest.approx(0.81)
    assert [(r.stage, r.quantity, r.value, r.temp) for r in brew.readings] == [
        ("pre-boil", "gravity", 1.044, 20.0),
        ("pre-boil", "volume", 28.0, 95.0),
    ]
    assert list(brew.trace.columns) == ["elapsed", "mash_temp", "base_temp"]
    assert brew.trace["elapsed"].iloc[-1] == 1990.0
    assert book.rig_of(brew).heater_power == 2500.0


@pytest.mark.parametrize(
    "content",
    [
        "\ufeff" + GOOD["brews.csv"],
        GOOD["brews.csv"].encode("utf-16"),
        GOOD["brews.csv"].replace("\n", "\r\n"),  # RFC 4180, section 2: lines end with CRLF
        GOOD["brews.csv"].replace("\n", "\r"),
        GOOD["brews.csv"].rstrip("\n"),  # RFC 4180, section 2: the last line may lack its end
        GOOD["brews.csv"].replace("attic,20", '"attic","20"'),  # RFC 4180, section 2: any field may be quoted
        GOOD["brews.csv"].replace("mill_gap", " Mill Gap "),
        GOOD["brews.csv"].replace("[L]", "(litres)"),
    ],
    ids=["byte-order mark", "utf-16", "crlf", "cr", "no last line end", "quotes", "case and blanks", "other brackets"],
)
def test_the_same_logbook_written_otherwise_reads_the_same(make_book, content):
    book = brewlog.read_logbook(make_book({"brews.csv": content}))
    assert [p for p in book.problems if p.severity == "problem"] == []
    assert [(b.label, b.mash_water, b.mill_gap) for b in book.brews.values()] == [("b1", 20.0, 1.1), ("b2", 21.0, 1.0)]


SAID = [
    (
        changed("readings.csv", "1.044", "1044"),
        "note",
        "readings.csv, line 2, column value: found '1044', expected a gravity in SG from 0.98 to 1.20; read as 1.0440.",
    ),
    (
        changed("readings.csv", "1.044", '"1,044"'),
        "note",
        "readings.csv, line 2, column value: found '1,044', expected a gravity in SG from 0.98 to 1.20; "
        "read as 1.0440.",
    ),
    (
        changed("readings.csv", "1.044", "1.O44"),
        "problem",
        "readings.csv, line 2, column value: found '1.O44', expected a gravity in SG from 0.98 to 1.20; "
        "this reading is left out.",
    ),
    (
        changed("grist.csv", "b2,pale", "b22,pale"),
        "problem",
        "grist.csv, line 3, column brew: found 'b22', expected a brew in brews.csv (perhaps 'b2'); "
        "this row is left out.",
    ),
    (
        changed("brews.csv", "b2,2024-05-08,attic", "b2,2024-05-08,attik"),
        "problem",
        "brews.csv, line 3, column rig: found 'attik', expected a rig in rigs.csv (perhaps 'attic'); "
        "the rig of this row is not known.",
    ),
    (
        changed("grist.csv", "5.2", "-5.2"),
        "problem",
        "grist.csv, line 3, column mass [kg]: found '-5.2', expected a number from 0 to 1000 kg; "
        "this cell is left out.",
    ),
    (
        changed("grist.csv", "5.2", "inf"),
        "problem",
        "grist.csv, line 3, column mass [kg]: found 'inf', expected a number from 0 to 1000 kg; this cell is left out.",
    ),
    (
        changed("brews.csv", "2024-05-01", "2024-13-01"),
        "problem",
        "brews.csv, line 2, column date: found '2024-13-01', expected an ISO 8601 date such as 2024-05-31; "
        "this date is left out.",
    ),
    (
        changed("brews.csv", "2024-05-01", "45413"),  # serial 45292 is 1 January 2024 in spreadsheets
        "note",
        "brews.csv, line 2, column date: found '45413', expected an ISO 8601 date; "
        "read as a spreadsheet's serial date, 2024-05-01.",
    ),
    (
        {"traces/zz.csv": GOOD["traces/b1.csv"]},
        "problem",
        "traces/zz.csv: found 'a trace of zz', expected a brew in brews.csv or a test in water_tests.csv; "
        "this trace is left out.",
    ),
    (
        changed("traces/b1.csv", "500,65.05", "500,6S.05"),
        "problem",
        "traces/b1.csv, line 52, column mash_temp [degC]: found '6S.05', expected a number in degC; "
        "this cell is left out.",
    ),
    (
        {"grist.csv": b"\0\1\2"},
        "problem",
        "grist.csv: found 'bytes that are no text', expected text in UTF-8; nothing of this file could be read.",
    ),
]


@pytest.mark.parametrize(("changes", "severity", "text"), SAID, ids=[text[:48] for _, _, text in SAID])
def test_one_defect_gives_exactly_that_word(make_book, changes, severity, text):
    assert said(make_book(changes)) == [(severity, text)]


def test_exactly_the_cell_is_lost(make_book):
    book = brewlog.read_logbook(make_book(changed("readings.csv", "1.044", "1.O44")))
    assert [r.quantity for r in book.brews["b1"].readings] == ["volume"]
    assert len(book.brews["b2"].readings) == 1


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"rests.csv": "brew,rest,temp,time [min]\nb1,1,149,60\nb2,1,151,60\n"}, "temp"),
        (changed("brews.csv", "75\n", "167\n"), "sparge_temp"),
    ],
)
def test_temperatures_plainly_in_fahrenheit_are_asked_about_never_converted(make_book, changes, field):
    book = brewlog.read_logbook(make_book(changes))
    asked = [p for p in book.problems if p.severity == "problem" and p.column == field]
    assert len(asked) == 1
    assert f"{field} [degF]" in asked[0].expected
    assert all(brew.rests == () or field != "temp" for brew in book.brews.values())
    assert all(brew.sparge_temp is None or field != "sparge_temp" for brew in book.brews.values())


def test_units_in_the_header_are_converted(make_book):
    grist = GOOD["grist.csv"].replace("mass [kg]", "mass [lb]")
    brews = GOOD["brews.csv"].replace("mash_water [L]", "mash_water [gal]").replace("sparge_temp", "sparge_temp [degF]")
    book = brewlog.read_logbook(make_book({"grist.csv": grist, "brews.csv": brews.replace(",75", ",167")}))
    assert said(make_book({"grist.csv": grist})) == []
    # international pound 0.45359237 kg, US gallon 3.785411784 L: exact by definition
    assert book.brews["b1"].malts[0].mass == pytest.approx(5 * 0.45359237, rel=1e-12)
    assert book.brews["b1"].mash_water == pytest.approx(20 * 3.785411784, rel=1e-12)
    assert book.brews["b1"].sparge_temp == pytest.approx(75.0)


def test_a_unit_is_not_arithmetic(make_book):
    # evaluated as arithmetic this power would fill the memory
    book = brewlog.read_logbook(make_book(changed("grist.csv", "[kg]", "[10**10**7 kg]")))
    assert [p.line for p in book.problems if p.severity == "problem"] == [1]
    for text in ("C", "F", "°F"):
        assert parse_unit(text, "degC")(212.0) == pytest.approx(212.0 if text == "C" else 100.0)
    for text in ("10**10**7 L", "L" * 50, "furlong", "__import__('os')"):
        with pytest.raises(ValueError, match="expected a unit"):
            parse_unit(text, "L")


@pytest.mark.parametrize("label", ["../../x", "/etc/hosts", "a/b", "<b>", "=1+1"])
def test_labels_stay_labels(make_book, label):
    folder = make_book({"brews.csv": GOOD["brews.csv"] + f"{label},2024-05-09,attic,20,1,1.05,75\n"})
    assert brewlog.read_logbook(folder).brews[label].trace is None


def test_an_error_code_of_the_sensor_is_left_out_and_told(make_book):
    book = brewlog.read_logbook(make_book(changed("traces/b1.csv", "500,65.05", "500,85.0")))
    faults = book.brews["b1"].trace_faults
    assert [(f.kind, f.channel, f.start, f.rows) for f in faults] == [("error code", "mash_temp", 500.0, 1)]
    assert book.brews["b1"].trace["mash_temp"].isna().sum() == 1
    assert book.brews["b1"].trace["base_temp"].isna().sum() == 0


def test_a_gap_is_told_and_not_filled(make_book):
    lines = GOOD["traces/b1.csv"].splitlines(keepends=True)
    book = brewlog.read_logbook(make_book({"traces/b1.csv": "".join(lines[:60] + lines[110:])}))
    assert [(f.kind, f.start, f.end) for f in book.brews["b1"].trace_faults] == [("gap", 580.0, 1090.0)]
    assert len(book.brews["b1"].trace) == 150


def test_a_packed_trace_reads_the_same(make_book):
    packed = gzip.compress(GOOD["traces/b1.csv"].encode())
    book = brewlog.read_logbook(make_book({"traces/b1.csv": None, "traces/b1.csv.gz": packed}))
    assert len(book.brews["b1"].trace) == 200
    assert [(p.file, p.severity, p.found) for p in book.problems] == [
        ("traces/b1.csv.gz", "note", "a gzip-compressed file")
    ]


def test_a_damaged_pack_costs_that_trace_only(make_book):
    packed = gzip.compress(GOOD["traces/b1.csv"].encode())[:-30]
    book = brewlog.read_logbook(make_book({"traces/b1.csv": None, "traces/b1.csv.gz": packed}))
    assert [(p.file, p.severity) for p in book.problems] == [("traces/b1.csv.gz", "problem")]
    assert len(book.brews["b2"].trace) == 200


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_and_a_link_out_of_the_folder_are_refused_not_read(make_book, tmp_path):
    folder = make_book({"traces/b1.csv": None, "grist.csv": None})
    os.mkfifo(folder / "traces" / "b1.csv")
    (tmp_path / "elsewhere.csv").write_text(GOOD["grist.csv"])
    (folder / "grist.csv").symlink_to(tmp_path / "elsewhere.csv")
    found = {p.file: p.severity for p in brewlog.read_logbook(folder).problems}
    assert found["traces/b1.csv"] == found["grist.csv"] == "problem"


def test_unknown_labels_name_the_nearest(make_book):
    book = brewlog.read_logbook(make_book())
    with pytest.raises(KeyError) as error:
        book.rigs["Attik"]
    assert str(error.value) == "rig 'Attik' is not in rigs.csv; it has 'attic'. Did you mean 'attic'?"


def test_the_frame_handed_out_is_a_copy(make_book):
    brew = brewlog.read_logbook(make_book()).brews["b1"]
    mine = brew.trace
    mine.loc[:, "mash_temp"] = 0.0
    assert brew.trace["mash_temp"].min() > 60


def test_status_of_check(make_book, tmp_path, capsys):
    assert main(["check", str(make_book())]) == 0
    noted = str(make_book(changed("readings.csv", "1.044", "1044")))
    assert main(["check", noted]) == 0
    assert main(["check", noted, "--strict"]) == 1
    assert main(["check", str(make_book(changed("readings.csv", "1.044", "x")))]) == 1
    capsys.readouterr()
    assert main(["check", str(tmp_path / "none")]) == 2
    said_of_it = capsys.readouterr()
    assert said_of_it.out == ""
    assert said_of_it.err.count("\n") == 1


def test_json_has_the_same_records(make_book, capsys):
    folder = make_book(changed("readings.csv", "1.044", "1044"))
    assert main(["check", str(folder), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["problems"] == [p.to_dict() for p in brewlog.read_logbook(folder).problems]


def test_a_new_logbook_is_empty_and_nothing_is_overwritten(tmp_path, capsys):
    folder = tmp_path / "mine"
    assert main(["new", str(folder)]) == 0
    assert "brew,date,rig" in (folder / "brews.csv").read_text()
    before = {p.name: p.stat().st_mtime_ns for p in folder.iterdir()}
    assert main(["new", str(folder)]) == 2
    assert {p.name: p.stat().st_mtime_ns for p in folder.iterdir()} == before
    capsys.readouterr()
    assert main(["check", str(folder)]) == 0
    assert "1 note:" in (told := capsys.readouterr().out)
    assert "brews.csv: found 'no brew yet', expected one row per brew day" in told
    assert main(["check", str(folder), "--strict"]) == 1
    (folder / "grist.csv").write_text((folder / "grist.csv").read_text() + "b1,pale malt,5,,,\n")
    assert main(["check", str(folder)]) == 2  # malts of nobody


def test_reading_changes_no_file(sample_path):
    def digest():
        return {p: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(sample_path.rglob("*")) if p.is_file()}

    before = digest()
    assert main(["check", str(sample_path)]) == 1  # the sample has a slip of its own
    assert digest() == before


def test_a_reader_that_goes_away_is_no_error(make_book):
    code = f"import sys; from brewlog.cli import main; sys.exit(main(['check', {str(make_book())!r}]))"
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run([sys.executable, "-c", code], stdout=write, stderr=subprocess.PIPE, text=True, check=False)
    os.close(write)
    assert "Traceback" not in done.stderr
    assert done.returncode == 0


def test_cells_written_cannot_become_formulas(tmp_path):
    import pandas as pd

    safe_csv(pd.DataFrame({"brew": ["=1+1", "@x", "-a", "k01"], "n": [-1.5, 2.0, 3.0, 4.0]}), tmp_path / "t.csv")
    assert (tmp_path / "t.csv").read_text().splitlines()[1:] == ["'=1+1,-1.5", "'@x,2.0", "'-a,3.0", "k01,4.0"]


def test_a_fault_of_our_own_is_told_in_one_line(make_book, monkeypatch, capsys):
    def broken(path):
        raise ZeroDivisionError("by nothing")

    monkeypatch.setattr("brewlog.cli.read_logbook", broken)
    assert main(["check", str(make_book())]) == 2
    said_of_it = capsys.readouterr()
    assert said_of_it.err.startswith(
        "brewlog: a fault of brewlog itself stopped it: ZeroDivisionError: by nothing (broken,"
    )
    assert said_of_it.err.endswith("No file of the logbook was changed.\n")
    assert said_of_it.err.count("\n") == 1


def test_whole_numbers_of_hundreds_of_digits_are_no_numbers(make_book):
    changes = changed("traces/b1.csv", "500,65.05", "9" * 400 + ",65.05")
    assert [(severity, text[:24]) for severity, text in said(make_book(changes))] == [
        ("problem", "traces/b1.csv, line 52, ")
    ]
