"""The dashboard as a running server."""

from __future__ import annotations

import logging
import os
import select
import socket
import tempfile
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import quote

from dashboard import security
from ridelog.errors import UsageError

THREADS = 24
"""Requests answered at once. A file that was received keeps its thread until the disk has it: pages need others."""

CONNECTIONS = 1000
"""Connections held at once. One that sends nothing costs no thread, and must not keep pages from being answered."""

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
    _tell_faults()
    door = _bind(host, port)
    server = create_server(
        app.server,
        sockets=[door],
        threads=THREADS,
        connection_limit=CONNECTIONS,
        asyncore_use_poll=hasattr(select, "poll"),  # the other way ends at 1024 open files
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


class _OneLine(logging.Formatter):
    """What went wrong on one line; where in the program it did stands in a file of its own."""

    def __init__(self) -> None:
        super().__init__("ridelog: %(message)s")
        self._folder = tempfile.gettempdir()

    def formatException(self, ei: Any) -> str:  # noqa: N802 - the name of logging
        try:
            handle, name = tempfile.mkstemp(prefix="ridelog-error-", suffix=".txt", dir=self._folder)
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(super().formatException(ei))
        except OSError:
            return "ridelog: the details could not be written"
        return f"ridelog: details for a report: {name}"

    def formatStack(self, stack_info: str) -> str:  # noqa: ARG002, N802
        return ""


def _tell_faults() -> None:
    """Faults go to the terminal without the innards of the program."""
    told = logging.StreamHandler()
    told.setLevel(logging.WARNING)
    told.setFormatter(_OneLine())
    logging.basicConfig(handlers=[told])


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
