"""The whole report of a logbook as a folder of pages and tables; what did not change is left as it stands."""

from __future__ import annotations

from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from tqdm import tqdm

from brewlog.figures.units import UnitChoice
from brewlog.logbook import Logbook, safe_csv
from brewlog.report.blocks import Answer, Block, Link, Text
from brewlog.report.comparison import check_pair
from brewlog.report.context import Context
from brewlog.report.jobs import NOTEBOOK_MENU, Inputs, Job, all_jobs
from brewlog.report.manifest import FILE, Entry, Manifest, content_digest, read_manifest
from brewlog.report.notebooks import load_libraries
from brewlog.report.render import Page, file_names, render
from brewlog.report.results import Results
from brewlog.report.writing import write_text


@dataclass
class Written:
    """What a report wrote, what it left as it stood, and what it could not make."""

    folder: Path
    files: list[str] = field(default_factory=list)
    """Written in this run."""
    kept: list[str] = field(default_factory=list)
    """Left as an earlier run wrote them, for nothing that they rest on changed."""
    removed: list[str] = field(default_factory=list)
    """Removed, for what they told of is no longer in the logbook."""
    lost: dict[str, str] = field(default_factory=dict)
    """Page that could not be made, and why."""

    def to_dict(self) -> dict[str, Any]:
        """Names of the files as plain values."""
        return {
            "folder": str(self.folder), "written": self.files, "kept": self.kept, "removed": self.removed,
            "lost": self.lost,
        }  # fmt: skip


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
    ours = any((out / name).is_file() for name in ("index.html", FILE))
    if out.is_dir() and any(out.iterdir()) and not ours:
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
    compare: Iterable[tuple[str, str]] = (),
    progress: bool = False,
) -> Written:
    """Write the pages and tables of a logbook's report; what did not change since an earlier run is left as it stands.

    A page is made again when anything it rests on has changed: the records and traces it tells of, constants of its
    rig, the units, or brewlog itself. Pages of brews that are gone are removed if an earlier run wrote them and nobody
    changed them since. A list of pages that cannot be read makes everything anew.

    Parameters
    ----------
    book : Logbook
    out : path
        Folder of the report; made when absent.
    units : str
        `metric` or `us`: units of pages, figures and notebooks; tables for other tools stay in canonical units.
    only : iterable of str, optional
        Labels of the brews that get a page; all when None. Pages that earlier runs wrote stay.
    since : date, optional
        Brews before that day get no page. Results rest on all brews all the same.
    compare : iterable of pairs of str
        Labels of brews to be put side by side. Pairs of earlier runs are kept while both brews are there.
    progress : bool
        Show a progress bar on standard error.

    Returns
    -------
    Written

    Raises
    ------
    ValueError
        If `out` is the logbook, inside it or around it, `units` is another word, or a brew is compared with itself.
    KeyError
        If `only` or `compare` names a brew that is not there; the nearest label is named.
    """
    out = Path(out)
    check_folders(Path(book.path), out)
    choice = UnitChoice(units)
    wanted = chosen_brews(book, only, since)
    asked = [(one, other) for one, other in compare]
    for pair in asked:
        check_pair(book, *pair)
    out.mkdir(parents=True, exist_ok=True)
    manifest, written = read_manifest(out), Written(out)
    pairs = list(dict.fromkeys([*(pair for pair in manifest.pairs if set(pair) <= set(book.brews)), *asked]))
    names = file_names("brew", book.brews)
    linked = {
        label: file
        for label, file in names.items()
        if label in wanted or (file in manifest.files and (out / file).is_file())
    }
    context = Context(
        Results(book), choice, linked, file_names("rig", book.rigs), dict(zip(pairs, pair_names(pairs), strict=True))
    )
    inputs = Inputs(context, manifest)
    jobs = all_jobs(context, inputs, wanted)
    stale = [job for job in jobs if not manifest.stands(out, job.file, job.key)]
    written.kept = [job.file for job in jobs if job not in stale]
    make_all(stale, out, Path(book.path).resolve().name, manifest, written, progress)
    written.removed = manifest.remove_others(out, {*(job.file for job in jobs), *linked.values()})
    manifest.rigs, manifest.pairs = inputs.rigs, pairs
    manifest.save(out)
    return written


def pair_names(pairs: Iterable[tuple[str, str]]) -> list[str]:
    """File of the page of each pair.

    Examples
    --------
    >>> pair_names([("k1", "k2")])
    ['compare-k1-with-k2.html']
    """
    labels = ["-with-".join(file_names("", [label])[label][1:-5] for label in pair) for pair in pairs]
    return list(file_names("compare", labels).values())


def make_all(
    jobs: list[Job], out: Path, book_name: str, manifest: Manifest, written: Written, progress: bool = False
) -> None:
    """Make the files of `jobs`; one that fails costs none of the others."""
    menu = [Link("index.html", "Overview"), Link("findings.html", "Findings")]
    menu += [Link(f"{stem}.html", short) for stem, short in NOTEBOOK_MENU.items()]
    menu += [Link("problems.html", "Problems")]
    if any(job.beside for job in jobs):
        load_libraries()
    with ThreadPoolExecutor(1) as kernels, tqdm(total=len(jobs), disable=not progress, unit="file") as bar:
        # the notebooks run in processes of their own, beside the pages
        running = {job.file: kernels.submit(job.make) for job in jobs if job.beside}
        for job in sorted(jobs, key=lambda job: job.beside):
            bar.set_description(job.file.rpartition(".")[0], refresh=False)
            manifest.files.pop(job.file, None)
            try:
                made = running[job.file].result() if job.beside else job.make()
            except Exception as error:  # one file that fails must not cost the others
                written.lost[job.file] = what_failed(error)
                sorry: list[Block] = [Answer((written.lost[job.file],)), Text("The other pages stand.")]
                made = Page(job.file, "This page could not be made", sorry)
            if not isinstance(made, Page):
                safe_csv(made, out / job.file)
            elif job.file.endswith(".html"):
                write_text(out / job.file, render(made, book_name, menu))
            if job.file not in written.lost:
                manifest.files[job.file] = Entry(job.key, content_digest(out / job.file) or "")
            written.files.append(job.file)
            bar.update()


def what_failed(error: Exception) -> str:
    """One line on an error; that of a notebook names what failed inside it."""
    name = getattr(error, "ename", type(error).__name__)
    text = str(getattr(error, "evalue", error))
    return f"{name}: {text}".splitlines()[0]


def chosen_brews(book: Logbook, only: Iterable[str] | None, since: date | None) -> list[str]:
    """Labels of the brews that get a page."""
    labels = list(book.brews) if only is None else list(dict.fromkeys(book.brews[label].label for label in only))
    days = {label: book.brews[label].date for label in labels}
    return [label for label in labels if since is None or ((day := days[label]) is not None and day >= since)]
