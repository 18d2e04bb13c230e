"""The download of a ride's logs as they came."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from flask import Flask, Response

from ridelog.errors import NotInLibrary, RidelogError

if TYPE_CHECKING:
    from dashboard.provider import Provider


def register(server: Flask, provider: Provider) -> None:
    """An address for each log of a ride."""

    @server.get("/ride/<ride_id>/original-<int:number>", endpoint="original")
    def original(ride_id: str, number: int) -> Response:
        try:
            name, held = provider.original(ride_id, number)
        except NotInLibrary as error:
            return Response(error.one_line() + "\n", 404, mimetype="text/plain")
        except RidelogError as error:
            return Response(error.one_line() + "\n", 500, mimetype="text/plain")
        answer = Response(held, mimetype="application/octet-stream")
        safe = re.sub(r"[^A-Za-z0-9._-]", "_", name)[:80] or "log"
        answer.headers["Content-Disposition"] = f'attachment; filename="{safe}"'
        return answer
