"""Bytes of a file to text: packed or not, encoding, line ends, and what is to be said of them."""

from __future__ import annotations

import gzip
import io
import os
import re
import stat
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from brewlog.logbook.problems import MANY, Problem, Say

MAX_BYTES = 100_000_000
"""Largest file that is read, unpacked. [byte]"""
MAX_COLUMNS = 2000
MAX_CELL = 20_000
"""Longest cell that is read. [characters]"""


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
    patched: tuple[int, ...] = ()
    """Lines in which bytes that are no UTF-8 were read in cp1252, as the rest of the file is UTF-8."""


class Content(NamedTuple):
    """Bytes of a file."""

    data: bytes
    packed: bool
    """True where they were gzip-compressed."""


def read_bytes(path: Path, root: Path) -> Content:
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
        return Content(data, False)
    try:
        with gzip.open(io.BytesIO(data)) as packed:
            data = packed.read(MAX_BYTES + 1)
    except (OSError, EOFError, zlib.error) as error:
        raise Unreadable(f"a damaged gzip file ({error})", "a whole gzip file") from error
    if len(data) > MAX_BYTES:
        raise Unreadable(f"more than {MAX_BYTES / 1e6:.0f} MB when unpacked", f"at most {MAX_BYTES / 1e6:.0f} MB")
    return Content(data, True)


def tell_pack(file: str, packed: bool, say: Say) -> None:
    """Note a file that was unpacked, or that was not though its name says so.

    Parameters
    ----------
    file : str
        Path relative to the logbook.
    packed : bool
        Whether it was gzip-compressed.
    say : callable
        Takes each `Problem`.
    """
    name = file.rpartition("/")[2]
    named = name.casefold().endswith(".gz")
    if packed and named:
        found, wish, cost = "a gzip-compressed file", name[:-3], "it was unpacked and read in its place"
    elif packed:
        found, wish, cost = "a gzip-compressed file", f"text, or the name {name}.gz", "it was unpacked and read"
    elif named:
        found, wish, cost = "text that is not compressed", f"the name {name[:-3]}", "it was read as it is"
    else:
        return
    say(Problem(file, None, None, found, wish, cost, "note"))


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
                patched = _two_code_pages(data, marked=True) if name == "utf-8-sig" and not data.count(0) else None
                return patched or _mended(data, name)
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
        if nothing:
            return _mended(data, "utf-8")
        return _two_code_pages(data) or _old_code_page(data)
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
    if text.count("\ufffd") > max(FEW_BYTES, LITTLE * len(text)):
        raise Unreadable("bytes that are no text", "text in UTF-8")
    return Decoded(text, name, False, _lines_with(text, "\ufffd"))


FEW_BYTES, LITTLE = 10, 0.05
"""Bytes that are no text, and their share of a file, above which it is none. [1]"""
_NO_UTF8 = re.compile("[\udc80-\udcff]")
_UTF8_SIGN = re.compile("[\u0080-\ud7ff\ue000-\U0010ffff]")
_CP1252 = {0xDC00 + byte: bytes([byte]).decode("cp1252", errors="replace") for byte in range(0x80, 0x100)}
"""Signs of cp1252 for the marks that stand for bytes which are no UTF-8."""


def _two_code_pages(data: bytes, marked: bool = False) -> Decoded | None:
    """UTF-8 into which lines in cp1252 were pasted; None for text without a sign of UTF-8, or with too little of it."""
    text = _lines(data.decode("utf-8", errors="surrogateescape"))
    strange = len(_NO_UTF8.findall(text))
    if (_UTF8_SIGN.search(text) is None and not marked) or strange > max(FEW_BYTES, LITTLE * len(text)):
        return None
    odd = [number for number, line in enumerate(text.split("\n"), start=1) if _NO_UTF8.search(line)]
    if 2 * len(odd) > sum(bool(line.strip()) for line in text.split("\n")):
        return None
    text = text.translate(_CP1252)
    damaged = _lines_with(text, "\ufffd")
    return Decoded(text, "utf-8", False, damaged, tuple(number for number in odd if number not in damaged))


def _lines_with(text: str, sign: str) -> tuple[int, ...]:
    return tuple(number for number, line in enumerate(text.split("\n"), start=1) if sign in line)


_OF_UNITS = re.compile(r"° ?[CFPpB]|(?<![^\W\d])[a-z]?m[²³](?!\w)|µ(?=[mgLls]\b)")
"""Signs that only units have: `°C`, `cm²`, `µm`; a superscript amid a word is a letter of another code page."""


def _old_code_page(data: bytes) -> Decoded:
    """Text in a code page of one byte per sign: the one that makes most degree signs of what is no ASCII."""
    found: list[tuple[int, int, str, str]] = []
    for name in ("cp1252", "latin-1", "mac_roman", "cp850"):
        try:
            text = data.decode(name)
        except UnicodeDecodeError:
            continue
        found.append((-len(_OF_UNITS.findall(text)), len(found), text, name))
    _, _, text, name = min(found)
    return Decoded(_lines(text), name, True)


_UNSEEN = ("\u200b", "\u2060", "\ufeff")
"""Signs without width that copying leaves behind: a label with one is the label."""


def _lines(text: str) -> str:
    for sign in _UNSEEN:
        if sign in text:
            text = text.replace(sign, "")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def tell_text(file: str, decoded: Decoded, say: Say) -> None:
    """Say in which encoding a file was read where that is not plain UTF-8, and which lines of it are no text.

    Parameters
    ----------
    file : str
        Path relative to the logbook.
    decoded : Decoded
    say : callable
        Takes each `Problem`.
    """
    if decoded.guessed:
        say(Problem(file, None, None, f"text in {decoded.encoding}", "UTF-8", "it was read as such", "note"))
    if decoded.patched:
        found = f"{lines_in_words(decoded.patched)} in cp1252 amid UTF-8"
        cost = f"{'these lines were' if len(decoded.patched) > 1 else 'this line was'} read in cp1252"
        say(Problem(file, decoded.patched[0], None, found, "UTF-8 throughout", cost, "note"))
    for line in decoded.damaged[:MANY]:
        say(Problem(file, line, None, "bytes that are no text", "text in UTF-8", "they are left out"))
    if len(decoded.damaged) > MANY:
        found = f"{len(decoded.damaged) - MANY} more lines with bytes that are no text"
        say(Problem(file, decoded.damaged[MANY], None, found, "text in UTF-8", "they are left out"))


def lines_in_words(lines: Sequence[int]) -> str:
    """Lines in words, the first ones one by one.

    Examples
    --------
    >>> lines_in_words((3,)), lines_in_words((3, 5)), lines_in_words((3, 5, 6, 9))
    ('line 3', 'lines 3 and 5', 'lines 3, 5, 6 and 1 more')
    """
    if len(lines) == 1:
        return f"line {lines[0]}"
    names = [str(line) for line in lines[:MANY]]
    if len(lines) > MANY:
        return f"lines {', '.join(names)} and {len(lines) - MANY} more"
    return f"lines {', '.join(names[:-1])} and {names[-1]}"
