"""Bikes after work on them, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ridelog.words.display import DASH
from ridelog.words.terms import degrees

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ridelog.after_work import AfterWork, HotSide

TITLE = "Hot again after work on it?"
NONE = (
    "No bike file lists any work. Write it there ([[service]] with date and what), "
    "and rides before and after it are told."
)
COLUMNS = ("Work", "Above", "Before, s an hour", "After, s an hour", "Hot again", "Complaints since")
NOTE = (
    "Seconds above for each hour ridden, from the calmest ride to the hottest; before: since the work before it, "
    "after: up to the next. Ground, load and air are not evened out here: press the work for a comparison that does. "
    "A hot ride after work does not say that the work was bad."
)
ANSWERS = {"yes": "yes", "no": "no", "cant_tell": "can't tell: no ride since"}


def cells(one: AfterWork) -> tuple[str, ...]:
    """A row but its first cell."""
    answer = ANSWERS[one.answer]
    if one.answer == "yes":
        answer = f"yes, on {one.after.rides_above} of {one.after.rides} rides"
    elif one.answer == "no":
        answer = f"no, on none of {one.after.rides} rides"
    return (
        f"{degrees(one.threshold_c)} ({one.name})",
        side(one.before),
        side(one.after),
        answer,
        "can't tell" if one.complaints is None else str(one.complaints),
    )


def side(found: HotSide) -> str:
    """`269 (0 to 1,250), 4 rides, air 18 C`."""
    if found.seconds_per_hour is None or found.low is None or found.high is None:
        return f"{DASH}, no ride with coolant known"
    rides = "1 ride" if found.rides == 1 else f"{found.rides} rides"
    air = f", air {found.air_c:.0f} C" if found.air_c is not None else ""
    return f"{found.seconds_per_hour:,.0f} ({found.low:,.0f} to {found.high:,.0f}), {rides}{air}"


def answer(rows: Sequence[AfterWork]) -> str:
    """Which bikes, in a sentence."""
    if not rows:
        return NONE
    latest: dict[str, AfterWork] = {}
    for one in rows:
        latest.setdefault(one.bike, one)
    again = sorted(bike for bike, one in latest.items() if one.answer == "yes")
    calm = sorted(bike for bike, one in latest.items() if one.answer == "no")
    untold = sorted(bike for bike, one in latest.items() if one.answer == "cant_tell")
    said = []
    if again:
        said.append(f"Since the last work on them, hot again: {', '.join(again)}.")
    if calm:
        said.append(f"Not hot since: {', '.join(calm)}.")
    if untold:
        said.append(f"No ride with coolant known since: {', '.join(untold)}.")
    return " ".join(said)
