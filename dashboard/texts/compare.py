"""Rides beside rides."""

from __future__ import annotations

COMPARE = "Compare"
COMPARE_WHICH = "What to compare"
COMPARE_EMPTY = "There are no rides here to compare. Drop logs on this page, and name their bikes."
COMPARE_CHOSEN = "Chosen; the first is set beside the others"
COMPARE_ADD = "Choose a ride"
COMPARE_ADD_MORE = "Add another ride"
COMPARE_OUT = "Take out"
COMPARE_FIRST = "Set first"
COMPARE_HINT = "Choose two rides or more above. One alone shows its own laps."
COMPARE_SERVICES = "Before and after work on a bike"
COMPARE_BUILD = "Set this ride's bike beside the other bikes of its build"
COMPARE_PLACES = "By place: ground ridden more than once"
COMPARE_PASSES = "Passes compared"
COMPARE_RIDING = "How the rides were ridden"
COMPARE_OPEN = "What can't be told, and why"
COMPARE_LEFT_OUT = "Left out"
COMPARE_WITH = "Compare with another ride"


def compare_plot(kind: str) -> str:
    """What a picture of passes shows."""
    return f"{kind}: coolant of each pass against the way along it"


def compare_passes(kind: str) -> str:
    """What a table of passes holds."""
    return f"{kind}: each pass"


def compare_service(bike: str, day: str, what: str) -> str:
    """A piece of work to compare around."""
    return f"{bike}, {day}: {what}"
