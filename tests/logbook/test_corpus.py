"""Every logbook of the corpus: how it is taken, what is said of it word for word, and that no file changes.

`said.json` holds the sentences. After a wanted change of wording: `_write_said()` writes it anew;
read the difference before it is kept.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import brewlog
from brewlog.cli import main
from tests.logbook.corpus import GOOD, Case
from tests.logbook.more_cases import CASES

SAID_FILE = Path(__file__).with_name("said.json")
STATUS = {"clean": 0, "note": 0, "problem": 1, "nothing": 2}


def write(case: Case, folder: Path) -> Path:
    for name, content in case.files.items():
        if content is not None:
            file = folder / name
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(content)
    return folder


def said_of(folder: Path) -> tuple[str, list[str]]:
    """How a folder is taken, and the sentences."""
    try:
        book = brewlog.read_logbook(folder)
    except (OSError, ValueError) as error:
        return "nothing", [str(error).replace(str(folder), "BOOK")]
    severities = {problem.severity for problem in book.problems}
    taken = "problem" if "problem" in severities else "note" if severities else "clean"
    return taken if book.brews else "nothing", [f"{p.severity}: {p}" for p in book.problems]


def name_of(case: Case) -> str:
    return f"{case.family}, {case.name}"


def contents(folder: Path) -> dict[Path, tuple[bytes, int]]:
    return {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in sorted(folder.rglob("*")) if p.is_file()}


def test_the_corpus_is_large_and_its_names_are_unique():
    assert len(CASES) >= 150
    assert len({name_of(case) for case in CASES}) == len(CASES)


@pytest.mark.parametrize("case", CASES, ids=name_of)
def test_case(case, tmp_path):
    folder = write(case, tmp_path / "book")
    before = contents(folder)
    taken, sentences = said_of(folder)
    assert taken == case.expect
    assert sentences == json.loads(SAID_FILE.read_text(encoding="utf-8"))[name_of(case)]
    assert contents(folder) == before


@pytest.mark.parametrize("expect", list(STATUS))
def test_exit_status_follows(expect, tmp_path, capsys):
    case = next(case for case in CASES if case.expect == expect)
    folder = str(write(case, tmp_path / "book"))
    assert main(["check", folder]) == STATUS[expect]
    assert main(["check", folder, "--strict"]) == (1 if expect == "note" else STATUS[expect])
    capsys.readouterr()
    assert main(["check", folder, "--json"]) == STATUS[expect]
    assert isinstance(json.loads(capsys.readouterr().out)["problems"], list)


# How the same day is written does not matter: whatever the form, the same rows come out.
SAME_DAY = [
    case
    for case in CASES
    if case.expect in ("clean", "note")
    and case.family in ("text", "clocks")
    and not case.name.startswith(("last line of a trace cut", "header alone", "event"))
]


@pytest.mark.parametrize("case", SAME_DAY, ids=name_of)
def test_other_spelling_same_values(case, tmp_path):
    good = brewlog.read_logbook(write(Case("", "", {k: v.encode() for k, v in GOOD.items()}, ""), tmp_path / "good"))
    book = brewlog.read_logbook(write(case, tmp_path / "book"))
    for label in ("l1", "l2"):
        one, other = good.brews[label].trace, book.brews[label].trace
        assert len(one) == len(other)
        assert abs(one["elapsed"] - other["elapsed"]).max() < 0.2
        assert abs(one["mash_temp"] - other["mash_temp"]).max() < 1e-9
    brew, twin = good.brews["l1"], book.brews["l1"]
    assert (brew.mash_water, brew.planned_gravity, brew.sparge_temp) == (
        twin.mash_water,
        twin.planned_gravity,
        twin.sparge_temp,
    )
    assert [m.mass for m in brew.malts] == [m.mass for m in twin.malts] or case.name in ("short row",)
    assert [r.value for r in brew.readings] == [r.value for r in twin.readings]


def _write_said() -> None:
    import tempfile

    said = {}
    for case in CASES:
        with tempfile.TemporaryDirectory() as folder:
            said[name_of(case)] = said_of(write(case, Path(folder)))[1]
    SAID_FILE.write_text(json.dumps(said, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
