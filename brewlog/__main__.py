"""`python -m brewlog` is the command line."""

import sys

from brewlog.cli import main

if __name__ == "__main__":
    sys.exit(main())
