"""Digests of what a page rests on: two runs with the same digest would write the same page."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from importlib import metadata, resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from brewlog.logbook import Logbook
    from brewlog.logbook.records import Brew
    from brewlog.rig import RigFit

_DRAWING = ("numpy", "scipy", "pandas", "matplotlib", "pillow", "statsmodels", "nbconvert")
"""Packages that a page's numbers and looks depend on."""


def digest(*parts: Any) -> str:
    """Digest of plain values, records, mappings, sequences and tables; equal values have equal digests.

    Functions in records (such as the one that reads a trace) do not count.

    Examples
    --------
    >>> digest({"a": 1, "b": (2.0, None)}) == digest({"b": [2.0, None], "a": 1}), digest(1.0) == digest(1.1)
    (True, False)
    """
    found = hashlib.sha256()
    for part in parts:
        _feed(found, part)
    return found.hexdigest()


def _feed(found: Any, part: Any) -> None:
    if isinstance(part, pd.Series):
        part = part.to_frame()
    if isinstance(part, pd.DataFrame):
        found.update(f"table{list(map(str, part.columns))}{part.shape}".encode())
        if part.size:
            plain = part.reset_index()
            for name in plain.columns:
                column = plain[name]
                if column.dtype == object:
                    column = column.map(str)
                found.update(pd.util.hash_pandas_object(column, index=False).to_numpy().tobytes())
    elif is_dataclass(part):
        found.update(type(part).__name__.encode())
        for one in fields(part):
            value = getattr(part, one.name)
            if not callable(value):
                found.update(one.name.encode())
                _feed(found, value)
    elif isinstance(part, Mapping):
        found.update(b"{")
        for key in sorted(part, key=str):
            found.update(f"{key!s}=".encode())
            _feed(found, part[key])
        found.update(b"}")
    elif isinstance(part, list | tuple):
        found.update(b"[")
        for one in part:
            _feed(found, one)
            found.update(b",")
        found.update(b"]")
    elif isinstance(part, bytes):
        found.update(part)
    else:
        value = part.item() if isinstance(part, np.generic) else part
        found.update(f"{type(value).__name__}:{value!r};".encode())


def brew_digest(brew: Brew) -> str:
    """Digest of everything recorded of a brew, its trace included."""
    return digest(brew, brew.trace, brew.trace_faults, brew.events)


def rig_digest(book: Logbook, label: str, brews: Mapping[str, str]) -> str:
    """Digest of everything a rig's constants rest on.

    Parameters
    ----------
    book : Logbook
    label : str
        Of the rig.
    brews : mapping of str to str
        Digest of each brew.
    """
    tests = [test for test in book.water_tests.values() if test.rig in (label, None)]
    own = [(brew.label, brews[brew.label]) for brew in book.brews_of(label)]
    traces = [None if test.load_trace is None else test.load_trace()[0] for test in tests]
    return digest(book.rigs[label], own, tests, traces)


def constants_digest(fit: RigFit | None) -> str:
    """Digest of what the page of a brew needs of its rig: constants, and the estimates they were made of.

    Numbers count to ten digits, so that the order of additions inside a library does not.
    """
    if fit is None:
        return "none"
    parts = [
        frame.map(lambda value: f"{value:.9e}" if isinstance(value, float) else value)
        for frame in (fit.constants, fit.per_brew, fit.per_stretch)
    ]
    return digest(*parts, fit.left_out, fit.record, fit.model.name)


@cache
def code_digest() -> str:
    """Digest of brewlog itself, and of what it draws and computes with."""
    found = hashlib.sha256()
    package = Path(str(resources.files("brewlog")))
    for file in sorted(package.rglob("*")):
        if file.suffix in (".py", ".css", ".html", ".csv") and file.is_file():
            found.update(file.relative_to(package).as_posix().encode())
            found.update(file.read_bytes())
    for name in _DRAWING:
        found.update(f"{name} {metadata.version(name)}".encode())
    return found.hexdigest()
