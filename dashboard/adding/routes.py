"""The addresses a page sends files to: plain HTTP, straight to the disk. Every one of them only writes for a page of
this server (see security.guard)."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

from flask import Flask, Response, request

from dashboard.adding import joining, remedies
from dashboard.adding.foreman import Foreman
from dashboard.adding.inbox import FILE_BYTES, Inbox
from dashboard.adding.jobs import Told
from dashboard.shapes import json_of
from ridelog.errors import RidelogError, UsageError

JOB_BYTES = 200_000


def register(server: Flask, inbox: Inbox, foreman: Foreman, knows_bike: Any) -> None:
    """`POST /add` announces files, `PUT /add/<job>/<number>` sends one of them."""

    @server.post("/add", endpoint="add")
    def announce() -> Response:
        request.max_content_length = JOB_BYTES
        try:
            files, told = _announced(json_of(request), knows_bike)
            job = inbox.make(files, told)
        except UsageError as error:
            return _refused(error)
        return _json({"job": job.id, "files": [f"/add/{job.id}/{number}" for number in range(len(files))]}, 201)

    @server.put("/add/<job_id>/<int:number>", endpoint="add_file")
    def receive(job_id: str, number: int) -> Response:
        request.max_content_length = FILE_BYTES
        length = request.content_length
        if length is None:
            return _json({"reason": "The length of the file was not sent."}, 411)
        try:
            job = inbox.receive(job_id, number, request.stream, length)
        except RidelogError as error:
            return _refused(error)
        if job.state == "waiting":
            foreman.wake()
        return _json({"state": job.state}, 200)


def _announced(body: Any, knows_bike: Any) -> tuple[list[tuple[str, int]], Told]:
    """Files and what is said of them. Raises UsageError for anything that is not as the page sends it."""
    if not isinstance(body, dict) or not isinstance(body.get("files"), list):
        raise UsageError("this is no list of files", expected="what the page sends")
    files = []
    for one in body["files"]:
        if not isinstance(one, dict) or not isinstance(one.get("name"), str) or type(one.get("size")) is not int:
            raise UsageError("this is no list of files", expected="what the page sends")
        files.append((one["name"], int(one["size"])))
    bike, ambient = body.get("bike"), body.get("ambient_c")
    if bike is not None and (not isinstance(bike, str) or not knows_bike(bike)):
        raise UsageError(
            "this bike is not in the library", expected="a bike of the list, or none", to_do="load the page again"
        )
    if ambient is not None and (
        isinstance(ambient, bool) or not isinstance(ambient, int | float) or not math.isfinite(ambient)
    ):
        raise UsageError("the air temperature is no number", expected="degrees C, or nothing")
    if ambient is not None and not -40.0 <= ambient <= 60.0:
        raise UsageError(f"an air temperature of {ambient:g} C", expected="-40 to 60 C", to_do="correct it")
    zone = body.get("timezone")
    if zone is not None and not isinstance(zone, str):
        raise UsageError("the time zone is no text", expected="a zone, or nothing")
    told = joining.told_with(Told(), joining.Said(timezone=zone))
    return files, replace(told, bike=bike, ambient_c=ambient, together=body.get("together") is True)


def _refused(error: RidelogError) -> Response:
    return _json({"reason": remedies.one_line(remedies.of(error))}, 400)


def _json(document: dict[str, Any], status: int) -> Response:
    return Response(json.dumps(document, allow_nan=False), status, mimetype="application/json")
