"""Texts of the page of one import: how recordings of one ride are joined, and what more can be said of a log."""

from __future__ import annotations

from collections.abc import Mapping

from dashboard.texts.adding import JOB_STATES

TITLE = "One import"
JOIN_TITLE = "One ride from several files"
JOIN_LEAD = "Nothing is stored yet. Look at the picture: where one line rises, the other should rise with it."
JOIN_OPEN = "Nothing is stored yet. Where a recording lies could not be found: say it, and look at the picture."
JOIN_STAYS = "Its clock is kept: the others are told against it."
JOIN_BEGINS, JOIN_PACE, JOIN_SURE, JOIN_WHY = "Place", "Clock", "Certainty", "How it was found"
JOIN_AT = "Begins so many seconds after {kept} (minus: before it)"
JOIN_STEPS = "Move it"
JOIN_FOUND = "As it was found"
JOIN_PLACES = "It also fits here:"
JOIN_ACCEPT = "Accept and store as one ride"
JOIN_AGAIN = "With three files and more, a number you change is worked into the others, and all is shown once more."
JOIN_APART = "Keep them apart"
JOIN_CALL_OFF = "Call off"
JOIN_NOTHING = "There is nothing in these two files that could be drawn over each other."
JOIN_LINK = "Look how they would be joined, and accept it"
PLOT = "The two recordings over each other, both scaled to one height: {own} and {beside}"
NO_NUMBER = "This is no number of seconds."
OWN_NUMBER = "Your own number is used as it is, and the clock keeps its own pace. The ride did not check it."
AS_FOUND = "As it was found."

MORE_LINK = "Say more about it and try again"
MORE_TITLE = "What can be said of it"
MORE_ZONE = "Time zone of its clock: an offset such as +02:00, or a region and city"
MORE_START = "Date and time of its first sample, such as 2026-05-02 09:30"
MORE_FORMAT = "Read it as"
MORE_FORMAT_OPEN = "found out from what it holds"
MORE_COLUMN = "Name of a column, as it stands in the file"
MORE_HOLDS = "What this column holds"
MORE_HOLDS_OPEN = "not said"
MORE_SEND = "Import it again"
ZONE_FIELD = "Time zone of the loggers' clocks, where they write none (such as +02:00)"
MISSED = "What each way of reading it missed"
EXPECTED, TO_DO = "Expected", "What to do"
GONE = "This import is no longer listed. What it stored is in the list of rides."

HOLDS: tuple[tuple[str, str], ...] = (
    ("time:s", "time, seconds"), ("time:ms", "time, milliseconds"), ("time:us", "time, microseconds"),
    ("time:min", "time, minutes"), ("date", "date"), ("coolant_c:C", "coolant temperature, °C"),
    ("coolant_c:F", "coolant temperature, °F"), ("engine_rpm:1/min", "engine speed, 1/min"),
    ("throttle_pct:%", "throttle, %"), ("gps_speed_mps:km/h", "satellite speed, km/h"),
    ("gps_speed_mps:mph", "satellite speed, mph"), ("wheel_speed_mps:km/h", "wheel speed, km/h"),
    ("wheel_speed_mps:mph", "wheel speed, mph"), ("lat_deg:deg", "latitude, degrees"),
    ("lon_deg:deg", "longitude, degrees"), ("map_slot", "map in use"), ("raw", "leave it out"),
)  # fmt: skip
"""What a column may be said to hold, as the importer takes it and in words."""


def step(seconds: str) -> str:
    """A button that moves a recording."""
    return f"{seconds.replace('-', '−')} s"


def step_said(seconds: str, name: str) -> str:
    """The same for who can't see where it stands."""
    way = "earlier" if seconds.startswith("-") else "later"
    return f"Move {name} {seconds.lstrip('+-')} s {way}"


def place(seconds: float) -> str:
    """A place that fits as well."""
    return f"{seconds:.1f} s"


def counted(total: int, counts: Mapping[str, int]) -> str:
    """How many imports are in which state."""
    return f"{total} imports: " + ", ".join(
        f"{counts[state]} {words}" for state, words in JOB_STATES.items() if counts.get(state)
    )
