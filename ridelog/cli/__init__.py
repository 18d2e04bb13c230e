"""The command line: each command parses, makes one call into the project, and prints.

Nothing heavy is imported before a command needs it. Errors become one line and an exit status in `edge.py`, once.
"""

from __future__ import annotations

from ridelog.cli.edge import run
from ridelog.cli.group import ridelog


def main() -> None:
    """Entry point of the console script. Exits 0, 1 (some inputs refused), 2 (unusable arguments) or 3 (our fault)."""
    run(ridelog)
