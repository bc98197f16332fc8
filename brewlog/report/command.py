"""`brewlog report` at the command line."""

from __future__ import annotations

import sys
from argparse import Namespace
from pathlib import Path

from brewlog.logbook import read_logbook
from brewlog.report.index_page import problem_counts
from brewlog.report.site import Written, check_folders, write_report
from brewlog.report.words import counted


def run_report(args: Namespace) -> int:
    """Run `brewlog report` with its parsed arguments: `book`, `out`, `units`, `only`, `since`, `compare`.

    Returns
    -------
    int
        0 when every page was made or still stands, 1 when a page was lost, 2 when nothing could be written.
    """
    try:
        check_folders(Path(args.book), Path(args.out))
        book = read_logbook(args.book)
        if not book.brews:
            raise ValueError(f"{args.book}: no brew could be read; see 'brewlog check {args.book}'.")
        written = write_report(
            book,
            args.out,
            units=args.units,
            only=args.only,
            since=args.since,
            compare=[(one, other) for one, other in args.compare or ()],
            progress=sys.stderr.isatty(),
        )
    except (ValueError, KeyError, OSError) as error:
        print(
            f"brewlog report: {error.args[0] if error.args and isinstance(error.args[0], str) else error}",
            file=sys.stderr,
        )
        return 2
    for file, why in written.lost.items():
        print(f"{file}: not made; {why}", file=sys.stderr)
    print(told(written))
    print(f"Reading found {problem_counts(book.problems)}.")
    return 1 if written.lost else 0


def told(written: Written) -> str:
    """One sentence on what was written, what was left as it stood, what was removed.

    Examples
    --------
    >>> told(Written(Path("out"), files=["index.html"], kept=["a.html", "b.html"]))
    '1 file written to out, 2 left as they stood; open out/index.html.'
    """
    text = f"{counted(len(written.files), 'file')} written to {written.folder}"
    if written.kept:
        text += f", {len(written.kept)} left as {'it' if len(written.kept) == 1 else 'they'} stood"
    if written.removed:
        text += f", {counted(len(written.removed), 'file')} removed whose brew or rig is gone"
    return f"{text}; open {(written.folder / 'index.html').as_posix()}."
