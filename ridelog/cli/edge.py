"""Where errors become one line on stderr and an exit status; no traceback reaches a user."""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

import click

from ridelog.cli.show import plain
from ridelog.errors import InputRefused, LibraryError, RidelogError
from ridelog.words import progress as doing

DONE, SOME_REFUSED, UNUSABLE, OUR_FAULT = 0, 1, 2, 3
"""The exit statuses of every command."""


class Refused(click.exceptions.Exit):
    """Leave with status 1 after the reasons have been printed."""

    def __init__(self) -> None:
        super().__init__(SOME_REFUSED)


def run(command: click.Command) -> None:
    """Run the command line and leave the process with the right status."""
    try:
        status = command.main(prog_name="ridelog", standalone_mode=False)
    except click.ClickException as error:
        error.show(sys.stderr)
        sys.exit(UNUSABLE)
    except (click.Abort, KeyboardInterrupt):
        say(doing.STOPPED)
        sys.exit(130)
    except RidelogError as error:
        say(error.one_line())
        sys.exit(status_of(error))
    except BrokenPipeError:
        # The reader of our output went away (`| head`): silence is what it expects.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(DONE)
    except Exception as error:
        say(f"internal error: {type(error).__name__}. This is a fault of ridelog, not of your file.{_keep(error)}")
        sys.exit(OUR_FAULT)
    sys.exit(status if isinstance(status, int) else DONE)


def status_of(error: RidelogError) -> int:
    """Exit status for an error that ended a command."""
    if isinstance(error, InputRefused):
        return SOME_REFUSED
    return OUR_FAULT if isinstance(error, LibraryError) else UNUSABLE


def say(text: str) -> None:
    """One line to the user on stderr."""
    click.echo(f"ridelog: {plain(text)}", err=True)


def _keep(error: BaseException) -> str:
    """Write the traceback where it can be sent in with a report. '' where even that fails."""
    import traceback

    try:
        handle, name = tempfile.mkstemp(prefix="ridelog-error-", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write("".join(traceback.format_exception(error)))
    except OSError:
        return ""
    return f" Details for a report: {Path(name)}"
