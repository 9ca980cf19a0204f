"""Run the command line as ``python -m cropload``."""

import sys

from cropload.pages.cli import main

if __name__ == "__main__":
    sys.exit(main())
