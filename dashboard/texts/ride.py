"""The picture of a ride, and what its address asks for."""

from __future__ import annotations

from ridelog.told import quoted

RIDE_PICTURE = "The heat of the ride, and what it came from"
RIDE_PICTURE_SAID = (
    "Coolant and where it would settle, heat in and out, flagged stretches and the map in use, speed, throttle and "
    "terrain drag against elapsed time"
)
RIDE_PASSES = "Its laps, and ground ridden again"
WHAT_IF = "Show it with the conservative map where advised"
WHAT_IF_LEGEND = "on the conservative map, with its band"
DOUBT_LEGEND = "doubtful data"
DOUBTFUL = "Doubtful data"
DOUBTFUL_HOW = "Press a time to show it in the picture, where each of these has a mark."
NOTE_SHOW = "Show this moment in the picture"


def doubts_more(count: int) -> str:
    """Doubtful stretches that wait behind one more press."""
    return f"{count} more"


def stretches_left(count: int) -> str:
    """Advised stretches that have no row here."""
    return f"{count} later ones are not listed here: the table of flagged stretches has them all."


def address_part(asked: str, lasted: str) -> str:
    """The address asks for a part that can't be shown."""
    return (
        f"The address asks for {quoted(asked)}, which is no part of this ride of {lasted}, so it is left aside. "
        "Seconds from the start are expected, such as from=120 and to=300."
    )


def address_stretch(asked: str, count: int) -> str:
    """The address asks for a stretch that is not there."""
    there = f"its flagged stretches are numbered 1 to {count}" if count else "it has no flagged stretch"
    return f"The address asks for stretch {quoted(asked[:20])} of this ride; {there}."


def address_switch(asked: str) -> str:
    """The address says something else than on or off."""
    return f"The address sets what-if to {quoted(asked[:20])}, where on or off is expected, so it is left aside."
