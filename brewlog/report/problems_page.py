"""What the reader found in the files."""

from __future__ import annotations

from collections.abc import Sequence

from brewlog.logbook.problems import Problem
from brewlog.report.blocks import Answer, Block, Cell, Column, Heading, Table
from brewlog.report.index_page import problem_counts
from brewlog.report.render import Page
from brewlog.report.words import counted


def problems_page(problems: Sequence[Problem]) -> Page:
    """What the reader found in the files, in reading order."""
    blocks: list[Block] = [Answer((f"The reader found {problem_counts(problems)}. No file was changed.",))]
    for severity, title, what in (
        ("problem", "Problems", "could not be read; each costs what its last column says"),
        ("note", "Notes", "were read, perhaps not as you meant"),
    ):
        rows: list[list[str | Cell]] = [
            [p.file, "" if p.line is None else str(p.line), p.column or "", p.found, p.expected, p.cost]
            for p in problems
            if p.severity == severity
        ]
        if rows:
            columns = (
                Column("file"),
                Column("line", numeric=True),
                Column("column"),
                Column("found", wide=True),
                Column("expected", wide=True),
                Column("what follows", wide=True),
            )
            blocks += [Heading(title), Table(f"{counted(len(rows), 'place')} that {what}", columns, rows)]
    return Page("problems.html", "Problems in the records", blocks)
