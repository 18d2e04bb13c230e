"""`ridelog serve` and `ridelog demo`."""

from __future__ import annotations

import os
import secrets
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ridelog.cli import show
from ridelog.cli.common import library_option, open_library, progress
from ridelog.cli.edge import Refused, say
from ridelog.errors import UsageError
from ridelog.words import progress as doing

if TYPE_CHECKING:
    from ridelog.cli.demo_library import Demo

PORT = 8150
"""Default port of the dashboard."""


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True, help="0 takes a free one.")
@click.option(
    "--allow-network",
    is_flag=True,
    help="Let other machines in. They need the token: $RIDELOG_TOKEN, else one is made and printed.",
)
@click.option("--browser/--no-browser", default=True, help="Open the page in the browser.")
@library_option
def serve(host: str, port: int, *, allow_network: bool, browser: bool, library_folder: Path | None) -> None:
    """Show the library in the browser. Only this machine can reach it unless --allow-network is given."""
    open_library(library_folder, must_exist=True)
    token = None
    if allow_network or not _is_loopback(host):
        if not allow_network:
            raise UsageError(
                f"{host} can be reached by other machines",
                where="--host",
                expected="a loopback address such as 127.0.0.1",
                to_do="leave --host out, or add --allow-network: positions of rides then leave this machine",
            )
        token = os.environ.get("RIDELOG_TOKEN") or secrets.token_urlsafe(24)
    _serve(library_folder, host, port, token, browser=browser)


def _is_loopback(host: str) -> bool:
    import ipaddress

    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _serve(folder: Path | None, host: str, port: int, token: str | None, *, browser: bool) -> None:
    from dashboard.server import serve as run

    def ready(address: str) -> None:
        say(doing.dashboard_at(address))

    run(folder, host, port, token=token, open_browser=browser, on_ready=ready)


@click.command(short_help="Build a library from the sample logs and open the dashboard.")
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True, help="0 takes a free one.")
@click.option("--browser/--no-browser", default=True, help="Open the page in the browser.")
@click.option("--serve/--no-serve", "serve_", default=True, help="Open the dashboard once the library is built.")
@library_option
def demo(port: int, *, browser: bool, serve_: bool, library_folder: Path | None) -> None:
    """Build a library from the sample logs, tell what there is to look at, and open the dashboard.

    The sample logs are an invented scenario. They go to a library of their own (a folder `demo` beside yours), unless
    --library names another.
    """
    from ridelog.cli.demo_library import build, default_folder

    folder = library_folder or default_folder()
    with progress() as tell:
        built = build(folder, tell)
    _overview(folder, built)
    if serve_:
        _serve(folder, "127.0.0.1", port, None, browser=browser)
    if built.refused:
        raise Refused


def _overview(folder: Path, built: Demo) -> None:
    from ridelog.words import demo as words

    library = open_library(folder)
    rows = library.list_rides(limit=None)
    bikes = []
    for bike in library.bikes():
        own = [row for row in rows if row.bike == bike.id]
        days = sorted(f"{row.start_utc:%Y-%m-%d}" for row in own if row.start_utc is not None)
        first, last = (days[0], days[-1]) if days else (show.DASH, show.DASH)
        bikes.append((bike.id, bike.build, str(len(own)), first, last))
    show.table(words.title(str(folder), len(rows)), words.BIKE_COLUMNS, bikes, right=(2,))
    show.lines("", [words.invented()])
    show.table(words.LOOK_TITLE, words.LOOK_COLUMNS, [(look.ride_id, look.bike, look.why) for look in built.looks])
    for reason in built.refused:
        say(words.not_imported(reason))
    ids = sorted(row.id for row in rows)
    short = {name: _short(ride_id, ids) for name, ride_id in built.rides.items()}
    context = click.get_current_context().find_root()
    group = context.command
    known = frozenset(group.list_commands(context)) if isinstance(group, click.Group) else frozenset[str]()
    show.table(words.use(str(folder)), words.TRY_COLUMNS, words.tries(short, known))


def _short(ride_id: str, ids: Sequence[str]) -> str:
    """Day and time of a ride's id where they name it alone."""
    start = ride_id[:13]
    return start if sum(one.startswith(start) for one in ids) == 1 else ride_id
