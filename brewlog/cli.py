"""The command line: make a logbook, check it, report on it."""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import sys
import traceback
from collections.abc import Sequence
from datetime import date
from itertools import groupby

import brewlog
from brewlog.logbook import Logbook, Problem, new_logbook, read_logbook


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status.

    Parameters
    ----------
    argv : sequence of str, optional
        Words behind `brewlog`; those of the process when None.

    Returns
    -------
    int
        `check`: 0 read, 1 problems were found (with `--strict` also notes), 2 nothing could be read. `new`: 0, or 2
        where the folder holds anything. `report`: 0 when every page stands, 1 when one was lost, 2 nothing.
    """
    args = _parser().parse_args(argv)
    for stream in (sys.stdout, sys.stderr):
        if stream is not None and hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a terminal without the sign must not stop us
    try:
        status = int(args.run(args))
        if sys.stdout is not None:  # None where the shell closed it
            sys.stdout.flush()
        return status
    except BrokenPipeError:
        # the reader of our output went away: that is no error of ours
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        return 130
    except OSError as error:
        with contextlib.suppress(OSError, ValueError):
            print(f"brewlog: what was to be written could not be ({_reason(error)}).", file=sys.stderr)
        return 2
    except Exception as error:  # a person at the terminal is told in words, never by a traceback
        _tell_own_fault(error)
        return 2


def _tell_own_fault(error: BaseException) -> None:
    where = traceback.extract_tb(error.__traceback__)[-1:]
    place = f" ({where[0].name}, line {where[0].lineno})" if where else ""
    text = f"brewlog: a fault of brewlog itself stopped it: {type(error).__name__}: {error}"[:300]
    with contextlib.suppress(OSError, ValueError):
        print(f"{' '.join(text.split())}{place}. No file of the logbook was changed.", file=sys.stderr)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="brewlog", description="What a home brewer's logbook says.")
    parser.add_argument("--version", action="version", version=f"brewlog {brewlog.__version__}")
    commands = parser.add_subparsers(required=True, metavar="command")
    new = commands.add_parser("new", help="make an empty logbook, every file with its header")
    new.add_argument("dir", help="folder to make; it must not hold anything")
    new.set_defaults(run=_new)
    check = commands.add_parser("check", help="say what in a logbook could not be read")
    check.add_argument("book", help="folder of the logbook")
    check.add_argument("--json", action="store_true", help="print records instead of sentences")
    check.add_argument("--strict", action="store_true", help="let notes count as problems")
    check.set_defaults(run=_check)
    report = commands.add_parser(
        "report", help="write pages and tables about a logbook; pages that nothing changed for stay"
    )
    report.add_argument("book", help="folder of the logbook")
    report.add_argument("--out", required=True, metavar="DIR", help="folder for the pages, beside the logbook")
    report.add_argument(
        "--units", choices=("metric", "us"), default="metric", help="units of pages, figures and notebooks"
    )
    report.add_argument(
        "--only", action="append", metavar="BREW", help="write the page of this brew only; may be repeated"
    )
    report.add_argument("--since", type=_day, metavar="DATE", help="write pages of brews from this day on")
    report.add_argument(
        "--compare", nargs=2, action="append", metavar=("A", "B"),
        help="write a page with these two brews side by side; may be repeated",
    )  # fmt: skip
    report.set_defaults(run=_report)
    return parser


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no date; expected one such as 2024-05-31") from None


def _new(args: argparse.Namespace) -> int:
    try:
        made = new_logbook(args.dir)
    except OSError as error:
        print(f"brewlog new: {_reason(error)}", file=sys.stderr)
        return 2
    print(f"An empty logbook stands in {made}. Begin with brews.csv: one row per brew day.")
    return 0


def _check(args: argparse.Namespace) -> int:
    try:
        book = read_logbook(args.book)
        problems = book.problems
    except (OSError, ValueError) as error:
        if args.json:
            print(json.dumps({"read": False, "reason": _reason(error), "problems": []}))
        else:
            print(f"brewlog check: {_reason(error)}", file=sys.stderr)
        return 2
    hard = sum(problem.severity == "problem" for problem in problems)
    nothing = not book.brews and bool(hard)
    if nothing and not args.json:
        first = next(iter(problems), None)
        why = f" ({str(first).rstrip('.')})" if first is not None else ""
        print(f"brewlog check: no brew could be read from {book.path}{why}", file=sys.stderr)
        return 2
    if args.json:
        records = [problem.to_dict() for problem in problems]
        counts = {"brews": len(book.brews), "rigs": len(book.rigs), "water_tests": len(book.water_tests)}
        print(json.dumps({"read": not nothing, **counts, "problems": records}, ensure_ascii=True, indent=1))
    else:
        print("\n".join(_sentences(book, problems)))
    if nothing:
        return 2
    return 1 if hard or (args.strict and problems) else 0


def _sentences(book: Logbook, problems: Sequence[Problem]) -> list[str]:
    """Problems first, then notes, each grouped by file."""
    lines = [f"{book.path}: {len(book.brews)} brews, {len(book.rigs)} rigs, {len(book.water_tests)} water tests read."]
    for severity, title in (("problem", "problems"), ("note", "notes")):
        chosen = [problem for problem in problems if problem.severity == severity]
        lines.append(f"{len(chosen)} {title if len(chosen) != 1 else severity}" + (":" if chosen else "."))
        for file, group in groupby(chosen, key=lambda problem: problem.file):
            members = list(group)
            lines.append(f"  {file} ({len(members)})")
            lines += [f"    {problem}" for problem in members]
    return lines


def _report(args: argparse.Namespace) -> int:
    from brewlog.report import run_report  # brings plotting and statistics, which `check` does without

    return run_report(args)


def _reason(error: Exception) -> str:
    """One line that says why."""
    text = str(error)
    if isinstance(error, OSError) and error.strerror:
        text = error.strerror if error.filename is None else f"{str(error.filename)!r}: {error.strerror}"
    return " ".join(text.split())
