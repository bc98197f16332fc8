"""What a column of a file can be, and what a file is made of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["label", "text", "number", "whole", "date", "word", "clock"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a file."""

    name: str
    """As in the header, without unit."""
    meaning: str
    kind: Kind = "text"
    unit: str = ""
    """Canonical unit of a number."""
    written: str = ""
    """Unit where the header names none."""
    low: float = float("-inf")
    """Smallest value that can be, in the canonical unit."""
    high: float = float("inf")
    words: tuple[str, ...] = ()
    """Allowed words; empty = any."""
    also: tuple[tuple[str, str], ...] = ()
    """Other words, each with the allowed one that it is read as."""
    field: str = ""
    """Field of the record, where its name differs from the column's."""
    needed: bool = False
    """A row without it cannot be read."""
    wanted: bool = False
    """A row without it is read, but lacks what it should have."""
    missed: bool = False
    """A file without this column is told so; an empty cell is one that was not recorded."""
    of_water: bool = False
    """A volume of water at 20 degC, which may have been weighed."""
    scant: float = 0.0
    """A column without unit in which nothing lies above this may be in a larger unit. [canonical unit]"""
    larger: str = ""
    """That unit."""
    hot: float = float("inf")
    """A column without unit whose median lies above this is plainly not in degC. [degC]"""

    @property
    def target(self) -> str:
        """Field of the record."""
        return self.field or self.name

    @property
    def header(self) -> str:
        """The header as `brewlog new` writes it."""
        shown = self.written or self.unit
        return f"{self.name} [{shown}]" if shown not in ("", "1") else self.name


@dataclass(frozen=True, slots=True)
class FileLayout:
    """One file of a logbook."""

    name: str
    meaning: str
    columns: tuple[Column, ...]

    def column(self, name: str) -> Column | None:
        """The column of that name, or None."""
        return next((column for column in self.columns if column.name == name), None)
