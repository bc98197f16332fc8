"""Files written in one step."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path


def write_text(path: Path, text: str) -> None:
    """Write a file in one step, so that no half page is left behind.

    Parameters
    ----------
    path : Path
        In a folder that is there.
    text : str

    Raises
    ------
    OSError
        If the folder cannot be written to.
    """
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".page-")
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        os.chmod(temporary, 0o644)
        shutil.move(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
