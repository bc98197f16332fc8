"""What is read in another way than it stands is told once, with its place: units, packs, code pages."""

from __future__ import annotations

import gzip

import pytest

import brewlog
from tests.logbook.conftest import GOOD

READINGS = GOOD["readings.csv"]


def said(folder):
    return [(problem.severity, str(problem)) for problem in brewlog.read_logbook(folder).problems]


def readings(folder):
    book = brewlog.read_logbook(folder)
    return [(r.quantity, r.value, r.unit) for brew in book.brews.values() for r in brew.readings]


def test_one_reading_without_a_unit_is_told(make_book):
    folder = make_book({"readings.csv": READINGS.replace("1.044,SG", "1.044,")})
    assert said(folder) == [
        (
            "note",
            "readings.csv, line 2, column unit: found 'an empty cell', expected the unit of each reading (a gravity in "
            "SG, degP, Brix or kg/m^3); read as SG.",
        )
    ]
    assert readings(folder)[0] == ("gravity", 1.044, "SG")


def test_many_readings_without_a_unit_are_told_once_with_their_count(make_book):
    rows = "".join(f"b{1 + k % 2},pre-boil,gravity,1.0{40 + k},,20,hydrometer,\n" for k in range(5))
    text = READINGS.replace("28,L", "28,-") + rows + "b1,pre-boil,pH,5.4,,,,\nb2,pre-boil,mass,30,n/a,,,\n"
    folder = make_book({"readings.csv": text})
    assert said(folder) == [
        (
            "note",
            "readings.csv, line 3, column unit: found 'no unit in 7 rows', expected the unit of each reading (a "
            "gravity in SG, degP, Brix or kg/m^3); read as L in 1 row, SG in 5 rows, kg in 1 row.",
        )
    ]
    assert ("volume", 28.0, "L") in readings(folder)
    assert ("mass", 30.0, "kg") in readings(folder)


def test_a_file_without_a_column_of_units_is_told_once(make_book):
    lines = [line.split(",") for line in READINGS.splitlines()]
    text = "\n".join(",".join(line[:4] + line[5:]) for line in lines) + "\n"
    told = said(make_book({"readings.csv": text}))
    assert [severity for severity, _ in told] == ["note"]
    assert told[0][1].startswith("readings.csv, line 2, column unit: found 'no unit in 3 rows'")


def test_a_reading_that_is_not_kept_is_not_counted(make_book):
    folder = make_book({"readings.csv": READINGS.replace("1.044,SG", "11.2,").replace("1.046,SG", "1.046,")})
    assert [(p.line, p.severity) for p in brewlog.read_logbook(folder).problems] == [(2, "problem"), (4, "note")]


def test_the_unit_behind_the_name_of_the_value_counts_where_it_suits(make_book):
    text = "brew,stage,quantity,value [degP],temp [degC]\nb1,pre-boil,gravity,11.2,20\nb2,pre-boil,volume,28,95\n"
    folder = make_book({"readings.csv": text})
    assert readings(folder) == [("gravity", 11.2, "degP"), ("volume", 28.0, "L")]
    assert [(p.line, p.cost) for p in brewlog.read_logbook(folder).problems] == [(3, "read as L")]


def packed(text):
    return gzip.compress(text.encode())


def test_a_packed_table_is_told(make_book):
    folder = make_book({"grist.csv": None, "grist.csv.gz": packed(GOOD["grist.csv"])})
    assert said(folder) == [
        (
            "note",
            "grist.csv.gz: found 'a gzip-compressed file', expected grist.csv; it was unpacked and read in its place.",
        )
    ]


def test_a_packed_trace_is_told_and_reads_the_same(make_book):
    plain = brewlog.read_logbook(make_book()).brews["b1"].trace
    (make_book() / "traces" / "b1.csv").unlink()
    folder = make_book({"traces/b1.csv": None, "traces/b1.csv.gz": packed(GOOD["traces/b1.csv"])})
    assert said(folder) == [
        (
            "note",
            "traces/b1.csv.gz: found 'a gzip-compressed file', expected b1.csv; it was unpacked and read in its place.",
        )
    ]
    assert brewlog.read_logbook(folder).brews["b1"].trace.equals(plain)


