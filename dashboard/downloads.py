"""What can be taken away of a ride: report, customer's page, samples, stretches, track, steps of the heat balance."""

from __future__ import annotations

import math
import re
import tempfile
from collections.abc import Callable
from pathlib import Path

from flask import Flask, Response, request

from dashboard.look import MOST_TRIM_M
from dashboard.provider import Provider, RideView
from ridelog.errors import NotInLibrary, RidelogError, UsageError

TYPES = {
    "csv": "text/csv",
    "parquet": "application/vnd.apache.parquet",
    "geojson": "application/geo+json",
    "gpx": "application/gpx+xml",
}
"""By ending: the ride in these forms. Parquet's name is registered with IANA, so is GeoJSON's (RFC 7946)."""


def register(server: Flask, provider: Provider) -> None:
    """An address for each."""

    @server.get("/ride/<ride_id>/report.html", endpoint="report")
    def report(ride_id: str) -> Response:
        return _answer(provider, ride_id, lambda view: (_page(view, annex=True), "text/html", "ride-{}.html"))

    @server.get("/ride/<ride_id>/customer.html", endpoint="customer")
    def customer(ride_id: str) -> Response:
        return _answer(provider, ride_id, lambda view: (_page(view, annex=False), "text/html", "customer-{}.html"))

    @server.get("/ride/<ride_id>/heat.csv", endpoint="steps")
    def steps(ride_id: str) -> Response:
        def made(view: RideView) -> tuple[bytes, str, str]:
            from ridelog.export_heat import steps_table

            return steps_table(view.analysis, view.traces).write_csv().encode(), "text/csv", "heat-{}.csv"

        return _answer(provider, ride_id, made)

    @server.get("/ride/<ride_id>/ride.<ending>", endpoint="ride_file")
    def ride_file(ride_id: str, ending: str) -> Response:
        if ending not in TYPES:
            return Response("There is no such file of a ride.\n", 404, mimetype="text/plain")
        return _answer(provider, ride_id, lambda view: (_written(view, ending), TYPES[ending], "ride-{}." + ending))


def _page(view: RideView, *, annex: bool) -> bytes:
    from ridelog.report import render

    units = "imperial" if request.args.get("units") == "imperial" else "metric"
    page = render(
        view.analysis, view.traces, view.ride, view.bike, advice=view.advice, units=units,
        diagnosis=view.diagnosis, annex=annex, with_course=request.args.get("course") != "off",
    )  # fmt: skip
    return page.encode()


def _written(view: RideView, ending: str) -> bytes:
    from ridelog.export import export

    trim_m = _trim_m()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"ride.{ending}"
        if ending == "geojson":
            export(view.ride, path, segments=view.analysis.segments, trim_ends_m=trim_m)
        else:
            export(view.ride, path, trim_ends_m=trim_m)
        return path.read_bytes()


def _trim_m() -> float:
    """Metres to leave out at both ends. Raises UsageError for what is no number: never more is given than was asked."""
    text = request.args.get("trim", "0")
    try:
        trim_m = float(text)
    except ValueError:
        trim_m = math.nan
    if not 0.0 <= trim_m <= MOST_TRIM_M:
        raise UsageError("the metres to leave out are no number", expected=f"0 to {MOST_TRIM_M:g}")
    return trim_m


def _answer(provider: Provider, ride_id: str, make: Callable[[RideView], tuple[bytes, str, str]]) -> Response:
    try:
        content, mimetype, name = make(provider.view_of(ride_id))
    except NotInLibrary:
        return Response("This ride is not in the library.\n", 404, mimetype="text/plain")
    except UsageError as error:
        return Response(error.one_line() + "\n", 404, mimetype="text/plain")
    except RidelogError as error:
        return Response(error.one_line() + "\n", 500, mimetype="text/plain")
    answer = Response(content, mimetype=mimetype)
    safe = re.sub(r"[^A-Za-z0-9._-]", "_", ride_id)[:80]
    answer.headers["Content-Disposition"] = f'attachment; filename="{name.format(safe)}"'
    return answer
