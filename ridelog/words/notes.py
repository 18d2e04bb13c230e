"""What is said of notes on a ride's time line."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from ridelog.told import quoted
from ridelog.words.terms import clock

ABOUT_WORDS: dict[str, str] = {
    "map_conservative": "on the conservative map from here",
    "map_standard": "on the standard map from here",
    "stop": "a stop",
    "coolant_lost": "coolant lost",
    "service": "work on the bike",
    "other": "nothing in particular",
}

WHY_OTHER: dict[str, str] = {
    "nothing": "its words name neither map, stop, lost coolant nor work on the bike",
    "not_plain": "its words do not say plainly that it was so",
    "two_things": "its words say two things that count each by itself",
    "map_not_named": "its words speak of a map, but not plainly of which",
}

NO_NOTES = "There are no notes on this ride yet."


def elapsed(at_s: float) -> str:
    """A moment of a ride: `0:12:34`, with its fraction where it has one."""
    fraction = f"{at_s % 1.0:.3f}"[1:].rstrip("0").rstrip(".")
    return clock(at_s) + fraction if at_s % 1.0 < 0.9995 else clock(round(at_s))


def time_of_day(moment: datetime | None) -> str:
    """`10:31:05` on the clock, with its offset where known; a dash without a date."""
    if moment is None:
        return "–"
    return f"{moment:%H:%M:%S}{_offset(moment)}"


def _offset(moment: datetime) -> str:
    return "" if moment.tzinfo is None else moment.isoformat()[-6:].replace("+00:00", " UTC")


def runs(duration_s: float, begin: datetime | None, end: datetime | None) -> str:
    """From when to when a ride runs."""
    span = f"from 0:00:00 to {clock(duration_s)}"
    if begin is None or end is None:
        return f"{span} and has no date"
    days = f"{begin:%Y-%m-%d}" if begin.date() == end.date() else f"{begin:%Y-%m-%d} to {end:%Y-%m-%d}"
    return f"{span} ({begin:%H:%M:%S} to {end:%H:%M:%S} on {days}, {_offset(begin).strip() or 'zone not known'})"


def either(moments: Sequence[tuple[float, datetime | None]]) -> str:
    """The moments a time could be."""
    told = [
        f"{elapsed(at_s)} from the start"
        if moment is None
        else f"{moment:%Y-%m-%d} {time_of_day(moment)} ({elapsed(at_s)} from the start)"
        for at_s, moment in moments
    ]
    return " or ".join(told)


def written(number: int, at_s: float, text: str) -> str:
    """A note was written."""
    return f"Note {number} at {elapsed(at_s)}: {quoted(text)}."


def corrected(number: int, at_s: float, text: str) -> str:
    """A note was changed."""
    return f"Note {number} now at {elapsed(at_s)}: {quoted(text)}."


def removed(number: int, at_s: float, text: str) -> str:
    """A note was removed."""
    return f"Removed note {number} at {elapsed(at_s)}: {quoted(text)}."


def removed_damaged(number: int) -> str:
    """A note that could not be read was removed."""
    return f"Removed note {number}, which was damaged."


def taken(about: str, why: str | None, otherwise: str = "--about says otherwise.") -> str:
    """What a note counts as; `why` None where it was told; `otherwise`: how to tell it."""
    if why is None or why == "plain":
        reason = "as told" if why is None else "by its words"
        return f"It counts as: {ABOUT_WORDS[about]} ({reason})."
    return f"It counts as: {ABOUT_WORDS[about]}, since {WHY_OTHER[why]}. {otherwise}"


def listed(at_s: float, about: str, text: str) -> str:
    """A note in the list of an analysis."""
    meant = f" ({ABOUT_WORDS[about]})" if about != "other" else ""
    return f"{elapsed(at_s)}{meant}: {quoted(text)}"
