"""`brewlog report`: the whole report of a logbook as a folder of pages and tables."""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from argparse import Namespace
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from pathlib import Path

from tqdm import tqdm

from brewlog.logbook import Logbook, read_logbook, safe_csv
from brewlog.report import pages
from brewlog.report.blocks import Answer, Html, Link, Text
from brewlog.report.exports import constants_frame, findings_frame, table_frame
from brewlog.report.notebooks import NOTEBOOKS, notebook_html, run_notebook, set_choices
from brewlog.report.render import Page, file_names, render
from brewlog.report.results import Results
from brewlog.report.units import UnitChoice

NOTEBOOK_TITLES = {
    "review_one_brew": "How did the latest brew day go?",
    "calibrate_a_rig": "What are my rig's constants?",
    "why_efficiency_changed": "Why did efficiency change?",
}
NOTEBOOK_MENU = {
    "review_one_brew": "A brew day, step by step",
    "calibrate_a_rig": "Rig constants, step by step",
    "why_efficiency_changed": "The finding, step by step",
}


@dataclass
class Written:
    """What a report wrote, and what it could not."""

    folder: Path
    files: list[str] = field(default_factory=list)
    lost: dict[str, str] = field(default_factory=dict)
    """Page that could not be made, and why."""


def check_folders(book: Path, out: Path) -> None:
    """Refuse an output folder that is the logbook, lies inside it or around it, or holds foreign files.

    Raises
    ------
    ValueError
        With the reason.
    """
    source, target = book.resolve(), out.resolve()
    if source == target or source in target.parents or target in source.parents:
        raise ValueError(
            f"--out {out} is the logbook, inside it or around it; choose a folder beside it. Nothing was written."
        )
    if out.exists() and not out.is_dir():
        raise ValueError(f"--out {out} is a file; expected a folder. Nothing was written.")
    if out.is_dir() and any(out.iterdir()) and not (out / "index.html").is_file():
        raise ValueError(
            f"--out {out} holds other files; expected a new, an empty or an earlier report's folder. "
            "Nothing was written."
        )


def write_report(
    book: Logbook,
    out: Path | str,
    units: str = "metric",
    only: Iterable[str] | None = None,
    since: date | None = None,
    progress: bool = False,
) -> Written:
    """Write the pages and tables of a logbook's report.

    Parameters
    ----------
    book : Logbook
    out : path
        Folder of the report; made when absent. Its older pages are replaced.
    units : str
        `metric` or `us`: units of the pages; tables and figures stay in canonical units.
    only : iterable of str, optional
        Labels of the brews that get a page; all when None.
    since : date, optional
        Brews before that day get no page. Results rest on all brews all the same.
    progress : bool
        Show a progress bar on standard error.

    Returns
    -------
    Written

    Raises
    ------
    ValueError
        If `out` is the logbook, inside it or around it, or `units` is another word.
    KeyError
        If `only` names a brew that is not there.
    """
    out = Path(out)
    check_folders(Path(book.path), out)
    choice = UnitChoice(units)
    wanted = chosen_brews(book, only, since)
    out.mkdir(parents=True, exist_ok=True)
    written = Written(out)
    results = Results(book)
    files = {"brew": file_names("brew", book.brews), "rig": file_names("rig", book.rigs)}
    name = Path(book.path).resolve().name
    menu = [Link("index.html", "Overview"), Link("findings.html", "Findings")]
    menu += [Link(f"{stem}.html", short) for stem, short in NOTEBOOK_MENU.items()]
    menu += [Link("problems.html", "Problems")]
    with (
        ThreadPoolExecutor(1) as kernels,
        tqdm(total=len(wanted) + len(book.rigs) + len(NOTEBOOKS) + 3, disable=not progress, unit="page") as bar,
    ):
        # the notebooks run in processes of their own, beside the pages
        running = {stem: kernels.submit(notebook_page, stem, book, wanted) for stem in NOTEBOOKS}
        jobs: list[tuple[str, Callable[[], Page]]] = [
            ("index.html", lambda: pages.index_page(results, files, choice)),
            ("findings.html", lambda: pages.findings_page(results)),
            ("problems.html", lambda: pages.problems_page(book.problems)),
        ]
        jobs += [(files["rig"][rig], partial(pages.rig_page, results, rig, files, choice)) for rig in book.rigs]
        jobs += [(files["brew"][brew], partial(pages.brew_page, results, brew, files, choice)) for brew in wanted]
        jobs += [(f"{stem}.html", page.result) for stem, page in running.items()]
        for file, make in jobs:
            bar.set_description(file.removesuffix(".html"), refresh=False)
            try:
                page = make()
            except Exception as error:  # one page that fails must not cost the others
                written.lost[file] = what_failed(error)
                page = Page(
                    file, "This page could not be made", [Answer((written.lost[file],)), Text("The other pages stand.")]
                )
            write_text(out / file, render(page, name, menu))
            written.files.append(file)
            bar.update()
    for file, frame in (
        ("brew_table.csv", table_frame(results)),
        ("constants.csv", constants_frame(results)),
        ("findings.csv", findings_frame(results)),
    ):
        safe_csv(frame, out / file)
        written.files.append(file)
    return written


