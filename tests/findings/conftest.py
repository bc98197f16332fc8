"""Fixtures for the tests of the findings."""

from __future__ import annotations

import importlib.util
import json
import os
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd
import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="session")
def histories() -> ModuleType:
    """Generator of brew histories with known truth."""
    spec = importlib.util.spec_from_file_location("findings_histories", Path(__file__).with_name("histories.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["findings_histories"] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def published() -> dict:
    """Published numbers, each with its source."""
    return json.loads(Path(__file__).with_name("published.json").read_text(encoding="utf-8"))


@pytest.fixture
def plain_table() -> pd.DataFrame:
    """Twenty brews without uncertainty, one rig, tightness all over, no control sensor known."""
    rng = np.random.default_rng(8)
    tight = rng.uniform(0.4, 2.4, 20)
    gap = rng.uniform(1.0, 1.4, 20)
    return pd.DataFrame(
        {
            "brew": [f"b{k}" for k in range(20)],
            "date": pd.date_range("2024-01-06", periods=20, freq="7D"),
            "brewhouse": 75.0 - 2.0 * tight - 6.0 * (gap - 1.2) + rng.normal(0, 1.0, 20),
            "brewhouse_sd": 0.0,
            "hold_rms": tight,
            "hold_rms_sd": 0.0,
            "mill_gap": gap,
        }
    )


@pytest.fixture(scope="session")
def barley() -> pd.DataFrame:
    """Malting data of the Steptoe x Morex barley trials, not part of the repository."""
    file = Path(os.environ.get("BREWLOG_OPEN_DATA", ROOT.parent / "shared")) / "reference" / "malt-barley.csv"
    if not file.is_file():
        pytest.skip("the barley malting data are not on this machine; set BREWLOG_OPEN_DATA to their folder")
    return pd.read_csv(file)
