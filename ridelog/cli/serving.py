"""`ridelog serve` and `ridelog demo`."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

import click

from ridelog.cli import show
from ridelog.cli.common import library_option, open_library, progress
from ridelog.cli.edge import Refused, say
from ridelog.errors import UsageError

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
        say(f"the dashboard is at {address} (Ctrl-C stops it)")

    run(folder, host, port, token=token, open_browser=browser, on_ready=ready)


@click.command(short_help="Build a library from the sample logs and open the dashboard.")
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True, help="0 takes a free one.")
@click.option("--browser/--no-browser", default=True, help="Open the page in the browser.")
@click.option("--serve/--no-serve", "serve_", default=True, help="Open the dashboard once the library is built.")
@library_option
def demo(port: int, *, browser: bool, serve_: bool, library_folder: Path | None) -> None:
    """Build a library from the sample logs, tell what each ride shows, and open the dashboard.

    The sample logs are an invented scenario. They go to a library of their own (a folder `demo` beside yours), unless
    --library names another.
    """
    from ridelog.cli.demo_library import build, default_folder

    folder = library_folder or default_folder()
    with progress() as tell:
        rows, refused = build(folder, tell)
    show.table(f"Sample rides in {folder}", ("ride", "sample", "bike", "answer"), rows, optional=(2,))
    for reason in refused:
        say(f"not imported: {reason}")
    show.lines("", [f"Look closer: ridelog analyze RIDE --library {folder}"])
    if serve_:
        _serve(folder, "127.0.0.1", port, None, browser=browser)
    if refused:
        raise Refused