def what_failed(error: Exception) -> str:
    """One line on an error; that of a notebook names what failed inside it."""
    name = getattr(error, "ename", type(error).__name__)
    text = str(getattr(error, "evalue", error))
    return f"{name}: {text}".splitlines()[0]


def chosen_brews(book: Logbook, only: Iterable[str] | None, since: date | None) -> list[str]:
    """Labels of the brews that get a page."""
    labels = list(book.brews) if only is None else [book.brews[label].label for label in only]
    days = {label: book.brews[label].date for label in labels}
    return [label for label in labels if since is None or ((day := days[label]) is not None and day >= since)]


def notebook_page(stem: str, book: Logbook, wanted: list[str]) -> Page:
    """Run one notebook on the logbook and make it a page."""
    choices: dict[str, object] = {"BOOK": str(Path(book.path).resolve())}
    if stem == "review_one_brew":
        choices["BREW"] = wanted[-1] if wanted else None
    notebook = run_notebook(stem, choices)
    set_choices(notebook, {"BOOK": Path(book.path).resolve().name})  # a page that is shared tells no folders
    return Page(f"{stem}.html", NOTEBOOK_TITLES[stem], [Html(notebook_html(notebook))])


def write_text(path: Path, text: str) -> None:
    """Write a file in one step, so that no half page is left behind."""
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".page-")
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        os.chmod(temporary, 0o644)
        shutil.move(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


def run_report(args: Namespace) -> int:
    """Run `brewlog report` with its parsed arguments: `book`, `out`, `units`, `only`, `since`.

    Returns
    -------
    int
        0 when every page was written, 1 when a page was lost, 2 when nothing could be written.
    """
    try:
        check_folders(Path(args.book), Path(args.out))
        book = read_logbook(args.book)
        if not book.brews:
            raise ValueError(f"{args.book}: no brew could be read; see 'brewlog check {args.book}'.")
        written = write_report(
            book, args.out, units=args.units, only=args.only, since=args.since, progress=sys.stderr.isatty()
        )
    except (ValueError, KeyError, OSError) as error:
        print(
            f"brewlog report: {error.args[0] if error.args and isinstance(error.args[0], str) else error}",
            file=sys.stderr,
        )
        return 2
    for file, why in written.lost.items():
        print(f"{file}: not made; {why}", file=sys.stderr)
    found = pages.problem_counts(book.problems)
    print(f"{len(written.files)} files written to {written.folder}; open {written.folder / 'index.html'}.")
    print(f"Reading found {found}.")
    return 1 if written.lost else 0