@pytest.mark.parametrize("file", ["grist.csv", "traces/b1.csv"])
def test_a_pack_under_a_plain_name_and_text_under_the_name_of_a_pack_are_told(make_book, file):
    name = file.rpartition("/")[2]
    assert said(make_book({file: packed(GOOD[file])})) == [
        (
            "note",
            f"{file}: found 'a gzip-compressed file', expected text, or the name {name}.gz; it was unpacked and read.",
        )
    ]


@pytest.mark.parametrize("file", ["grist.csv", "traces/b1.csv"])
def test_text_under_the_name_of_a_pack_is_told(make_book, file):
    name = file.rpartition("/")[2]
    assert said(make_book({file: None, f"{file}.gz": GOOD[file]})) == [
        ("note", f"{file}.gz: found 'text that is not compressed', expected the name {name}; it was read as it is.")
    ]


def test_of_a_file_and_its_pack_it_is_said_which_was_read(make_book):
    other = {
        name: GOOD[name].replace("5.2", "9.9").replace("65.05", "60.05") for name in ("grist.csv", "traces/b1.csv")
    }
    folder = make_book({f"{name}.gz": packed(text) for name, text in other.items()})
    assert said(folder) == [
        (
            "problem",
            "grist.csv.gz: found 'the same file as .csv and as .csv.gz', expected one of them; "
            "grist.csv was read, this one was not.",
        ),
        (
            "problem",
            "traces/b1.csv.gz: found 'the same trace as b1.csv', expected one file of this name; "
            "b1.csv was read, this one was not.",
        ),
    ]
    book = brewlog.read_logbook(folder)
    assert book.brews["b2"].malts[0].mass == 5.2
    assert book.brews["b1"].trace["mash_temp"].iloc[50] == 65.05


NOTED = "brew,malt,mass [kg],extract [%],moisture [%],remark\n"


def mixed(*rows):
    """A table whose rows are encoded one by one."""
    return NOTED.encode() + b"".join(text.encode(code) for text, code in rows)


def test_lines_of_another_code_page_amid_utf_8_are_read_and_named(make_book):
    rows = (
        ("b1,Märzenmalz,5,81,4,20 °C\n", "utf-8"),
        ("b1,Weizenmalz süß,1,81,4,“frisch” – 20 °C\n", "cp1252"),
        ("b1,Röstmalz,0.2,70,4,10 µm\n", "utf-8"),
        ("b2,Grünmalz,5.2,81,4,½ Sack à 25 kg\n", "cp1252"),
        ("b2,Spelzen,0.1,,,\n", "utf-8"),
    )
    folder = make_book({"grist.csv": mixed(*rows)})
    book = brewlog.read_logbook(folder)
    assert [m.malt for m in book.brews["b1"].malts] == ["Märzenmalz", "Weizenmalz süß", "Röstmalz"]
    assert [m.malt for m in book.brews["b2"].malts] == ["Grünmalz", "Spelzen"]
    assert book.brews["b1"].malts[1].own == {"remark": "“frisch” – 20 °C"}
    assert book.brews["b2"].malts[0].own == {"remark": "½ Sack à 25 kg"}
    notes = [str(p) for p in book.problems if p.column is None]
    assert notes == [
        "grist.csv, line 3: found 'lines 3 and 5 in cp1252 amid UTF-8', expected UTF-8 throughout; "
        "these lines were read in cp1252."
    ]


def test_a_marked_file_is_utf_8_whatever_was_pasted_into_it(make_book):
    rows = (("b1,pale malt,5,81,4,\n", "utf-8"), ("b1,oats,1,81,4,\n", "utf-8"), ("b2,Grünmalz,5.2,81,4,\n", "cp1252"))
    book = brewlog.read_logbook(make_book({"grist.csv": b"\xef\xbb\xbf" + mixed(*rows)}))
    assert [m.malt for m in book.brews["b2"].malts] == ["Grünmalz"]
    assert [(p.line, p.found) for p in book.problems if p.column is None] == [(4, "line 4 in cp1252 amid UTF-8")]


