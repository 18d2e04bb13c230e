"""What a review answers: is the advice followed, does following it go with less time above the thresholds, and where
the rides are too few to tell.

That two figures go together is said as that and no more; what else differed is said beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from ridelog.review import Comparison, Review, RideEntry, SheetChange
from ridelog.review_groups import DRAWS, FEWEST, Difference, Group, Outcome
from ridelog.review_table import NO_BIKE, UNDATED
from ridelog.words.terms import KIND_WORDS, degrees, duration, share

DASH = "–"

BAND_WORDS = {
    "80-100": "80 % or more",
    "20-80": "20 to 80 %",
    "0-20": "20 % or less",
    "unknown": "map not known",
    "not_advised": "not called for",
}
"""Bands of the share of the advised time ridden on the conservative map."""

MUCH_WARMER_C = 3.0
"""Days so much warmer can make a difference by themselves."""

BY_COMMAND = "`ridelog effect` tells what the map itself does to the heat."
BY_PAGE = "What the map itself does to the heat is told below."
"""In place of BY_COMMAND on a page that shows it."""

TOGETHER = (
    "That figures go together does not show that one makes the other: riders switch where the ground is deep and the "
    f"day hot, and other riders ride other places. {BY_COMMAND}"
)

NO_RIDES = "No rides to review. Import logs: ridelog import FILE --bike BIKE."

CAUTION = (
    "Figures are estimates. A calm coolant trace does not clear an engine, and rides that can't be judged speak "
    "neither for nor against their riders. Decide with a qualified technician, the bike's handbook and local rules."
)


def no_rides(bike: str | None) -> str:
    """The library holds no ride, or none of a bike."""
    if bike is None:
        return NO_RIDES
    return f"No rides of bike {bike} to review. Import logs: ridelog import FILE --bike {bike}."


def none_since(since: date | None, last: date | None, bike: str | None) -> str:
    """There are rides, but none from a day on; `last` is the day of the last one, None where none has a date."""
    whose = f" of bike {bike}" if bike is not None else ""
    if last is None:
        return f"No ride{whose} has a date, so which are from {since} on can't be told. Leave out --since."
    return f"No ride{whose} is from {since} or later. The last one is of {last}."


def bands_line() -> str:
    """How the bands of the tables came about."""
    return (
        f"Bands hold 95 %, by drawing whole rides anew {DRAWS:,} times. Time on which the map is not known is in no "
        "share. Hours count while the coolant is known and the engine is not off."
    )


def title(review: Review) -> str:
    """What was reviewed: how many rides, of how many bikes, from when to when."""
    days = sorted(one.day for one in review.rides if one.day is not None)
    bikes = {one.bike for one in review.rides if one.bike is not None}
    when = f", {days[0]} to {days[-1]}" if days else ""
    whose = f" of {_many(len(bikes), 'bike')}" if bikes else ", none with a bike named" if review.rides else ""
    return f"Review of {_many(len(review.rides), 'ride')}{whose}{when}"


def answer(review: Review) -> list[str]:
    """The answer in sentences, the most asked first."""
    said = [*_advice(review), *_good(review), *(_since(one) for one in review.sheet_changes)]
    said += _doubts(review)
    return said


def _advice(review: Review) -> list[str]:
    """Is the advice followed?"""
    whole = review.overall
    on = sum(1 for one in review.rides if sum(one.counts.values()))
    if whole.segments == 0:
        return ["No stretch that could be judged called for the conservative map, so there was no advice to follow."]
    called = (
        f"{_many(whole.segments, 'stretch', 'stretches')} on {on:,} of {_many(len(review.rides), 'ride')} called for "
        f"it, for {duration(whole.advised_s)} after the time to switch."
    )
    if whole.share is None:
        why = "which map was on is known for none of the time the conservative map was advised"
        return [f"Whether the advice is followed can't be told: {why}.", called]
    said = [f"The conservative map was on for {share(whole.share)} of the time it was advised{_of_share(whole)}."]
    if whole.unknown_s >= 0.5:
        said[0] = (
            f"Where the map is known, the conservative one was on for {share(whole.share)} of the time it was advised"
            f"{_of_share(whole)}."
        )
        called += (
            f" The map is known for {duration(whole.advised_s - whole.unknown_s)} of that; for "
            f"{duration(whole.unknown_s)} it is not, and nothing is assumed."
        )
    said.append(called)
    rides = whole.rides_followed
    if rides.share is not None and rides.low is not None and rides.high is not None:
        said.append(
            f"On {rides.followed} of {_many(rides.of, 'ride')} it was on for 80 % of that time or more; of many such "
            f"rides that would be {_percent(rides.low)} to {_percent(rides.high)} %."
        )
    return said


def _of_share(group: Group) -> str:
    if group.low is None or group.high is None or group.rides < 2:
        return " on the one ride that tells"
    ends = f"{_percent(group.low)} to {_percent(group.high)} %"
    if group.method == "range":
        return f" ({ends} from ride to ride; {_many(group.rides, 'ride')} are too few for a band)"
    return f" (band {ends})"


def chosen(rows: Sequence[Comparison]) -> Comparison | None:
    """The comparison worth a sentence: the highest threshold that enough rides passed, else the lowest."""
    for row in reversed(rows):
        if row.first.outcome.rides_above + row.second.outcome.rides_above >= FEWEST:
            return row
    return rows[0] if rows else None


def _good(review: Review) -> list[str]:
    """Does following go with less time above?"""
    row = chosen(review.followed_or_not)
    if row is None:
        return []
    first, second = row.first.outcome, row.second.outcome
    at = f"above {degrees(row.threshold_c)} ({row.name})"
    if first.seconds_per_hour is None or second.seconds_per_hour is None:
        side = "on which the advice was followed" if first.seconds_per_hour is None else "on which it was not"
        return [f"Whether following the advice goes with less time {at} can't be told: there is no ride {side}."]
    said = (
        f"Rides with the map on for 80 % of that time or more were {at} for {_rate(first)}, the other rides with a "
        f"known map for {_rate(second)}{_verdict(row)}.{_per_advised(row)}"
        f"{_warmer(row, 'Days of the first', 'the others')}"
    )
    return [said, TOGETHER]


def _per_advised(row: Comparison) -> str:
    """The same for each hour the map was advised: how much of the riding was hard is then left out."""
    apart, first, second = row.per_advised_hour, row.first.outcome, row.second.outcome
    if apart.low is None or apart.high is None or min(first.rides_above, second.rides_above) == 0:
        return ""
    ends = f"{_signed(apart.low / 60.0)} to {_signed(apart.high / 60.0)} min"
    return (
        f" For each hour in which the map was advised that is {(first.per_advised_hour or 0.0) / 60.0:.0f} min beside "
        f"{(second.per_advised_hour or 0.0) / 60.0:.0f} min (difference {ends})."
    )


def _since(change: SheetChange) -> str:
    """From one sheet to the next."""
    said = f"Since sheet {change.later} the share of the advised time on the conservative map {_moved(change.share)}."
    row = chosen(change.outcome)
    if row is None or row.first.outcome.seconds_per_hour is None or row.second.outcome.seconds_per_hour is None:
        return said
    return (
        f"{said} Time above {degrees(row.threshold_c)} went from {_rate(row.second.outcome)} under {change.earlier} to "
        f"{_rate(row.first.outcome)}{_verdict(row, later_first=False)}."
        f"{_warmer(row, 'The days since', 'those before')}"
    )


def _moved(apart: Difference) -> str:
    if apart.value is None:
        return "can't be told: under one of the sheets the map is known on no advised stretch"
    if apart.low is None or apart.high is None:
        return (
            f"went {'up' if apart.value >= 0 else 'down'} by {abs(round(100 * apart.value))} points; with fewer than "
            f"{FEWEST} rides under one of the sheets that may be chance"
        )
    ends = f"{_signed(100 * apart.low)} to {_signed(100 * apart.high)} points"
    if not apart.clear:
        return f"may have changed or not (anywhere from {ends})"
    return f"went {'up' if apart.value > 0 else 'down'} by {abs(round(100 * apart.value))} points ({ends})"


def _verdict(row: Comparison, *, later_first: bool = True) -> str:
    """Whether two rates differ by more than chance. `later_first` False: the sentence named the second side first."""
    apart = row.difference
    first, second = row.first.outcome, row.second.outcome
    if min(first.rides_above, second.rides_above) == 0:
        one, other = (first, second) if later_first else (second, first)
        return f"; {_of_rides(one)} and {_of_rides(other)} were ever above it, so how far apart they are can't be told"
    if apart.low is None or apart.high is None:
        few = _many(min(first.rides, second.rides), "ride")
        return f"; {few} on one side are too few to tell a difference from chance"
    ends = f"{_signed(apart.low)} to {_signed(apart.high)} s an hour"
    if row.answer == "cannot_tell":
        return f"; whether that is more than chance can't be told (difference {ends})"
    return f": {row.answer} by {abs(apart.value or 0.0):,.0f} s an hour (difference {ends})"


def _of_rides(outcome: Outcome) -> str:
    above = "none" if outcome.rides_above == 0 else f"{outcome.rides_above}"
    return f"{above} of {_many(outcome.rides, 'ride')}"


def _warmer(row: Comparison, first: str, second: str) -> str:
    if row.first.air_c is None or row.second.air_c is None:
        return " How warm the days were is not known for both sides."
    apart_c = row.first.air_c - row.second.air_c
    if abs(apart_c) < MUCH_WARMER_C:
        return ""
    return (
        f" {first} were {abs(apart_c):.0f} C {'warmer' if apart_c > 0 else 'cooler'} than {second}, which can make a "
        "difference by itself."
    )


def _doubts(review: Review) -> list[str]:
    said = []
    if review.estimated_map_rides:
        said.append(_estimated(review))
    if review.one_map_rides:
        verb = "shows" if review.one_map_rides == 1 else "show"
        said.append(
            f"{_many(review.one_map_rides, 'ride')} with advised stretches {verb} one map all through: what that "
            "number stands for rests on the bike file alone. Check it before anyone is told."
        )
    if review.faulty_rides:
        said.append(
            f"{_many(review.faulty_rides, 'ride')} marked as ridden with a fault {_be(review.faulty_rides)} left out "
            "of all times above a temperature: a fault says nothing of the advice."
        )
    if review.undated_left_out:
        said.append(f"{_many(review.undated_left_out, 'ride')} without a date {_be(review.undated_left_out)} left out.")
    if review.unjudged:
        said.append(f"{_many(len(review.unjudged), 'ride')} could not be judged; the reasons stand below.")
    return said


def _estimated(review: Review) -> str:
    rides, without = _many(review.estimated_map_rides, "ride"), review.logged_map.share
    return (
        f"On {rides} the map is known from notes or from the ignition angle, which can show that it was on and hardly "
        f"that it was not: without {'it' if review.estimated_map_rides == 1 else 'them'} "
        + (f"the share is {share(without)}." if without is not None else "no share can be told.")
    )


# -- tables -----------------------------------------------------------------------------------------------------------

ABOVE_BY_SHARE = "Time above, by share of the advised time on the map"
ABOVE_BY_SHEET = "Time above, by advice sheet"
NOT_JUDGED = "Rides that could not be judged"

GROUP_COLUMNS = ("rides", "advised", "map not known", "on the map", "rides that followed")
OUTCOME_COLUMNS = ("rides", "hours", "seconds an hour", "band")


def group_cells(group: Group) -> tuple[str, ...]:
    """A line of adherence: rides that tell of all, seconds, the share with its band, rides that followed."""
    rides = group.rides_followed
    return (
        f"{group.rides} of {group.all_rides}",
        duration(group.advised_s),
        duration(group.unknown_s) if group.unknown_s >= 0.05 else DASH,
        _share_cell(group),
        f"{rides.followed} of {rides.of}" if rides.of else DASH,
    )


def _share_cell(group: Group) -> str:
    if group.share is None or group.low is None or group.high is None:
        return "can't tell" if group.advised_s > 0.0 else DASH
    if group.rides == 1:
        return f"{share(group.share)} (1 ride)"
    mark = "*" if group.method == "range" else ""
    return f"{share(group.share)} ({_percent(group.low)} to {_percent(group.high)}{mark})"


def outcome_cells(outcome: Outcome) -> tuple[str, ...]:
    """A line of time above a threshold for each hour ridden."""
    if outcome.seconds_per_hour is None or outcome.low is None:
        return (str(outcome.rides), DASH, DASH, DASH)
    if outcome.high is None:
        band = "never above"
    elif outcome.rides == 1:
        band = "1 ride"
    else:
        band = f"{outcome.low:,.0f} to {outcome.high:,.0f}{'*' if outcome.method == 'range' else ''}"
    return (str(outcome.rides), f"{outcome.hours:,.1f}", f"{outcome.seconds_per_hour:,.0f}", band)


STARRED = (
    f"* Fewer than {FEWEST} rides: from the smallest ride to the largest, no band. Rides are counted where something "
    "was advised and the map is known, of all."
)


def key_words(what: str, key: str) -> str:
    """A group's name as a person reads it."""
    if what == "kind":
        return KIND_WORDS[key]
    return {NO_BIKE: "none named", UNDATED: "no date"}.get(key, key)


