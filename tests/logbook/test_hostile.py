"""Folders that mean harm, or that break while they are read: refused in words, in bounded time and memory."""

from __future__ import annotations

import gzip
import os
import subprocess
import sys
from pathlib import Path

import pytest

import brewlog
from brewlog.logbook import text
from tests.logbook.corpus import GOOD

REFUSED = "this trace is left out"


@pytest.fixture
def book(tmp_path):
    for name, content in GOOD.items():
        file = tmp_path / "book" / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(content, encoding="utf-8")
    return tmp_path / "book"


def hard(folder: Path) -> list[brewlog.logbook.Problem]:
    return [problem for problem in brewlog.read_logbook(folder).problems if problem.severity == "problem"]


def test_a_pack_that_unpacks_beyond_the_limit_is_refused(book):
    (book / "traces" / "l1.csv").unlink()
    (book / "traces" / "l1.csv.gz").write_bytes(gzip.compress(b"0" * (text.MAX_BYTES + 1), compresslevel=1))
    found = hard(book)
    assert [(p.file, p.cost) for p in found] == [("traces/l1.csv.gz", REFUSED)]
    assert "when unpacked" in found[0].found


def test_a_file_beyond_the_limit_is_not_even_opened_for_long(book):
    with (book / "traces" / "l1.csv").open("wb") as file:
        file.truncate(text.MAX_BYTES + 1)  # holds no byte on the disk
    assert [(p.file, p.cost) for p in hard(book)] == [("traces/l1.csv", REFUSED)]


def test_a_file_that_vanishes_between_listing_and_reading_is_told(book):
    logbook = brewlog.read_logbook(book)
    (book / "traces" / "l1.csv").unlink()
    assert [(p.file, p.cost) for p in logbook.problems if p.severity == "problem"] == [("traces/l1.csv", REFUSED)]
    assert logbook.brews["l1"].trace is None
    assert len(logbook.brews["l2"].trace) == 420


def test_a_folder_that_may_not_be_listed_is_told(book, monkeypatch):
    listed = Path.iterdir

    def refuse(self):
        if self.name == "traces":
            raise PermissionError(13, "Permission denied")
        return listed(self)

    monkeypatch.setattr(Path, "iterdir", refuse)
    assert [p.file for p in hard(book)] == ["traces"]


def test_a_table_that_may_not_be_read_is_told(book, monkeypatch):
    opened = os.open

    def refuse(path, *args, **kwargs):
        if Path(path).name == "grist.csv":
            raise PermissionError(13, "Permission denied")
        return opened(path, *args, **kwargs)

    monkeypatch.setattr(os, "open", refuse)
    assert [(p.file, p.cost) for p in hard(book)] == [("grist.csv", "nothing of this file could be read")]


def test_links_inside_the_folder_are_read_and_loops_are_told(book):
    (book / "grist.csv").rename(book / "malts.txt")
    (book / "grist.csv").symlink_to("malts.txt")
    assert brewlog.read_logbook(book).problems == ()
    (book / "malts.txt").unlink()
    (book / "malts.txt").symlink_to("grist.csv")
    assert [p.file for p in hard(book)] == ["grist.csv"]


def test_a_folder_in_place_of_a_file_is_told(book):
    (book / "grist.csv").unlink()
    (book / "grist.csv").mkdir()
    assert [p.file for p in hard(book)] == ["grist.csv"]


def test_many_problems_alike_are_counted_not_listed(book):
    rows = "".join(f"nobody{k},pale malt,5\n" for k in range(3000))
    (book / "grist.csv").write_text(GOOD["grist.csv"] + rows)
    found = [p for p in hard(book) if p.file == "grist.csv"]
    assert len(found) < 100
    assert found[-1].found == "2960 more in this column" or any("2960 more" in p.found for p in found)


@pytest.mark.parametrize(
    "setting", [{"LC_ALL": "C", "PYTHONIOENCODING": "ascii"}, {"COLUMNS": "1"}, {"LC_ALL": "de_DE.UTF-8"}]
)
def test_neither_locale_nor_terminal_matters(book, setting):
    (book / "grist.csv").write_text(GOOD["grist.csv"].replace("5.20", "5.2\u00b0\U0001f37a"), encoding="utf-8")
    code = f"import sys; from brewlog.cli import main; sys.exit(main(['check', {str(book)!r}]))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, env=os.environ | setting, check=False)
    assert done.returncode == 1
    assert b"Traceback" not in done.stderr
    assert b"grist.csv, line 2, column mass [kg]: found" in done.stdout


def test_checking_brings_no_heavy_library(book):
    code = (
        f"import sys; from brewlog.cli import main; main(['check', {str(book)!r}]); "
        "print([m for m in ('statsmodels', 'matplotlib', 'numba', 'jupyterlab', 'IPython') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.stdout.splitlines()[-1] == "[]"
