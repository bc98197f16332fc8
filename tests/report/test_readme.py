"""What the README says is what the program takes."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from brewlog.cli import _parser
from brewlog.logbook import layout

README = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")
OPTIONS = re.findall(r"^\| (`--.*?`) \|", README, re.MULTILINE)


@pytest.mark.parametrize("option", [one for row in OPTIONS for one in re.findall(r"`(.*?)`", row)])
def test_every_option_of_the_readme_is_taken(option):
    _parser().parse_args(["report", "book", "--out", "pages", *shlex.split(option)])


def test_every_option_is_in_the_readme():
    report = _parser().parse_args(["report", "book", "--out", "pages"])
    named = {f"--{name.replace('_', '-')}" for name in vars(report)} - {"--book", "--run"}
    assert {option for option in named if option not in README} == set()
    assert len(OPTIONS) >= 3


def test_every_file_and_column_of_the_walk_is_one_of_the_logbook():
    walk = README[README.index("### 2.") : README.index("### 3.")]
    files = {file.name: {column.name for column in file.columns} for file in layout.FILES}
    assert set(re.findall(r"`(\w+\.csv)`", walk)) <= set(files)
    columns = set().union(*files.values()) | set(layout.STAGES) | set(layout.QUANTITIES) | {"base", "mash"}
    words = set(re.findall(r"`([a-z_ -]+)`", walk)) - {"brewlog new", "brewlog"}
    assert {word for word in words if word not in columns and not word.startswith("brewlog ")} == set()


def test_channels_of_the_readme_are_known():
    part = README[README.index("### 3.") : README.index("### 4.")]
    named = set(re.findall(r"`(\w+_temp|power)`", part))
    assert named
    assert named <= set(layout.CHANNELS)


def test_pictures_and_the_test_command_are_there():
    for picture in re.findall(r"!\[.+?\]\((.+?)\)", README):
        assert (Path(__file__).resolve().parents[2] / picture).is_file()
    assert re.search(r"<!-- tests -->\n```\n.*pytest.*\n```", README)