def unjudged_lines(rides: Sequence[RideEntry], shown: int) -> list[str]:
    """The reasons, most frequent first, each with how many rides and the first few of them, newest first."""
    by_reason: dict[str, list[str]] = {}
    for one in rides:
        by_reason.setdefault(one.reason or "", []).append(one.ride)
    lines = []
    for reason, names in sorted(by_reason.items(), key=lambda item: -len(item[1])):
        newest = names[::-1]
        more = f" and {len(newest) - shown} more" if len(newest) > shown else ""
        lines.append(f"{_many(len(newest), 'ride')}: {reason} ({', '.join(newest[:shown])}{more})")
    return lines


def ride_cells(one: RideEntry) -> tuple[str, ...]:
    """A line of one ride."""
    return (
        one.ride,
        one.bike or DASH,
        duration(one.advised_s) if one.advised_s is not None else DASH,
        duration(one.unknown_s) if one.unknown_s else DASH,
        share(one.share) if one.share is not None else ("can't tell" if one.reason else DASH),
        one.sheet,
    )


RIDE_COLUMNS = ("ride", "bike", "advised", "map not known", "on the map", "sheet")


def _many(count: int, one: str, several: str | None = None) -> str:
    return f"{count:,} {one if count == 1 else several or one + 's'}"


def _be(count: int) -> str:
    return "is" if count == 1 else "are"


def _percent(value: float) -> str:
    return f"{100.0 * value:.0f}"


def _signed(value: float) -> str:
    rounded = round(value)
    return f"{'+' if rounded > 0 else '−' if rounded < 0 else ''}{abs(rounded):,}"


def _rate(outcome: Outcome) -> str:
    return f"{outcome.seconds_per_hour:,.0f} s an hour"
