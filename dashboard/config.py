"""Names, addresses and limits of the dashboard."""

from __future__ import annotations

import math
from urllib.parse import quote, urlencode

NAME = "ridelog"

LATEST = 200
"""Rides shown in the list; older ones are reached through the command line."""

STRETCHES = 60
"""Rows of the table of stretches that come with the page; the rest on demand, so that a long day loads quickly."""

DOUBTS = 50
"""Rows of doubtful data that stand open; the rest behind one more press."""

CACHED_RIDES = 8
"""Analyzed rides kept in memory: a ride of 10 h at 20 Hz takes about 100 MB with its samples."""

BODY_BYTES = 1_000_000
"""Largest request taken but a file: pages send clicks and ranges."""

STACK_POINTS = 1600
"""Points a line and view."""

COMPARED_RIDES = 8
"""Rides set beside each other at once."""

STRIPS = 60
"""Rides drawn as strips on the review's page, latest first."""

LOOK_MS = 1000
"""So often a page looks after imports while one is going on."""


def ride_path(ride_id: str) -> str:
    """Address of a ride's page."""
    return f"/ride/{quote(ride_id, safe='')}"


ANSWERS_NETWORK = "RIDELOG_ANSWERS_NETWORK"
"""Key of the server's settings: whether other machines than this one may ask."""

FROM, TO = "from", "to"
"""Seconds of a ride, in the address of its page."""


def view_path(ride_id: str, start_s: float, end_s: float) -> str:
    """Address of a part of a ride."""
    start, end = max(0, math.floor(start_s)), max(1, math.ceil(end_s))
    return f"{ride_path(ride_id)}?{urlencode({FROM: start, TO: end})}"


PLACES = "/places"


def places_path(bike: str | None = None) -> str:
    """Address of the hottest places of all rides, or of a bike's."""
    return PLACES if bike is None else f"{PLACES}?{urlencode({'bike': bike})}"


def import_path(job_id: str) -> str:
    """Address of an import that has not ended, or of what became of it."""
    return f"/import/{quote(job_id, safe='')}"


def profile_path(kind: str, name: str) -> str:
    """Address of the editor of a bike (`kind` bike) or of a sheet (advice)."""
    return f"/{'bikes' if kind == 'bike' else 'sheets'}/{quote(name, safe='')}"


def new_profile_path(kind: str) -> str:
    """Address of the editor of a new one."""
    return f"/new/{kind}"


CASES = "/cases"


def case_path(name: str) -> str:
    """Address of a case."""
    return f"{CASES}/{quote(name, safe='')}"


def new_case_path(ride_id: str | None = None) -> str:
    """Address of the form that opens a case, with a ride where one is named."""
    return "/new/case" if ride_id is None else f"/open-case/{quote(ride_id, safe='')}"


def compare_path(*ride_ids: str) -> str:
    """Address of the comparison of rides."""
    return f"/compare?{urlencode({'rides': ','.join(ride_ids)})}"


def steps_path(ride_id: str) -> str:
    """Address of the heat balance's steps as a table."""
    return f"{ride_path(ride_id)}/heat.csv"


def report_path(ride_id: str, units: str = "metric", *, annex: bool = True, course: bool = True) -> str:
    """Address of a ride's report, or of the customer's page alone. Without `course` no map of it is in the report."""
    asked = {} if units == "metric" else {"units": units}
    if annex and not course:
        asked["course"] = "off"
    address = f"{ride_path(ride_id)}/{'report' if annex else 'customer'}.html"
    return f"{address}?{urlencode(asked)}" if asked else address


def file_path(ride_id: str, ending: str, trim_m: float = 0.0) -> str:
    """Address of a ride as a file; `trim_m` metres are left out at both ends."""
    return f"{ride_path(ride_id)}/ride.{ending}" + (f"?trim={trim_m:g}" if trim_m else "")
