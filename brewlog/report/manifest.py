"""The list a report keeps of its own pages: what each rested on, and how it was written."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Collection
from dataclasses import dataclass, field
from pathlib import Path

from brewlog.report.writing import write_text

FILE = "made-by-brewlog.json"
"""Name of the list in the report's folder."""
_LAYOUT = 1
_SAFE = re.compile(r"[A-Za-z0-9_-][A-Za-z0-9_.-]{0,100}")


@dataclass(frozen=True, slots=True)
class Entry:
    """One file of a report."""

    key: str
    """Digest of everything that it rests on."""
    content: str
    """Digest of the file as it was written."""


@dataclass
class Manifest:
    """Files that earlier runs wrote into a report's folder."""

    files: dict[str, Entry] = field(default_factory=dict)
    rigs: dict[str, tuple[str, str]] = field(default_factory=dict)
    """Digests of what a rig's constants rest on, and of the constants."""
    pairs: list[tuple[str, str]] = field(default_factory=list)
    """Pairs of brews that are compared."""

    def stands(self, folder: Path, file: str, key: str) -> bool:
        """Whether a file rests on the same as before, and is still there as it was written."""
        entry = self.files.get(file)
        return entry is not None and entry.key == key and content_digest(folder / file) == entry.content

    def remove_others(self, folder: Path, wanted: Collection[str]) -> list[str]:
        """Remove files that earlier runs wrote and nobody wants any more; return their names.

        A file that was changed since is left where it is, and forgotten.
        """
        removed = []
        for file in [name for name in self.files if name not in wanted]:
            if content_digest(folder / file) == self.files.pop(file).content:
                (folder / file).unlink()
                removed.append(file)
        return removed

    def save(self, folder: Path) -> None:
        """Write the list into the folder."""
        data = {
            "layout": _LAYOUT,
            "files": {name: [entry.key, entry.content] for name, entry in sorted(self.files.items())},
            "rigs": {label: list(both) for label, both in self.rigs.items()},
            "pairs": [list(pair) for pair in self.pairs],
        }
        write_text(folder / FILE, json.dumps(data, indent=1) + "\n")


def read_manifest(folder: Path) -> Manifest:
    """The list that an earlier run left; an empty one where there is none, or where it cannot be read.

    Parameters
    ----------
    folder : Path
        Of the report.

    Returns
    -------
    Manifest
    """
    try:
        data = json.loads((folder / FILE).read_text(encoding="utf-8"))
        if data["layout"] != _LAYOUT:
            return Manifest()
        return Manifest(
            {
                name: Entry(*(str(part) for part in both))
                for name, both in data["files"].items()
                if _SAFE.fullmatch(name)
            },
            {str(label): (str(inputs), str(constants)) for label, (inputs, constants) in data["rigs"].items()},
            [(str(one), str(other)) for one, other in data["pairs"]],
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return Manifest()


def content_digest(path: Path) -> str | None:
    """Digest of a file's bytes; None where it cannot be read."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return None
