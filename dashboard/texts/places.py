"""Hot places."""

from __future__ import annotations

PLACES = "Hot places"
PLACES_TITLE = "Where it gets hot"
PLACES_STARTING = "Looking at the rides of this library …"
PLACES_ANEW = "Rides that were not looked at before are analyzed once; this page goes on by itself."
PLACES_NONE = "There are no rides here to look at. Drop logs on this page."
PLACES_MAP = "The places, among all the ground that was ridden"
PLACES_MAP_SAID = "Hot places by their numbers over the ground ridden, from above, without positions on earth"
PLACES_WIDE = "The rides lie too far apart for one map. Choose a bike above, or go by the table."
PLACES_TABLE = "The places, the surest first"
PLACES_PASSES = "Each pass"
PLACES_LEFT_OUT = "Left out"
PLACES_FILTERS = "Whose rides"
PLACES_UNITS = "Temperatures are in °C and lengths in kilometres here; the map is in miles."
PASS_HOT, PASS_NOT, PASS_UNKNOWN = "hot", "not hot", "can't tell"


def place_head(number: int, what: str) -> str:
    """A place over its passes."""
    return f"Place {number}: {what}"


def passes_of(count: int) -> str:
    """So many passes to open."""
    return "One pass" if count == 1 else f"{count} passes"
