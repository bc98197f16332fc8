"""Folders that mean harm, or that break while they are read: refused in words, in bounded time and memory."""

from __future__ import annotations

import gzip
import os
import subprocess
import sys
from pathlib import Path

import pytest

import brewlog
from brewlog.cli import main
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


def test_a_file_beyond_the_limit_is_refused_before_it_is_read(book, monkeypatch):
    opened = os.fdopen
    asked: list[int] = []

    class Watched:
        """A file that remembers how many bytes it was asked for."""

        def __init__(self, file):
            self.file, self.fileno = file, file.fileno

        def __enter__(self):
            return self

        def __exit__(self, *parts):
            self.file.close()

        def read(self, size):
            asked.append(os.fstat(self.fileno()).st_size)
            return self.file.read(size)

    monkeypatch.setattr(os, "fdopen", lambda *args: Watched(opened(*args)))
    monkeypatch.setattr(text, "MAX_BYTES", max(map(len, GOOD.values())))
    (book / "traces" / "l1.csv").write_text(GOOD["traces/l1.csv"] * 3)
    found = hard(book)
    assert [(p.file, p.found, p.expected, p.cost) for p in found] == [
        ("traces/l1.csv", "a file of 0 MB", "at most 0 MB", REFUSED)
    ]
    assert 0 < max(asked) <= text.MAX_BYTES


@pytest.mark.parametrize("over", [-1, 0, 1])
def test_the_limit_of_an_unpacked_file_is_exact(book, monkeypatch, over):
    content = GOOD["traces/l1.csv"].encode()
    monkeypatch.setattr(text, "MAX_BYTES", len(GOOD["traces/l2.csv"]))
    content += b" " * (text.MAX_BYTES + over - len(content))
    (book / "traces" / "l1.csv").unlink()
    (book / "traces" / "l1.csv.gz").write_bytes(gzip.compress(content))
    found = hard(book)
    assert [(p.file, p.cost) for p in found] == ([("traces/l1.csv.gz", REFUSED)] if over > 0 else [])
    assert all("when unpacked" in p.found for p in found)


def test_a_file_that_vanishes_between_listing_and_reading_is_told(book):
    logbook = brewlog.read_logbook(book)
    (book / "traces" / "l1.csv").unlink()
    assert [(p.file, p.cost) for p in logbook.problems if p.severity == "problem"] == [("traces/l1.csv", REFUSED)]
    assert logbook.brews["l1"].trace is None
    assert len(logbook.brews["l2"].trace) == 420


def refusing(monkeypatch, owner, name, who, error):
    """Let a call fail for one file."""
    real = getattr(owner, name)

    def refuse(path, *args, **kwargs):
        if Path(path).name == who:
            raise error
        return real(path, *args, **kwargs)

    monkeypatch.setattr(owner, name, refuse)


GONE = FileNotFoundError(2, "No such file or directory")
FORBIDDEN = PermissionError(13, "Permission denied")


@pytest.mark.parametrize("error", [GONE, FORBIDDEN, OSError(5, "Input/output error")], ids=lambda e: e.strerror)
@pytest.mark.parametrize(
    ("file", "cost"),
    [("grist.csv", "nothing of this file could be read"), ("l1.csv", REFUSED), ("w1.csv", REFUSED)],
)
def test_a_file_that_cannot_be_opened_costs_that_file(book, monkeypatch, error, file, cost):
    refusing(monkeypatch, os, "open", file, error)
    found = hard(book)
    assert [(Path(p.file).name, p.found, p.cost) for p in found] == [
        (file, f"a file that cannot be opened ({error.strerror})", cost)
    ]


@pytest.mark.parametrize("error", [GONE, FORBIDDEN], ids=lambda e: e.strerror)
def test_brews_that_cannot_be_opened_leave_nothing(book, monkeypatch, capsys, error):
    refusing(monkeypatch, os, "open", "brews.csv", error)
    assert main(["check", str(book)]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err == (
        f"brewlog check: brews.csv: found a file that cannot be opened ({error.strerror}), "
        "expected a file that can be read; nothing could be read.\n"
    )


@pytest.mark.parametrize("call", ["iterdir", "exists", "is_dir"])
@pytest.mark.parametrize("error", [GONE, FORBIDDEN], ids=lambda e: e.strerror)
def test_a_book_that_cannot_be_entered_is_told_in_one_line(book, monkeypatch, capsys, call, error):
    refusing(monkeypatch, Path, call, "book", error)
    assert main(["check", str(book)]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err == f"brewlog check: the folder {str(book)!r} cannot be read ({error.strerror}).\n"


def test_traces_that_may_be_listed_but_not_looked_at_are_told(book, monkeypatch):
    (book / "traces" / "day.png").write_bytes(b"")
    refusing(monkeypatch, Path, "is_dir", "day.png", FORBIDDEN)
    assert [(p.file, p.severity) for p in brewlog.read_logbook(book).problems] == [("traces/day.png", "note")]


def test_a_path_that_can_be_no_folder_is_told_in_one_line(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    for path in ("", "x" * 5000, "a\0b", "a\nb"):
        assert main(["check", path]) == 2
        told = capsys.readouterr()
        assert (told.out, told.err.count("\n")) == ("", 1)
        assert "fault of brewlog" not in told.err


def test_a_folder_that_may_not_be_listed_is_told(book, monkeypatch):
    listed = Path.iterdir

    def refuse(self):
        if self.name == "traces":
            raise PermissionError(13, "Permission denied")
        return listed(self)

    monkeypatch.setattr(Path, "iterdir", refuse)
    assert [p.file for p in hard(book)] == ["traces"]


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


@pytest.mark.parametrize("closed", ["", ">&-", "2>&-", ">&- 2>&-", ">/dev/full"])
def test_where_the_words_go_does_not_matter(book, closed):
    if closed.endswith("/dev/full") and not os.path.exists("/dev/full"):
        pytest.skip("this system has no /dev/full")
    (book / "grist.csv").write_text(GOOD["grist.csv"].replace("5.20", "x"))
    command = f'"{sys.executable}" -m brewlog check "{book}" {closed}'
    done = subprocess.run(command, shell=True, capture_output=True, text=True, check=False)
    assert done.returncode == (2 if closed.endswith("full") else 1)
    assert "Traceback" not in done.stderr
    assert done.stderr == (
        "brewlog: what was to be written could not be (No space left on device).\n" if closed.endswith("full") else ""
    )


def test_checking_brings_no_heavy_library(book):
    code = (
        f"import sys; from brewlog.cli import main; main(['check', {str(book)!r}]); "
        "print([m for m in ('statsmodels', 'matplotlib', 'numba', 'jupyterlab', 'IPython') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.stdout.splitlines()[-1] == "[]"


def test_traces_that_are_not_read_in_time_are_named(book, monkeypatch):
    clock = iter([0.0, 0.0, 5.0, 11.0, 20.0, 30.0])
    monkeypatch.setattr("brewlog.logbook.book.process_time", lambda: next(clock))
    told = [problem for problem in brewlog.read_logbook(book).problems if problem.file == "traces"]
    assert [str(problem) for problem in told] == [
        "traces: found '2 traces not yet read after 10 s of work: l3, w1', expected traces that are read sooner; "
        "nothing is said of these."
    ]
