"""Ids of the components, in one place: callbacks and tests name them from here."""

from __future__ import annotations

URL = "url"
SCREEN = "screen"
TITLE = "page-title"
CONTENT = "content"
NOTICE = "notice"

RIDE = "ride-id"
VIEW = "view"
STACK = "stack"
MAP = "map"
MAP_COLOR = "map-color"
ROW = "stretch-row"
"""Type of the pattern-matched id of a row of the stretch table."""

CHAIN = "chain"
"""How the chosen stretch's settle temperature came about."""

TABLE = "stretch-table"
MORE = "stretches-more"

WHOLE = "view-whole"
CLOSER = "view-closer"
WIDER = "view-wider"
EARLIER = "view-earlier"
LATER = "view-later"


def row(index: int) -> dict[str, str | int]:
    """Id of one row of the stretch table; `index` counts `analysis.segments`."""
    return {"type": ROW, "index": index}
