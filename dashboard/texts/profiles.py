"""Bikes and advice sheets."""

from __future__ import annotations

BIKES = "Bikes and advice"
BIKES_TITLE = {"bike": "Bikes", "advice": "Advice sheets"}
BIKES_NONE = {
    "bike": "No bike yet. Without its mass, gearing and power curve neither drag nor heat can be worked out.",
    "advice": "None yet: rides are judged by the sheet that comes with ridelog.",
}
BIKES_NEW = {"bike": "Write a new bike file", "advice": "Write a new advice sheet"}
NEW_NAME = {"bike": "new-bike", "advice": "next"}
THE_TEXT = "the text above"
EDIT_HINT = {
    "bike": "A line behind a # is not used: its default holds, and every result says so. Units stand in the names.",
    "advice": "A sheet holds from the day in valid_from on. Earlier rides stay judged by the one before it.",
}
EDIT_LABEL = "The file"
EDIT_LOOK = "See what would change"
EDIT_SAVE = "Save"
EDIT_SAVED = "Saved."
EDIT_OPEN = "Open it"
EDIT_VALID = "The text is valid."
EDIT_EMPTY = "There is no text."
EDIT_MEANWHILE = (
    "Not saved yet: another text of {} was saved after this page was opened, in another window or by a command. Your "
    "text is still here. Save again to put it in that one's place; that one stays among the earlier texts."
)
EDIT_OTHER = "This text names itself {}: saving it makes or replaces that one, and leaves {} as it is."
HISTORY = "Earlier texts"
HISTORY_NONE = "This is the first text."
HISTORY_TAKE = "Put this text above"
FLIPS_TITLE = "What would be told otherwise"
FLIPS_SHOW = "Show this part of the ride"


def bike_told(bike: object) -> str:
    """A bike in a few words."""
    build, kg, kw = (getattr(bike, name) for name in ("build", "total_kg", "peak_power_kw"))
    levels = ", ".join(f"{name} {value:g} °C" for name, value in getattr(bike, "thresholds", ()))
    return f"build {build}, {kg:g} kg, {kw:g} kW; {levels}"


def sheet_told(sheet: object) -> str:
    """A sheet in a few words."""
    advised = sum(rule.map == "conservative" for rule in getattr(sheet, "rules", ()))
    return f"from {getattr(sheet, 'valid_from', None)} on; the conservative map on {advised} kinds of stretch"


def flips_head(looked: int, left: int, changed: int) -> str:
    """How many rides were looked at, and of how many something changes."""
    rides = "One ride was" if looked == 1 else f"{looked} rides were"
    more = f" {left} older ones were not." if left else ""
    told = f", of {changed} something would be told otherwise" if changed else ""
    return f"{rides} looked at{told}.{more}"


def version_told(added: object, replaced: object) -> str:
    """When a text was in use."""
    since = f"{added:%-d %B %Y, %H:%M}"
    return f"in use since {since} UTC" if replaced is None else f"from {since} to {replaced:%-d %B %Y, %H:%M} UTC"
