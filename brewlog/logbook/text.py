"""Bytes of a file to rows of text: encoding, line ends, separator, with the line of each row."""

from __future__ import annotations

import csv
import gzip
import io
import os
import re
import stat
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

MAX_BYTES = 100_000_000
"""Largest file that is read, unpacked. [byte]"""
MAX_COLUMNS = 2000
MAX_CELL = 20_000
"""Longest cell that is read. [characters]"""
SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "vertical bar"}


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
    damaged: tuple[int, ...] = ()
    """Lines that hold bytes which are no text; each stands as the replacement character."""


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

    A few bytes that are no text cost no more than their cells: they become the replacement character.

    Raises
    ------
    Unreadable
        If the bytes are no text.
    """
    data = data.rstrip(b"\x1a") if data[-1:] == b"\x1a" else data  # the end of a file, as old systems write it
    for mark, name in _MARKS:
        if data.startswith(mark):
            try:
                return Decoded(_lines(data.decode(name)).lstrip("\ufeff"), name, False)
            except UnicodeDecodeError:
                return _mended(data, name)
    for name, offset in (("utf-16-le", 1), ("utf-16-be", 0)):
        # ASCII in UTF-16 has every other byte zero
        zeros = data[offset::2]
        if zeros and zeros.count(0) > 0.6 * len(zeros):
            try:
                return Decoded(_lines(data.decode(name)), name, True)
            except UnicodeDecodeError:
                return _mended(data, name)
    nothing = data.count(0)
    if nothing > 0.3 * len(data):
        raise Unreadable("bytes that are no text", "text in UTF-8")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        bad = data.decode("utf-8", errors="replace").count("\ufffd")
        signs = sum(byte >= 0xC2 for byte in data)
        if signs > 2 * bad or nothing:  # UTF-8 by all other signs
            return _mended(data, "utf-8")
        return _old_code_page(data)
    return _mended(data, "utf-8") if nothing else Decoded(_lines(text), "utf-8", False)


_MARKS = (
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe\x00\x00", "utf-32"),
    (b"\x00\x00\xfe\xff", "utf-32"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)


def _mended(data: bytes, name: str) -> Decoded:
    text = _lines(data.decode(name, errors="replace").lstrip("\ufeff"))
    text = re.sub("\0+", "\ufffd", text)  # a logger that lost its power leaves zeros
    signs = len(text)
    if text.count("\ufffd") > max(10, 0.05 * signs):
        raise Unreadable("bytes that are no text", "text in UTF-8")
    damaged = tuple(number for number, line in enumerate(text.split("\n"), start=1) if "\ufffd" in line)
    return Decoded(text, name, False, damaged)


def _old_code_page(data: bytes) -> Decoded:
    """Text in a code page of one byte per sign: the one that makes most degree signs of what is no ASCII."""
    found: list[tuple[int, int, str, str]] = []
    for name in ("cp1252", "latin-1", "mac_roman", "cp850"):
        try:
            text = data.decode(name)
        except UnicodeDecodeError:
            continue
        found.append((-len(re.findall("°[ ]?[CFPpB]|[µ²³]", text)), len(found), text, name))
    _, _, text, name = min(found)
    return Decoded(_lines(text), name, True)


_UNSEEN = ("\u200b", "\u2060", "\ufeff")
"""Signs without width that copying leaves behind: a label with one is the label."""


def _lines(text: str) -> str:
    for sign in _UNSEEN:
        if sign in text:
            text = text.replace(sign, "")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def find_separator(text: str) -> str:
    """Separator of the columns: the one that splits the first rows most evenly; comma if none.

    A first line `sep=;`, as spreadsheets write it, decides.
    """
    lines = [line for line in text[:50_000].split("\n")[:40] if line.strip()]
    if lines and (told := _told_separator(lines[0])):
        return told
    for line in lines[:20]:
        outside = "".join(line[:MAX_CELL].split('"')[::2])
        counts = {sep: outside.count(sep) for sep in SEPARATORS}
        # a comma inside headers that semicolons separate is rare, but a decimal comma in the row below is not
        if counts[";"] and counts[";"] >= counts[","]:
            return ";"
        best = max(counts, key=lambda sep: counts[sep])
        if counts[best]:
            return best
    return ","


def _told_separator(line: str) -> str | None:
    found = re.fullmatch(r"\s*\"?sep=(.)\"?\s*", line[:20].lower())
    return found[1] if found and found[1] in SEPARATORS else None


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
        if not line.strip() or (first == 1 and _told_separator(line)):
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
