"""What a logbook's folder holds: which file is the trace of what, and which files nothing is read from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import islice
from pathlib import Path
from unicodedata import normalize

from brewlog.logbook import layout, values
from brewlog.logbook.headers import shown
from brewlog.logbook.problems import Problem, Say

MOST_FILES = 5000
_OTHER_TABLES = (
    "tsv",
    "txt",
    "tab",
    "xls",
    "xlsx",
    "ods",
    "numbers",
    "json",
    "xml",
    "html",
    "csv.txt",
    "csv.zip",
    "zip",
)
MANY = 20
"""Files of one kind that are reported one by one; more are reported together."""


def list_folder(root: Path) -> dict[str, Path]:
    """Files of a folder by name in small letters; of two that differ in case only, the one written in small letters."""
    found: dict[str, Path] = {}
    for file in sorted(root.iterdir(), reverse=True):
        found[file.name.casefold()] = file
    return dict(sorted(found.items()))


def can_be_a_file(label: str) -> bool:
    """True for a label that can be the name of a file inside a folder.

    Examples
    --------
    >>> can_be_a_file("k01"), can_be_a_file("../../x"), can_be_a_file("2024/05")
    (True, False, False)
    """
    return not set(label) & set("/\\\0") and label.strip(". ") != "" and label.isprintable()


def tell_unread(present: Mapping[str, Path], labels: Iterable[str], say: Say) -> None:
    """Report tables in the folder that nothing is read from.

    Parameters
    ----------
    present : mapping
        Files and folders by name in small letters.
    labels : iterable of str
        Brews and water tests.
    say : callable
        Takes each `Problem`.
    """
    known = {file.name for file in layout.FILES} | {f"{file.name}.gz" for file in layout.FILES}
    strange = [
        file
        for name, file in present.items()
        if name not in known and not file.name.startswith((".", "~")) and name.endswith((".csv", ".csv.gz"))
    ]
    traces = {label.casefold() for label in labels}
    free = [one.name.removesuffix(".csv") for one in layout.FILES if one.name not in present]
    for file in strange[:MANY]:
        stem = _stem(file.name) or file.name
        near = values.nearest(stem, free)
        if stem.casefold() in traces:
            wish = f"a trace in the folder {layout.TRACE_FOLDER}"
            _say(say, shown(file.name), "a file of this name", wish, "it is not read", False)
            continue
        wish = "one of the logbook's files" + (f" (perhaps '{near}.csv')" if near else "")
        _say(say, shown(file.name), "a file of this name", wish, "it is not read", near is None)
    for name, file in present.items():
        table = f"{name.partition('.')[0]}.csv"
        if name.partition(".")[2] in _OTHER_TABLES and table in known and not {table, f"{table}.gz"} & set(present):
            _say(
                say, shown(file.name), "a file of another kind", f"{table}, as comma-separated text", "not read", False
            )
    for name, file in present.items():
        if name == layout.TRACE_FOLDER or name.startswith((".", "~")) or not _is_folder(file):
            continue
        if _holds_tables(file):
            missing = layout.TRACE_FOLDER not in present and values.nearest(name, [layout.TRACE_FOLDER])
            wish = f"a folder {layout.TRACE_FOLDER!r}"
            _say(say, shown(file.name), "a folder with .csv files", wish, "it is not read", not missing)
    if len(strange) > MANY:
        found = f"{len(strange) - MANY} more files of other names"
        _say(say, shown(strange[MANY].name), found, "the logbook's files", "they are not read", True)
    for name, file in present.items():
        plain = present.get(name.removesuffix(".gz"))
        if name in known and name.endswith(".gz") and plain is not None:
            cost = f"{shown(plain.name)} was read, this one was not"
            _say(say, shown(file.name), "the same file as .csv and as .csv.gz", "one of them", cost, False)
        elif name in known and file.name != name:
            _say(say, shown(file.name), "a file of this name", repr(name), f"read as {name}", True)


def find_traces(folder: Path, brews: Iterable[str], tests: Iterable[str], say: Say) -> dict[str, list[Path]]:
    """Files of each trace, by label of brew or test, in order of their numbers.

    Parameters
    ----------
    folder : Path
        The folder of traces.
    brews, tests : iterable of str
        Labels; one namespace.
    say : callable
        Takes each `Problem`.

    Returns
    -------
    dict of str to list of Path
    """
    labels = [*brews, *tests]
    try:
        files = sorted(file for file in folder.iterdir() if not file.name.startswith((".", "~")))
    except OSError as error:
        found = f"a folder that cannot be read ({error.strerror})"
        _say(say, folder.name, found, "a folder of traces", "no trace could be read", False)
        return {}
    if len(files) > MOST_FILES:
        found = f"{len(files)} files"
        _say(say, folder.name, found, f"at most {MOST_FILES}", "those beyond are left out", False)
        files = files[:MOST_FILES]
    by_name = {label.casefold(): label for label in labels}
    owned: dict[str, dict[int, Path]] = {}
    strangers = 0
    for file in files:
        where = shown(f"{folder.name}/{file.name}")
        stem = _stem(file.name)
        if stem is None:
            if not _is_folder(file):
                _say(say, where, "a file of this kind", "a .csv or .csv.gz file", "it is not read", True)
            elif _holds_tables(file):
                _say(say, where, "a folder with .csv files", f"traces in {folder.name} itself", "not read", False)
            continue
        owner, part = _owner(stem, by_name, where, say)
        if owner is None:
            strangers += 1
            if strangers <= MANY:
                near = values.nearest(stem, labels)
                hint = f" (perhaps {near!r})" if near else ""
                wish = f"a brew in brews.csv or a test in water_tests.csv{hint}"
                _say(say, where, f"a trace of {shown(stem)}", wish, "this trace is left out", False)
            continue
        parts = owned.setdefault(owner, {})
        if part in parts:
            found = f"the same trace as {shown(parts[part].name)}"
            cost = f"{shown(parts[part].name)} was read, this one was not"
            _say(say, where, found, "one file of this name", cost, False)
            continue
        parts[part] = file
    if strangers > MANY:
        found = f"{strangers - MANY} more traces of unknown brews"
        _say(say, folder.name, found, "brews in brews.csv or tests in water_tests.csv", "they are left out", False)
    for owner, parts in owned.items():
        if 1 not in parts:
            file = parts[min(parts)]
            wish = f"{owner}.csv, the first file of that day, beside it"
            _say(say, shown(f"{folder.name}/{file.name}"), "a further file alone", wish, "read as all there is", True)
    return {owner: [parts[number] for number in sorted(parts)] for owner, parts in owned.items()}


def _is_folder(file: Path) -> bool:
    try:
        return file.is_dir()
    except OSError:  # in a folder that may be listed but not entered
        return False


def _holds_tables(folder: Path) -> bool:
    """True where one of the first files of a folder is a table."""
    try:
        return any(_stem(file.name) is not None for file in islice(folder.iterdir(), MOST_FILES))
    except OSError:
        return True


def _stem(name: str) -> str | None:
    return next((name[: -len(end)] for end in (".csv.gz", ".csv") if name.casefold().endswith(end)), None)


def _owner(stem: str, by_name: Mapping[str, str], where: str, say: Say) -> tuple[str | None, int]:
    """Label that a file belongs to, and its number among the files of the day."""
    stem = normalize("NFC", stem)
    base, _, part = stem.rpartition(".")
    owner = by_name.get(stem.casefold()) or by_name.get(stem.strip().casefold())
    first = by_name.get(base.casefold()) if part.isascii() and part.isdigit() and len(part) < 6 else None
    if first is not None and owner is not None:
        found = f"a file of {owner!r}, or a further one of {first!r}"
        _say(say, where, found, "labels that do not clash", f"read as that of {owner!r}", False)
    elif first is not None:
        return first, int(part)
    if owner is not None and owner != stem:
        found = f"a trace of {shown(stem)}"
        _say(say, where, found, f"the label as the tables have it, {owner!r}", f"read as that of {owner!r}", True)
    return owner, 1


def _say(say: Say, file: str, found: str, expected: str, cost: str, note: bool) -> None:
    say(Problem(file, None, None, found, expected, cost, "note" if note else "problem"))
