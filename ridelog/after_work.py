"""Which bikes were hot again after work on them: time above the bike's hot threshold on the rides before and after each
piece of work its file lists.

Measured time, not evened out for ground, load or air: a comparison around the work does that (see compare_rides).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

from ridelog.errors import LibraryError
from ridelog.kept_results import Found, results

if TYPE_CHECKING:
    from ridelog.bike import Bike
    from ridelog.store.library import Library

HOUR_S = 3600.0


@dataclass(frozen=True)
class HotSide:
    """Rides of one side whose coolant is known: how many, how many were above at all, hours with the coolant known and
    the engine not off, seconds above for each of them, and those of the calmest and the hottest ride; None without a
    ride. `air_c`: mean air of those of which it is known."""

    rides: int
    rides_above: int
    hours: float
    seconds_per_hour: float | None
    low: float | None
    high: float | None
    air_c: float | None


@dataclass(frozen=True)
class AfterWork:
    """A piece of work. `before` reaches back to the work before it, `after` up to the next. `complaints`: cases opened
    on this bike from its day on, up to the next work, None where they can't be read. `answer`: hot again after it."""

    bike: str
    day: date
    what: str
    threshold_c: float
    name: str
    before: HotSide
    after: HotSide
    complaints: int | None
    answer: Literal["yes", "no", "cant_tell"]


def after_work(library: Library, bike: str | None = None) -> tuple[AfterWork, ...]:
    """Every piece of work on every bike, or on one, the latest first. Raises LibraryError, NotInLibrary."""
    bikes = [library.bike(bike)] if bike is not None else library.bikes()
    rows = [
        row
        for one in bikes
        if one.services
        for row in _of_bike(one, results(library, library.review_rows(one.id)), _complaints(library, one.id))
    ]
    return tuple(sorted(rows, key=lambda row: row.day, reverse=True))


def _complaints(library: Library, bike: str) -> list[date] | None:
    try:
        return [case.day for case in library.complaints() if case.bike == bike]
    except LibraryError:
        return None  # the page of cases says what is the matter


def _of_bike(bike: Bike, found: Sequence[Found], complaints: Sequence[date] | None) -> list[AfterWork]:
    name, threshold_c = hot_threshold(bike)
    services = sorted(bike.services, key=lambda one: one.day)
    edges = [date.min, *(one.day for one in services), date.max]
    sides = [_side(found, (name, threshold_c), span) for span in pairwise(edges)]
    return [
        AfterWork(
            bike.id,
            one.day,
            one.what,
            threshold_c,
            name,
            before,
            after,
            sum(one.day <= day < until for day in complaints) if complaints is not None else None,
            "cant_tell" if after.rides == 0 else "yes" if after.rides_above else "no",
        )
        for one, until, (before, after) in zip(services, edges[2:], pairwise(sides), strict=True)
    ]


def hot_threshold(bike: Bike) -> tuple[str, float]:
    """The threshold below the highest, the only one where there is one: name and C."""
    ordered = sorted(bike.thresholds, key=lambda item: item[1])
    return ordered[-2] if len(ordered) > 1 else ordered[-1]


def _side(found: Sequence[Found], threshold: tuple[str, float], span: tuple[date, date]) -> HotSide:
    hours, above, air = [], [], []
    for one in found:
        if one.day is None or one.result is None or not span[0] <= one.day < span[1]:
            continue
        seconds = [row.seconds for row in one.result.above if (row.name, row.threshold_c) == threshold]
        if one.result.riding_s <= 0.0 or not seconds:
            continue
        hours.append(one.result.riding_s / HOUR_S)
        above.append(seconds[0])
        if one.result.air_c is not None:
            air.append(one.result.air_c)
    each = [seconds / length for seconds, length in zip(above, hours, strict=True)]
    return HotSide(
        rides=len(hours),
        rides_above=sum(seconds > 0.0 for seconds in above),
        hours=sum(hours),
        seconds_per_hour=sum(above) / sum(hours) if hours else None,
        low=min(each, default=None),
        high=max(each, default=None),
        air_c=sum(air) / len(air) if air else None,
    )
