"""How long the whole report of the sample logbook takes, and what a second run saves.

    python tests/benchmarks/report_time.py [--units us] [--check]

Wanted: the whole report in less than 60 s on two cores, and a run with nothing changed in a few seconds. The share of
the notebooks' kernels is the time that they take in processes of their own; they run beside the pages, so that the
shares do not add up to the whole. Times do not travel between machines, nor between a quiet and a busy hour: compare
them with the first line, a fixed piece of arithmetic, and with the processor time.

`--check` also writes the report of a logbook with one changed reading anew, into an empty folder, and compares it byte
by byte with what the second run left.
"""

from __future__ import annotations

import argparse
import os
import shutil
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds that `work` takes, and what it gives."""
    start = time.perf_counter()
    result = work()
    return time.perf_counter() - start, result


def arithmetic() -> float:
    """A fixed piece of work, to compare machines and moments by."""
    rng = np.random.default_rng(1)
    total = 0.0
    for _ in range(60):
        total += float(np.linalg.eigvalsh(np.cov(rng.standard_normal((120, 400)))).sum())
    return total


def report(book: Path, out: Path, units: str) -> Any:
    """One run, from the files to the pages."""
    import brewlog
    from brewlog.report import write_report

    return write_report(brewlog.read_logbook(book), out, units=units)


def change_a_reading(book: Path) -> str:
    """Change one gravity of one brew; return the brew's label."""
    path = book / "readings.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    at = next(k for k, line in enumerate(lines) if ",pre-boil,gravity,1.04" in line)
    lines[at] = lines[at].replace(",1.04", ",1.05", 1)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return lines[at].split(",")[0]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--units", default="metric", choices=("metric", "us"))
    parser.add_argument("--check", action="store_true")
    args = parser.parse_args()
    print(f"{'fixed arithmetic':<44}{timed(arithmetic)[0]:8.1f} s")
    loading, _ = timed(lambda: __import__("brewlog.report"))
    print(f"{'loading brewlog and its libraries':<44}{loading:8.1f} s")

    from brewlog.report import jobs

    kernels: dict[str, float] = {}
    plain = jobs.notebook_page

    def watched(stem: str, *rest: Any) -> Any:
        kernels[stem], page = timed(lambda: plain(stem, *rest))
        return page

    jobs.notebook_page = watched  # type: ignore[assignment]
    with tempfile.TemporaryDirectory() as folder:
        book, out = Path(folder) / "sample_data", Path(folder) / "report"
        shutil.copytree(ROOT / "sample_data", book)
        before = os.times()
        whole, written = timed(lambda: report(book, out, args.units))
        after = os.times()
        size = sum(path.stat().st_size for path in out.iterdir()) / 1e6
        text = f"whole report, {len(written.files)} files, {size:.1f} MB"
        print(f"{text:<44}{whole:8.1f} s   wanted: < 60 s")
        pages = after.user + after.system - before.user - before.system
        beside = after.children_user + after.children_system - before.children_user - before.children_system
        text = f"  processor time: pages {pages:.0f} s, kernels {beside:.0f} s"
        print(f"{text:<44}{max(pages, (pages + beside) / 2):8.1f} s   the least on two free cores")
        for stem, seconds in kernels.items():
            print(f"{'  kernel of ' + stem:<44}{seconds:8.1f} s   {100 * seconds / whole:.0f} % of the whole")
        print(f"{'  kernels together, beside the pages':<44}{sum(kernels.values()):8.1f} s   wanted: about 30 s")
        same, written = timed(lambda: report(book, out, args.units))
        text = f"nothing changed, {len(written.files)} files made"
        print(f"{text:<44}{same:8.1f} s")
        label = change_a_reading(book)
        one, written = timed(lambda: report(book, out, args.units))
        brews = sum(file.startswith("brew-") for file in written.files)
        text = f"one reading of {label} changed, {len(written.files)} files made"
        print(f"{text:<44}{one:8.1f} s   of them {brews} pages of brews")
        if args.check:
            report(book, Path(folder) / "fresh", args.units)
            other = [
                path.name
                for path in sorted((Path(folder) / "fresh").iterdir())
                if path.read_bytes() != (out / path.name).read_bytes()
            ]
            print(f"files that differ from a report made anew: {', '.join(other) or 'none'}")


if __name__ == "__main__":
    main()
