"""Results as plain Python values, ready for JSON."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np
import pandas as pd


def plain(value: Any) -> Any:
    """Values as plain Python ones, ready for JSON.

    Parameters
    ----------
    value : object
        Numbers, words, dates, arrays, Series (by their index), frames (by their index, then by column), and lists or
        mappings of these.

    Returns
    -------
    object
        Numbers that are not finite become None, dates become text as in ISO 8601, keys become text.

    Examples
    --------
    >>> plain({"low": np.float64(1.5), "high": np.inf, "brews": pd.Series({"a": 1})})
    {'low': 1.5, 'high': None, 'brews': {'a': 1}}
    """
    if hasattr(value, "to_dict") and not isinstance(value, pd.DataFrame | pd.Series):
        return value.to_dict()
    if isinstance(value, pd.DataFrame):
        return {str(name): plain(row) for name, row in zip(value.index, value.to_dict("records"), strict=True)}
    if isinstance(value, pd.Series | Mapping):
        return {str(name): plain(item) for name, item in value.items()}
    if isinstance(value, list | tuple | np.ndarray):
        return [plain(item) for item in value]
    if value is None or value is pd.NaT or value is pd.NA:
        return None
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(value) if np.isfinite(value) else None
    if isinstance(value, date):
        return value.isoformat()
    return str(value)