def test_of_many_lines_in_another_code_page_the_first_are_named(make_book):
    rows = [(f"b{1 + k % 2},Grünmalz {k},1,81,4,\n", "cp1252" if k % 2 else "utf-8") for k in range(15)]
    book = brewlog.read_logbook(make_book({"grist.csv": mixed(*rows)}))
    assert [m.malt for m in book.brews["b2"].malts] == [f"Grünmalz {k}" for k in range(1, 15, 2)]
    told = [p for p in book.problems if "cp1252" in p.found]
    assert [(p.line, p.found) for p in told] == [(3, "lines 3, 5, 7 and 4 more in cp1252 amid UTF-8")]


def test_a_trace_of_two_code_pages_is_read_and_told(make_book):
    lines = GOOD["traces/b1.csv"].splitlines(keepends=True)
    lines[0] = lines[0].replace("degC", "°C").replace("\n", ",Notiz\n")
    text = [
        line if k == 0 else line.replace("\n", f",{'geöffnet' if k == 90 else ''}\n") for k, line in enumerate(lines)
    ]
    content = b"".join(line.encode("cp1252" if k == 90 else "utf-8") for k, line in enumerate(text))
    book = brewlog.read_logbook(make_book({"traces/b1.csv": content}))
    assert book.brews["b1"].trace_own["Notiz"].iloc[89] == "geöffnet"
    assert len(book.brews["b1"].trace) == 200
    assert [(p.line, p.found) for p in book.problems if "cp1252" in p.found] == [(91, "line 91 in cp1252 amid UTF-8")]


def test_a_file_in_one_old_code_page_is_read_in_that_one_as_before(make_book):
    for code in ("cp1252", "cp850", "mac_roman"):
        plain = "b1,oats,0.1,,,\nb1,rye,0.1,,,\nb2,oats,0.2,,,\nb2,rye,0.1,,,\n"  # most lines are UTF-8 as well
        text = (NOTED + "b1,Märzenmalz,5,81,4,20 °C\nb2,Grünmalz,5.2,81,4,18 °C\n" + plain).encode(code)
        book = brewlog.read_logbook(make_book({"grist.csv": text}))
        assert book.brews["b1"].malts[0].malt == "Märzenmalz"
        assert [p.found for p in book.problems if p.column is None] == [f"text in {code}"]


def test_a_letter_of_cp1252_is_no_superscript_of_another_code_page(make_book):
    text = (NOTED + "b1,Grünmalz,5,81,4,übrig\nb2,Grünmalz,5.2,81,4,müde\n").encode("cp1252")
    book = brewlog.read_logbook(make_book({"grist.csv": text}))
    assert book.brews["b2"].malts[0].own == {"remark": "müde"}
    assert [p.found for p in book.problems if p.column is None] == ["text in cp1252"]
    text = (NOTED + "b1,Malz,5,81,4,3 cm² frei\nb2,Malz,5.2,81,4,1 m³\n").encode("cp850")
    book = brewlog.read_logbook(make_book({"grist.csv": text}))
    assert book.brews["b1"].malts[0].own == {"remark": "3 cm² frei"}


def test_bytes_that_no_code_page_has_stay_damage(make_book):
    content = mixed(("b1,Märzenmalz,5,81,4,\n", "utf-8"), ("b2,Gerste,5.2,81,4,\n", "utf-8"))
    book = brewlog.read_logbook(make_book({"grist.csv": content.replace(b"Gerste", b"Ger\x81\x8dste")}))
    assert [(p.line, p.found, p.severity) for p in book.problems if p.column is None] == [
        (3, "bytes that are no text", "problem")
    ]


