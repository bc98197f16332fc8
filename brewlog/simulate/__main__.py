"""Command that writes the sample logbook: ``python -m brewlog.simulate DIR --seed 7``."""

from __future__ import annotations

import argparse
import sys

import numpy as np

from brewlog.simulate.sample import write_logbook


def main(arguments: list[str] | None = None) -> int:
    """Write the sample logbook; 0 when it was written, 2 when the folder holds something already."""
    parser = argparse.ArgumentParser(
        prog="python -m brewlog.simulate", description="Write the invented sample logbook."
    )
    parser.add_argument("folder", help="new or empty folder")
    parser.add_argument("--seed", type=int, default=7, help="the same seed writes the same bytes (default 7)")
    wanted = parser.parse_args(arguments)
    try:
        write_logbook(wanted.folder, np.random.default_rng(wanted.seed))
    except OSError as error:
        print(f"brewlog.simulate: {error}", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
