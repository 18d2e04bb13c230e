"""`python -m ridelog` and the console script."""

from __future__ import annotations

from ridelog.cli import main

if __name__ == "__main__":
    main()
