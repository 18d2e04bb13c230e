"""The review of the advice."""

from __future__ import annotations

REVIEW = "Advice review"
REVIEW_EMPTY = "There are no rides here to review. Drop logs on this page, and name their bikes."
REVIEW_FILTERS = "Which rides"
REVIEW_STRIPS = "Ride by ride"
REVIEW_STRIPS_NOTE = (
    "Each line is a ride, all to one scale of time. Above, the flagged stretches, outlined where the map was not on in "
    "time; below, the map in use."
)
REVIEW_BY_MONTH, REVIEW_BY_KIND = "By month", "By kind of stretch"
REVIEW_BY_BIKE, REVIEW_BY_SHEET = "By bike", "By advice sheet"
REVIEW_OUTCOME = "Time above, by how far the advice was followed"
REVIEW_EFFECT = "What the conservative map does to heat"
REVIEW_UNJUDGED = "What could not be judged"
REVIEW_RECORD = "Closed cases"
ALL_BIKES, ALL_DAYS, NO_BIKE, NO_DAY = "all bikes", "all days", "bike not named", "day not known"
ALL_JUDGED = "Every ride could be judged."
FIGURES = "The figures"
ABOVE, ON_THE_MAP = "Above", "On the map"
MAP_CONSERVATIVE, MAP_STANDARD, MAP_UNKNOWN = "conservative map", "standard map", "map not known"
STRIP_DAY, STRIP_SHARE, ON_MAP = "Ride", "On the map where advised", "on the map where advised"
NOTHING_ADVISED = "nothing advised"
HOT = "coolant above the highest threshold it passed"


def since(month: str) -> str:
    """From a month on."""
    return f"from {month} on"


def strips_left(count: int) -> str:
    """Rides that are not drawn."""
    return f"{count} older rides are in the figures, but not drawn."


def strip_said(day: str, lasted: str, advised: int, followed: int) -> str:
    """A strip in words."""
    return f"Ride of {day}, {lasted}: {advised} stretches asked for the conservative map, {followed} of them followed."


def sheet_starts(sheets: str) -> str:
    """Since when which sheet holds."""
    return f"Advice sheets: {sheets}."