@pytest.mark.parametrize(
    ("kettle", "stage", "line"),
    [("25", "pre-boil", 3), ("25.5", "pre-boil", None), ("25", "fermenter", None), ("", "pre-boil", None)],
)
def test_more_wort_than_the_kettle_holds_is_noted_and_kept(make_book, kettle, stage, line):
    # 28 L: a kettle of 25 L holds some 27 L to its brim, one of 25.5 L a good 28 L
    folder = make_book(
        {
            "rigs.csv": f"rig,heater_power [W],kettle_volume [L]\nattic,2500,{kettle}\n",
            "readings.csv": READINGS.replace("pre-boil,volume", f"{stage},volume"),
        }
    )
    wish = f"expected at most the {kettle} L of the kettle; kept as it is."
    note = ("note", f"readings.csv, line {line}, column value: found '28 L {stage}', {wish}")
    assert said(folder) == ([note] if line else [])
    assert ("volume", 28.0, "L") in readings(folder)


@pytest.mark.parametrize(
    ("header", "cell", "found"),
    [
        ("mass [lb]", "1213", "1213 lb (550.2 kg)"),
        ("mass [lb]", "1213 lbs", "1213 lbs (550.2 kg)"),
        ("mass [kg]", "550", "550 kg"),
        ("mass", "550.0", "550.0 kg"),
        ("mass", "550000 g", "550000 g (550 kg)"),
    ],
)
def test_a_mass_that_no_kettle_holds_is_quoted_as_it_was_written(make_book, header, cell, found):
    rigs = "rig,heater_power [W],kettle_volume [L]\nattic,2500,45\n"
    grist = f"brew,malt,{header}\nb1,pale malt,{cell}\nb2,pale malt,5.2\n"
    told = brewlog.read_logbook(make_book({"rigs.csv": rigs, "grist.csv": grist})).problems
    beyond = [p for p in told if p.severity == "problem"]
    hint = "" if "lb" in header else ", or the unit in the header: mass [g]"
    assert [(p.line, p.found, p.expected) for p in beyond] == [(2, found, f"less than a kettle of 45 L holds{hint}")]


def test_mash_water_and_malt_that_do_not_go_together_are_quoted_as_they_were_written(make_book):
    brews = GOOD["brews.csv"].replace("mash_water [L]", "mash_water [US gal]").replace("attic,20", "attic,1.2")
    rigs = "rig,heater_power [W],kettle_volume [L]\nattic,2500,50\n"
    folder = make_book({"rigs.csv": rigs, "brews.csv": brews, "grist.csv": GOOD["grist.csv"].replace("[kg]", "[lb]")})
    found = {p.column: p.found for p in brewlog.read_logbook(folder).problems}
    assert found == {"mash_water": "21 US gal (79.49 L)"}
    malt = GOOD["grist.csv"].replace("[kg]", "[lb]").replace("malt,5,", "malt,50,")
    found = {p.column: p.found for p in brewlog.read_logbook(make_book({"grist.csv": malt})).problems}
    assert found == {"mass": "50 lb (22.68 kg) in 20 L of mash water"}


@pytest.mark.parametrize(("cell", "read"), [("bed", "mash"), ("Grain Bed", "mash"), ("bench", None)])
def test_a_word_that_means_another_is_read_as_that_one_and_told(make_book, cell, read):
    brews = "brew,date,heater_follows\n" + f"b1,2024-05-01,{cell}\nb2,2024-05-08,base\n"
    book = brewlog.read_logbook(make_book({"brews.csv": brews}))
    assert [brew.heater_follows for brew in book.brews.values()] == [read, "base"]
    severity, cost = ("note", f"read as {read}") if read else ("problem", "this cell is left out")
    told = [(p.severity, p.line, p.column, p.found, p.cost) for p in book.problems]
    assert told == [(severity, 2, "heater_follows", cell, cost)]


@pytest.mark.parametrize(("cell", "asked"), [("13.1", True), ('"13,1"', True), ("46", False), ("1.440", False)])
def test_a_gravity_that_can_be_no_sg_is_asked_for_its_unit(make_book, cell, asked):
    told = brewlog.read_logbook(make_book({"readings.csv": READINGS.replace("1.044", cell)})).problems
    (problem,) = (p for p in told if p.severity == "problem")
    hint = ", or the unit of the reading (degP or Brix)" if asked else ""
    assert problem.expected == f"a gravity in SG from 0.98 to 1.20{hint}"
    assert problem.cost == "this reading is left out"
