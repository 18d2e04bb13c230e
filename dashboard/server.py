"""The dashboard as a running server."""

from __future__ import annotations

import logging
import socket
import tempfile
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path
from urllib.parse import quote

from dashboard import security
from ridelog.errors import UsageError

THREADS = 24
"""Requests answered at once. A file that was received keeps its thread until the disk has it: pages need others."""

RECEIVE_BYTES = 256 * 1024
"""Taken from a connection at once: in small pieces, the one loop that reads all connections has no time left."""


def serve(
    library_root: Path | None,
    host: str = "127.0.0.1",
    port: int = 8150,
    *,
    token: str | None = None,
    open_browser: bool = False,
    on_ready: Callable[[str], None] | None = None,
) -> None:
    """Serve a library until interrupted.

    `port` 0 takes a free one. Anything but a loopback `host` needs a `token`, which every request must then carry.
    `on_ready` is called with the address to open, token included. Raises UsageError where the address can't be used,
    LibraryError where the library can't be opened.
    """
    if not security.is_loopback(host) and not token:
        raise UsageError(
            f"{host} can be reached by other machines, and no token was given",
            where="dashboard",
            expected="a loopback address such as 127.0.0.1, or a token",
            to_do="serve on 127.0.0.1, or let `ridelog serve --allow-network` make a token",
        )
    from waitress import create_server

    from dashboard.adding.desk import Desk
    from dashboard.adding.inbox import FILE_BYTES
    from dashboard.app import create_app
    from dashboard.provider import LibraryProvider

    provider = LibraryProvider(library_root)
    desk = Desk(provider.root)
    app = create_app(provider, desk=desk, token=token)
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    door = _bind(host, port)
    server = create_server(
        app.server,
        sockets=[door],
        threads=THREADS,
        recv_bytes=RECEIVE_BYTES,
        max_request_body_size=FILE_BYTES,
        max_request_header_size=65_536,
        ident=None,
        clear_untrusted_proxy_headers=True,
    )
    address = _address(host, int(door.getsockname()[1]), token)
    if on_ready is not None:
        on_ready(address)
    if open_browser:
        threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
    # What is received waits beside the library and not in the machine's own folder, which may be memory.
    before, tempfile.tempdir = tempfile.tempdir, str(desk.inbox.root)
    try:
        server.run()
    finally:
        tempfile.tempdir = before
        server.close()
        desk.close()


def _bind(host: str, port: int) -> socket.socket:
    """A listening socket. Raises UsageError where the address can't be had."""
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
        return socket.create_server((host, port), family=family, backlog=128)
    except (OSError, OverflowError, UnicodeError) as error:
        raise UsageError(
            f"{host} port {port} can't be used ({error})",
            where="dashboard",
            expected="a free port on an address of this machine",
            to_do="stop what is using it, or choose another with --port (0 takes a free one)",
        ) from error


def _address(host: str, port: int, token: str | None) -> str:
    shown = socket.gethostname() if host in {"0.0.0.0", "::"} else host  # noqa: S104
    if ":" in shown:
        shown = f"[{shown}]"
    return f"http://{shown}:{port}/" + (f"?token={quote(token, safe='')}" if token else "")
