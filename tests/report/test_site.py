"""`brewlog report`: where it writes, what it refuses, what it returns."""

from __future__ import annotations

import hashlib
import os
from datetime import date
from pathlib import Path

import pytest

import brewlog
from brewlog.cli import main
from brewlog.report.blocks import Text
from brewlog.report.jobs import Job
from brewlog.report.manifest import Manifest
from brewlog.report.render import Page
from brewlog.report.site import Written, check_folders, chosen_brews, make_all


def digest(folder: Path) -> dict[str, str]:
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


@pytest.mark.parametrize("out", [".", "inside", ".."], ids=["the book", "inside it", "around it"])
def test_the_logbook_is_never_written_to(small_book_path, out, capsys):
    before = digest(small_book_path)
    assert main(["report", str(small_book_path), "--out", os.path.normpath(small_book_path / out)]) == 2
    assert "inside it or around it" in capsys.readouterr().err
    assert digest(small_book_path) == before


def test_a_folder_with_other_files_is_left_alone(small_book_path, tmp_path, capsys):
    (tmp_path / "letters.txt").write_text("dear")
    assert main(["report", str(small_book_path), "--out", str(tmp_path)]) == 2
    assert "holds other files" in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir()] == ["letters.txt"]
    with pytest.raises(ValueError, match="is a file"):
        check_folders(small_book_path, tmp_path / "letters.txt")


def test_a_folder_that_is_no_logbook_gives_one_line_and_status_2(tmp_path, capsys):
    assert main(["report", str(tmp_path / "nowhere"), "--out", str(tmp_path / "out")]) == 2
    said = capsys.readouterr().err
    assert said.startswith("brewlog report: ")
    assert said.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_brews_are_chosen_by_label_and_by_date(small_book_path):
    book = brewlog.read_logbook(small_book_path)
    labels = list(book.brews)
    assert chosen_brews(book, None, None) == labels
    assert chosen_brews(book, [labels[2]], None) == chosen_brews(book, 2 * [labels[2]], None) == [labels[2]]
    third = book.brews[labels[2]].date
    assert chosen_brews(book, None, third) == [label for label in labels if book.brews[label].date >= third]
    assert chosen_brews(book, None, date(2999, 1, 1)) == []
    with pytest.raises(KeyError, match="no such"):
        chosen_brews(book, ["no such"], None)


@pytest.mark.parametrize("progress", [True, False])
def test_a_bar_is_shown_where_it_is_asked_for_and_nothing_else(tmp_path, capsys, progress):
    jobs = [Job(f"{name}.html", "k", lambda name=name: Page(f"{name}.html", name, [Text("x")])) for name in "ab"]
    make_all(jobs, tmp_path, "book", Manifest(), Written(tmp_path), progress)
    said = capsys.readouterr()
    assert said.out == ""
    assert ("2/2" in said.err) == progress
    assert bool(said.err) == progress


@pytest.mark.parametrize("terminal", [True, False])
def test_the_bar_is_for_terminals(small_book_path, tmp_path, monkeypatch, terminal):
    asked = []
    monkeypatch.setattr("sys.stderr.isatty", lambda: terminal, raising=False)
    monkeypatch.setattr(
        "brewlog.report.command.write_report", lambda *a, **options: asked.append(options) or Written(tmp_path)
    )
    assert main(["report", str(small_book_path), "--out", str(tmp_path / "out"), "--compare", "1", "2"]) == 0
    assert asked[0]["progress"] is terminal
    assert asked[0]["compare"] == [("1", "2")]
