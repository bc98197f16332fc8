"""An empty logbook for a brewer to fill in."""

from __future__ import annotations

from pathlib import Path

from brewlog.logbook import layout


def new_logbook(path: str | Path) -> Path:
    """Make an empty logbook: every file with its header, and a folder for traces.

    Parameters
    ----------
    path : str or Path
        A folder that does not exist yet, or is empty.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    FileExistsError
        If the folder holds anything, or is a file.
    """
    root = Path(path)
    if root.exists() and (not root.is_dir() or any(root.iterdir())):
        raise FileExistsError(f"{str(path)!r} exists and is not an empty folder; nothing was written.")
    (root / layout.TRACE_FOLDER).mkdir(parents=True, exist_ok=True)
    for file in layout.FILES:
        text = ",".join(column.header for column in file.columns) + "\n"
        (root / file.name).write_text(text, encoding="utf-8", newline="")
    return root
