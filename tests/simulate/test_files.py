"""The sample logbook and its command."""

import csv
import gzip
from pathlib import Path

import numpy as np
import pytest

from brewlog.simulate import write_logbook
from brewlog.simulate.__main__ import main
from brewlog.simulate.files import TraceLayout, table_text, trace_text


@pytest.fixture(scope="module")
def written(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("book") / "larkmere"
    assert main([str(folder), "--seed", "7"]) == 0
    return folder


def lines(path: Path) -> list[str]:
    data = path.read_bytes()
    return (gzip.decompress(data) if path.suffix == ".gz" else data).decode("utf-8").splitlines()


def rows(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_sample_is_what_the_command_writes(written, sample_path):
    names = sorted(path.relative_to(written).as_posix() for path in written.rglob("*") if path.is_file())
    kept = sorted(path.relative_to(sample_path).as_posix() for path in sample_path.rglob("*") if path.is_file())
    assert names == kept
    for name in names:
        ours, theirs = lines(written / name), lines(sample_path / name)
        # another processor may round a few readings the other way
        same = sum(one == other for one, other in zip(ours, theirs, strict=False))
        assert same >= 0.9 * max(len(ours), len(theirs)), name


def test_the_same_seed_writes_the_same_bytes(written, tmp_path):
    write_logbook(tmp_path / "again", np.random.default_rng(7))
    for path in written.rglob("*"):
        if path.is_file():
            assert path.read_bytes() == (tmp_path / "again" / path.relative_to(written)).read_bytes()


def test_sample_is_small(written):
    assert sum(path.stat().st_size for path in written.rglob("*") if path.is_file()) < 4e6


def test_small_book_is_complete(small_book_path):
    brews = rows(small_book_path, "brews.csv")
    assert len(brews) == 6
    assert all(row["mill_gap [mm]"] and row["heater_follows"] for row in brews)
    assert {path.stem for path in (small_book_path / "traces").iterdir()} == {row["brew"] for row in brews}
    stages = {row["stage"] for row in rows(small_book_path, "readings.csv")}
    assert stages == {"pre-boil", "post-boil", "fermenter"}


def test_two_rigs_and_45_brews(written):
    brews = rows(written, "brews.csv")
    assert len(brews) == 45
    assert len({row["brew"] for row in brews}) == 45
    dates = [row["date"] for row in brews]
    assert dates == sorted(dates)
    assert dates[0] < "2023-06" < "2024-07" < dates[-1]
    assert {row["rig"] for row in brews} == {"kitchen", "shed"}
    assert {row["heater_follows"] for row in brews} == {"base", "mash", ""}


def test_probe_arrives_half_way_in_the_kitchen(written):
    def header(name):
        return (written / "traces" / name).read_text(encoding="utf-8").splitlines()[0]

    assert "mash_temp" not in header("k11.csv")
    assert "mash_temp" in header("k12.csv")
    assert "bed" in header("s01.csv").split(",")


def test_slips_are_there(written):
    readings = rows(written, "readings.csv")
    values = [row["value"] for row in readings if row["unit"] == "SG"]
    assert sum(value.startswith("10") for value in values) == 1
    assert sum("O" in value for value in values) == 1
    assert [row["brew"] for row in readings].count("K11") == 1
    assert not (written / "traces" / "k05.csv").exists()
    assert (written / "traces" / "s03.csv.gz").exists()
    assert ";" in (written / "traces" / "k08.csv").read_text(encoding="utf-8").splitlines()[0]
    assert "85.0" in (written / "traces" / "s10.csv").read_text(encoding="utf-8")


def test_folder_that_holds_something_is_refused(tmp_path, capsys):
    (tmp_path / "mine.txt").write_text("dear", encoding="utf-8")
    assert main([str(tmp_path)]) == 2
    assert "holds something already" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]
    with pytest.raises(FileExistsError, match="expected a new or empty folder"):
        write_logbook(tmp_path, np.random.default_rng(1))


def test_clock_and_decimal_comma():
    from datetime import datetime

    import pandas as pd

    trace = pd.DataFrame({"elapsed": [0.0, 20.0], "base_temp": [12.25, np.nan], "pump": [0.0, 100.0]})
    layout = TraceLayout(datetime(2024, 5, 4, 9, 30), {"pump": ""}, separator=";", decimal=",")
    assert trace_text(trace, layout) == "time;base_temp\n2024-05-04T09:30:00;12,2\n2024-05-04T09:30:20;\n"


def test_cells_with_commas_are_quoted():
    assert table_text([{"brew": "1", "notes": "slow, stirred"}]) == 'brew,notes\n1,"slow, stirred"\n'
