"""Sentences about the hottest places of a library: told by the way along a ride, never by coordinates."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ridelog.advice import KINDS
from ridelog.words import terms
from ridelog.words.places import DASH, band, km, rides

if TYPE_CHECKING:
    from ridelog.analysis.passes_hottest import HotPlace

HOT_NOTE = (
    "A pass is hot where for a quarter of it the coolant was over the bike's highest threshold, or would have settled "
    "over it had the ground gone on like this. Passes in the other direction are not counted. Bands of 95 %; under ten "
    "rides, the range of the rides."
)

ONE_RIDE_ONLY = "one ride only"


def no_such_bike(bike: str) -> str:
    """Why a ride can't be looked at."""
    return f"its bike {bike} is not in the library. Add the bike file (ridelog bikes add)"


FAULTY = "a ride marked as having had a fault tells nothing of the ground (ridelog edit changes the mark)"


def hot_summary(bike: str | None, count: int, told: int, places: Sequence[HotPlace], untold: int) -> list[str]:
    """What was found over many rides."""
    whose = f"of bike {bike} " if bike is not None else ""
    if not count:
        said = [f"No ride {whose}has positions to tell places by."]
    elif not told:
        said = [f"{rides(count)} {whose}with positions, but none tells how hot it was."]
    elif not places:
        said = [f"No place over {rides(told)} {whose}took the coolant past its limit, or would have."]
    else:
        first = places[0]
        where = f"{km(first.long_m)} of {words_of(first)}, {km(first.at_m)} into ride {first.ride}"
        said = [f"Over {rides(told)} {whose}the surest hot place is {where}: {passes_hot(first)} were hot."]
        if bike is not None:
            told_of = others(first, bike)
            said.append(f"Other bikes there: {told_of}." if told_of != DASH else "No other bike went there.")
    if untold:
        said.append(f"{rides(untold)} {whose}{'is' if untold == 1 else 'are'} left out; the reasons stand below.")
    return said


GROUND_WORDS = {
    "heavy_drag": "deep-drag ground",
    "wide_open": "ground ridden wide open",
    "high_speed": "fast ground",
    "slow_climb": "slow climb",
    "standstill": "standing with the engine running",
    "heat_only": "ground that no rule names",
}


def words_of(place: HotPlace) -> str:
    """The kind of ground in words."""
    return GROUND_WORDS["heat_only" if place.kind < 0 else KINDS[place.kind]]


def passes_hot(place: HotPlace) -> str:
    """`8 of 9 passes were hot (56 to 98 %)`, with what can't be told."""
    told = place.passes - place.unknown
    text = f"{place.hot} of {told} {'pass' if told == 1 else 'passes'}"
    if place.share is not None and told > 1:
        text += f" ({100.0 * place.share.low:.0f} to {100.0 * place.share.high:.0f} %)"
    return f"{text}, {place.unknown} not known" if place.unknown else text


def others(place: HotPlace, bike: str | None) -> str:
    """What other bikes did there: `5 of 7 passes`, or a dash where none went."""
    rest = [one for one in place.by_bike if one.bike != bike]
    passes = sum(one.passes for one in rest)
    if not passes:
        return DASH
    return f"{sum(one.hot for one in rest)} of {passes} {'pass' if passes == 1 else 'passes'} hot"


def hot_columns(bike: str | None) -> tuple[str, ...]:
    """Heads of the table of hot places."""
    last = "bikes" if bike is None else "other bikes"
    return "place", "ground", "hot", "rides", "settles at", "time above", last, "begins, for example"


def hot_cells(number: int, place: HotPlace, bike: str | None) -> tuple[str, ...]:
    """One place, as `hot_columns`."""
    over = [f"{name} {terms.duration(seconds)}" for name, seconds in place.above_s.items() if seconds > 0.0]
    by = len({one.bike for one in place.by_bike})
    return (
        str(number),
        f"{km(place.long_m)} of {words_of(place)}",
        passes_hot(place),
        ONE_RIDE_ONLY if place.rides == 1 else f"{place.hot_rides} of {place.rides} hot",
        band(place.settle, " C"),
        ", ".join(over) or DASH,
        others(place, bike) if bike is not None else str(by),
        f"{km(place.at_m)}, {terms.clock(place.start_s)} of {place.ride}",
    )
