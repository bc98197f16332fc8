"""Fixtures shared by all tests."""

from __future__ import annotations

import importlib.util
import os
import sys
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parents[1]
OPEN_DATA = Path(os.environ.get("BREWLOG_OPEN_DATA", ROOT.parent / "shared"))


@pytest.fixture(scope="session")
def open_data() -> Path:
    """Folder with real open data that is not part of the repository."""
    folder = OPEN_DATA / "data" / "thermal" / "tclab_repeats"
    if not folder.is_dir():
        pytest.skip(
            "the open heater data (tclab_repeats) are not on this machine; set BREWLOG_OPEN_DATA to their folder"
        )
    return folder


@pytest.fixture(scope="session")
def history_world() -> ModuleType:
    """Independent simulator of brew histories with known truth, not part of the repository."""
    file = OPEN_DATA / "inference" / "world.py"
    if not file.is_file():
        pytest.skip(
            "the independent simulator of histories is not on this machine; set BREWLOG_OPEN_DATA to its folder"
        )
    spec = importlib.util.spec_from_file_location("history_world", file)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["history_world"] = module  # dataclasses look their module up
    writes = sys.dont_write_bytecode
    sys.dont_write_bytecode = True  # the folder may be read-only and is not ours
    try:
        spec.loader.exec_module(module)
    finally:
        sys.dont_write_bytecode = writes
    return module


@pytest.fixture(scope="session")
def small_book_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Small complete logbook without slips: six simulated brews on two rigs; read only."""
    import numpy as np

    from brewlog.simulate import HistorySettings, simulate_history, write_history

    folder = tmp_path_factory.mktemp("small") / "book"
    write_history(folder, simulate_history(HistorySettings(brews=6), np.random.default_rng(20)))
    return folder


@pytest.fixture(scope="session")
def sample_path() -> Path:
    """The sample logbook of the repository."""
    return ROOT / "sample_data"
