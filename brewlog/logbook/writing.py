"""CSV files that brewlog writes: no cell of them becomes a formula in a spreadsheet."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import Any

import pandas as pd

_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def safe_cell(value: Any) -> Any:
    """A cell that a spreadsheet takes as text; numbers and harmless text as they are.

    Examples
    --------
    >>> safe_cell("=1+1"), safe_cell("-2.5"), safe_cell("k01"), safe_cell(-2.5)
    ("'=1+1", '-2.5', 'k01', -2.5)
    """
    if not isinstance(value, str) or not value.startswith(_FORMULA):
        return value
    try:
        float(value)
    except ValueError:
        return f"'{value}"
    return value


def safe_csv(frame: pd.DataFrame, path: str | Path) -> Path:
    """Write a frame as CSV, UTF-8, in one step; text that could become a formula gets an apostrophe in front.

    Parameters
    ----------
    frame : pandas.DataFrame
        Written without its index.
    path : str or Path

    Returns
    -------
    Path
    """
    target = Path(path)
    guarded = frame.map(safe_cell).rename(columns=safe_cell)
    handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=".table-")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
            guarded.to_csv(file, index=False, lineterminator="\r\n")
        os.chmod(temporary, 0o644)
        os.replace(temporary, target)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    return target
