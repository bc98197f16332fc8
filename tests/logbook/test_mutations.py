"""Changed bytes and cells: what is not changed reads the same, or the place is named; never an exception."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

import brewlog
from brewlog.logbook import Brew, Logbook
from brewlog.logbook.clocks import read_moment
from tests.logbook.corpus import GOOD

SETTINGS = settings(
    max_examples=40, deadline=None, derandomize=True, database=None, suppress_health_check=[HealthCheck.too_slow]
)
CHANNELS = ("elapsed", "mash_temp", "base_temp", "set_temp", "heater", "power")
# traces of 60 rows: each example reads the whole logbook
SHORT = {
    name: "\n".join(text.splitlines()[:61]) + "\n" if name.startswith("traces/") else text
    for name, text in GOOD.items()
}
SHORT["events.csv"] = SHORT["events.csv"].replace("4200", "600").replace("8300", "1100").replace("11:15", "09:15")
TABLES = sorted(name for name in SHORT if "/" not in name)
TRACES = sorted(name for name in SHORT if "/" in name)
NASTY = (
    "", " ", "-", "x", "0", "-1", "1e9", "1,5", "1.044", "1044", "inf", "=1+1", "../../x", "<b>", "l2", "L1", "\x00",
    "\ufeff", "\u00b0", "2024-02-30", "03/04/2024", "9" * 500, "'", "1 kg", "true", "\U0001f37a", "nan", "85.0", "-127",
    "24:00",
)  # fmt: skip
cells_of_text = st.one_of(
    st.sampled_from(NASTY),
    st.text(st.characters(blacklist_characters='",;\t\n\r', blacklist_categories=["Cs"]), max_size=12),
    st.floats().map(str),
)


def write(folder: Path, files: dict[str, bytes]) -> Path:
    for name, content in files.items():
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
    return folder


def encoded(changes: dict[str, bytes]) -> dict[str, bytes]:
    return {name: text.encode() for name, text in SHORT.items()} | changes


def read(changes: dict[str, bytes]) -> tuple[Logbook, dict[str, object]]:
    """The changed logbook, and its traces by label while the files stand."""
    with tempfile.TemporaryDirectory() as folder:
        book = brewlog.read_logbook(write(Path(folder) / "book", encoded(changes)))
        assert isinstance(book.problems, tuple)
        traces = {label: (brew.trace, brew.events) for label, brew in book.brews.items()}
    return book, traces


@cache
def good() -> tuple[Logbook, dict[str, object]]:
    return read({})


def without(brew: Brew, *fields: str) -> Brew:
    return replace(brew, **{field: getattr(Brew, field, None) or () for field in fields}, load_trace=None)


def same_trace(one, other) -> bool:
    (frame, events), (twin, moments) = one, other
    if (frame is None) != (twin is None) or events != moments:
        return False
    if frame is None:
        return True
    names = [name for name in CHANNELS if name in frame]
    return (
        len(frame) == len(twin)
        and names == [name for name in CHANNELS if name in twin]
        and np.allclose(frame[names], twin[names], rtol=0, atol=1e-9, equal_nan=True)
    )


def same_but(book: Logbook, traces: dict, labels: set[str]) -> bool:
    """True where all brews but those of some labels are what they are in the good logbook."""
    first, first_traces = good()
    return all(
        label in book.brews
        and replace(brew, load_trace=None) == replace(book.brews[label], load_trace=None)
        and same_trace(first_traces[label], traces[label])
        for label, brew in first.brews.items()
        if label not in labels
    )


def names_place(book: Logbook, file: str, line: int, column: int, near: int = 0) -> bool:
    """True where something is said of a cell: at its line, of its column or of the row as a whole."""
    headers = SHORT[file].splitlines()[0].split(",")
    said = [problem for problem in book.problems if problem.file == file and problem.line is not None]
    return any(
        abs(problem.line - line) <= near and (problem.column is None or problem.column == headers[column])
        for problem in said
    )


def names_column(book: Logbook, file: str, column: int) -> bool:
    """True where something is said of a column as a whole, at its header."""
    header = SHORT[file].splitlines()[0].split(",")[column]
    return any((p.file, p.line, p.column) == (file, 1, header) for p in book.problems)


def same_cell(one: str, other: str) -> bool:
    """True for cells that mean the same: both empty in whatever way, or one number, or one word."""
    missing = ("", "-", "nan")
    one, other = (cell.replace("\ufeff", "") for cell in (one, other))
    if one.strip().casefold() in missing and other.strip().casefold() in missing:
        return True
    try:
        return float(one) == float(other)
    except ValueError:
        return one.strip().casefold() == other.strip().casefold()


@st.composite
def changed_cell(draw: st.DrawFn, names: list[str]) -> tuple[str, int, int, str]:
    """File, line, column and the new cell; never the header."""
    file = draw(st.sampled_from(names))
    lines = SHORT[file].splitlines()
    line = draw(st.integers(2, len(lines)))
    column = draw(st.integers(0, lines[line - 1].count(",")))
    return file, line, column, draw(cells_of_text)


def with_cell(file: str, line: int, column: int, cell: str) -> bytes:
    lines = SHORT[file].splitlines()
    cells = lines[line - 1].split(",")
    cells[min(column, len(cells) - 1)] = cell
    lines[line - 1] = ",".join(cells)
    return ("\n".join(lines) + "\n").encode()


def test_the_unchanged_logbook_is_clean():
    assert good()[0].problems == ()
    assert len(good()[0].brews) == 3


def records(book: Logbook, traces: dict) -> list[object]:
    """Everything a logbook holds, for comparing."""
    brews = [replace(brew, load_trace=None) for brew in book.brews.values()]
    tests = [replace(test, load_trace=None) for test in book.water_tests.values()]
    return [brews, list(book.rigs.values()), tests, {label: events for label, (_, events) in traces.items()}]


@SETTINGS
@given(changed_cell([name for name in TABLES if name not in ("brews.csv", "rigs.csv", "channels.csv")]))
def test_a_cell_of_a_table_costs_its_brew_at_most(change):
    file, line, column, cell = change
    book, traces = read({file: with_cell(*change)})
    owner = SHORT[file].splitlines()[line - 1].split(",")[0]
    # a label may be changed to that of another brew: then the row is read as that brew's
    taken = {label for label in book.brews if label.casefold() == cell.strip().casefold()} if column == 0 else set()
    assert same_but(book, traces, {owner} | taken)


@SETTINGS
@given(changed_cell([name for name in TABLES if name != "channels.csv"]))
@example(("readings.csv", 3, 3, "28,5"))
@example(("rests.csv", 2, 4, "?"))
@example(("readings.csv", 2, 4, ""))
@example(("readings.csv", 3, 4, "-"))
@example(("readings.csv", 3, 4, "L1"))
def test_a_changed_cell_of_a_table_changes_a_record_or_is_named(change):
    file, line, column, cell = change
    if same_cell(SHORT[file].splitlines()[line - 1].split(",")[column], cell):
        return
    if (file, column) == ("events.csv", 1) and line < 5 and read_moment(cell) is not None:
        return  # a second time of an event whose trace has no clock to compare it with
    book, traces = read({file: with_cell(*change)})
    assert names_place(book, file, line, column) or records(book, traces) != records(*good())


@SETTINGS
@given(changed_cell(["brews.csv"]))
def test_a_cell_of_a_brew_costs_that_brew_at_most(change):
    file, line, column, _ = change
    book, traces = read({file: with_cell(*change)})
    owner = SHORT[file].splitlines()[line - 1].split(",")[0]
    assert same_but(book, traces, {owner})
    if owner not in book.brews:
        assert column == 0 or names_place(book, file, line, column)


@SETTINGS
@given(changed_cell(TRACES))
@example(("traces/l1.csv", 30, 1, "85.0"))
@example(("traces/l1.csv", 30, 0, "999999"))
@example(("traces/l2.csv", 30, 0, "1970-01-01T00:00:00"))
@example(("traces/l1.csv", 30, 1, "1,5"))
def test_a_cell_of_a_trace_costs_its_row_at_most(change):
    file, line, column, cell = change
    book, traces = read({file: with_cell(*change)})
    label = Path(file).stem
    assert same_but(book, traces, {label})
    if label not in good()[1] or (line, column) == (2, 0):  # all elapsed times count from the first row
        return
    before, after = good()[1][label][0], traces[label][0]
    assert after is not None
    near = 1 if column == 0 else 0  # a time that is moved is told at the row that it comes to stand beside
    if len(before) != len(after):
        assert column == 0
        assert names_place(book, file, line, column, near)
        return
    names = [name for name in CHANNELS if name in before]
    apart = ~np.isclose(before[names], after[names], rtol=0, atol=1e-9, equal_nan=True)
    rows, columns = np.nonzero(apart)
    if set(rows) - {line - 2}:
        assert names_place(book, file, line, column, near) or names_column(book, file, column)
    if column > 0 and "," not in cell:
        assert len(set(columns)) <= 1
    if not len(rows) and not same_cell(SHORT[file].splitlines()[line - 1].split(",")[column], cell):
        assert names_place(book, file, line, column, near) or label == "w1"


@SETTINGS
@given(st.data())
def test_bytes_in_any_place_are_read_or_told(data):
    file = data.draw(st.sampled_from(sorted(SHORT)))
    content = bytearray(SHORT[file].encode())
    start = data.draw(st.integers(0, len(content)))
    length = data.draw(st.integers(0, 40))
    content[start : start + length] = data.draw(st.binary(max_size=40))
    try:
        book, traces = read({file: bytes(content)})
    except ValueError:
        assert file == "brews.csv"
        return
    good_traces = good()[1]
    if bytes(content) != SHORT[file].encode() and not any(problem.file == file for problem in book.problems):
        # nothing said: then lines far from the change are what they were
        first = SHORT[file].encode()[: max(0, start - 1)].count(b"\n")
        if file in TRACES and Path(file).stem in good_traces and first > 5:
            before, after = good_traces[Path(file).stem][0], traces[Path(file).stem][0]
            assert after is not None
            assert np.allclose(before["mash_temp"][: first - 3], after["mash_temp"][: first - 3], equal_nan=True)
    if file in TRACES:
        assert same_but(book, traces, {Path(file).stem})


@SETTINGS
@given(st.binary(max_size=400), st.sampled_from(sorted(SHORT)))
def test_any_bytes_in_place_of_a_file_never_raise_anything_else(content, file):
    try:
        book, traces = read({file: content})
    except ValueError:
        assert file == "brews.csv"
        return
    if file in TRACES:
        assert same_but(book, traces, {Path(file).stem})
        assert any(problem.file == file for problem in book.problems)


@pytest.mark.parametrize("file", sorted(SHORT))
def test_every_cut_of_a_file_is_survived(file):
    content = SHORT[file].encode()
    for end in np.linspace(0, len(content) - 1, 12).astype(int):
        try:
            read({file: content[:end]})
        except ValueError:
            assert file == "brews.csv"
