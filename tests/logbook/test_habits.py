"""Files as spreadsheets, loggers and people in a hurry write them: the right value, or the place by name."""

from __future__ import annotations

import pytest

import brewlog
from tests.logbook.more_habits import HABITS


@pytest.mark.parametrize("habit", HABITS, ids=lambda habit: habit.name)
def test_a_habit_gives_the_right_value_or_names_its_place(habit, tmp_path):
    for name, content in habit.files.items():
        if content is not None:
            file = tmp_path / "book" / name
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(content)
    book = brewlog.read_logbook(tmp_path / "book")
    severities = {problem.severity for problem in book.problems}
    taken = "problem" if "problem" in severities else "note" if severities else "clean"
    assert (taken if book.brews else "nothing") == habit.taken
    for get, value in habit.outcome:
        assert get(book) == value
    sentences = [f"{problem.severity}: {problem}" for problem in book.problems]
    for words in habit.said:
        assert any(words in sentence for sentence in sentences), words
