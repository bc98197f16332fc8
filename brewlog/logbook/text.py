"""Bytes of a file to rows of text: encoding, line ends, separator, with the line of each row."""

from __future__ import annotations

import csv
import gzip
import io
import os
import stat
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import charset_normalizer

MAX_BYTES = 200_000_000
"""Largest file that is read, unpacked. [byte]"""
MAX_COLUMNS = 2000
MAX_CELL = 20_000
"""Longest cell that is read. [characters]"""
SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab"}


class Unreadable(Exception):
    """A file that cannot be read at all: what was found, and what was expected."""

    def __init__(self, found: str, expected: str) -> None:
        super().__init__(found)
        self.found = found
        self.expected = expected


@dataclass(frozen=True, slots=True)
class Decoded:
    """Text of a file and what was found out about it."""

    text: str
    """Line ends are line feeds."""
    encoding: str
    guessed: bool


def read_bytes(path: Path, root: Path) -> bytes:
    """Content of a file of the logbook, unpacked where it is gzip-compressed.

    Raises
    ------
    Unreadable
        If it is no plain file, leads out of the logbook, is too large, or cannot be opened.
    """
    try:
        real = path.resolve(strict=True)
        if not real.is_relative_to(root.resolve()):
            raise Unreadable("a link that leads out of the logbook", "a file inside the logbook")
        flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)  # a pipe must not hold us up
        handle = os.open(real, flags)
        with os.fdopen(handle, "rb") as file:
            found = os.fstat(file.fileno())
            if not stat.S_ISREG(found.st_mode):
                raise Unreadable("something that is no plain file", "a plain file")
            if found.st_size > MAX_BYTES:
                raise Unreadable(f"a file of {found.st_size / 1e6:.0f} MB", f"at most {MAX_BYTES / 1e6:.0f} MB")
            data = file.read(MAX_BYTES + 1)
    except (OSError, RuntimeError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise Unreadable(f"a file that cannot be opened ({reason})", "a file that can be read") from error
    if data[:2] != b"\x1f\x8b":
        return data
    try:
        with gzip.open(io.BytesIO(data)) as packed:
            data = packed.read(MAX_BYTES + 1)
    except (OSError, EOFError, zlib.error) as error:
        raise Unreadable(f"a damaged gzip file ({error})", "a whole gzip file") from error
    if len(data) > MAX_BYTES:
        raise Unreadable(f"more than {MAX_BYTES / 1e6:.0f} MB when unpacked", f"at most {MAX_BYTES / 1e6:.0f} MB")
    return data


def decode(data: bytes) -> Decoded:
    """Text of some bytes: by byte-order mark, else UTF-8, else the likeliest of the others.

    Raises
    ------
    Unreadable
        If the bytes are no text.
    """
    for mark, name in (
        (b"\xef\xbb\xbf", "utf-8-sig"),
        (b"\xff\xfe\x00\x00", "utf-32"),
        (b"\xff\xfe", "utf-16"),
        (b"\xfe\xff", "utf-16"),
    ):
        if data.startswith(mark):
            try:
                return Decoded(_lines(data.decode(name)), name, False)
            except UnicodeDecodeError as error:
                raise Unreadable(f"bytes that are not {name} after its byte-order mark", "text in UTF-8") from error
    try:
        text = data.decode("utf-8")
        if "\0" not in text:
            return Decoded(_lines(text), "utf-8", False)
    except UnicodeDecodeError:
        pass
    for name in ("utf-16-le", "utf-16-be"):
        # ASCII in UTF-16 has every other byte zero
        zeros = data[1::2] if name == "utf-16-le" else data[0::2]
        if len(data) % 2 == 0 and zeros and zeros.count(0) > 0.6 * len(zeros):
            try:
                return Decoded(_lines(data.decode(name)), name, True)
            except UnicodeDecodeError:
                continue
    if b"\0" in data:
        raise Unreadable("bytes that are no text", "text in UTF-8")
    guess = charset_normalizer.from_bytes(data[:200_000], cp_isolation=["cp1252", "latin_1", "cp1250"]).best()
    name = guess.encoding if guess is not None else "latin-1"
    try:
        return Decoded(_lines(data.decode(name)), name, True)
    except UnicodeDecodeError:
        return Decoded(_lines(data.decode("latin-1")), "latin-1", True)


def _lines(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")


def find_separator(text: str) -> str:
    """Separator of the columns: the one that the first row with text has most often outside quotes; comma if none."""
    for line in text.split("\n", 20)[:20]:
        if line.strip():
            outside = "".join(line.split('"')[::2])
            counts = {sep: outside.count(sep) for sep in SEPARATORS}
            best = max(counts, key=lambda sep: counts[sep])
            # a decimal comma inside semicolon-separated headers is rare, but a unit like [l/min, net] is not
            if counts[";"] and counts[";"] >= counts[","]:
                best = ";"
            return best if counts[best] else ","
    return ","


def rows_of(text: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    """Rows that hold any text, each with the line it starts on.

    A quote that is never closed ends with its line: what follows is read as rows of its own.
    """
    lines = text.split("\n")
    number = 0
    while number < len(lines):
        line = lines[number]
        first = number + 1
        number += 1
        if not line.strip():
            continue
        if '"' not in line:
            yield first, line.split(separator)
            continue
        whole = line
        joined = number
        while whole.count('"') % 2 and joined < min(len(lines), number + 50) and len(whole) < MAX_CELL:
            whole += "\n" + lines[joined]
            joined += 1
        if whole.count('"') % 2:  # never closed: a stray quote
            yield first, line.split(separator)
            continue
        number = joined
        try:
            yield first, next(csv.reader(io.StringIO(whole, newline=""), delimiter=separator, skipinitialspace=True))
        except (csv.Error, StopIteration):
            yield first, line.split(separator)
