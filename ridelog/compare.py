"""Rides set beside rides at the same load, speed and air: the only file that knows the order of a comparison."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ridelog import compare_heat, compare_riding
from ridelog.analysis import matched_records
from ridelog.analysis.airflow import THERMOSTAT_SPAN_C
from ridelog.analysis.matched import Rate
from ridelog.analysis.matched_records import (
    Answer,
    Comparison,
    RateRow,
    Scatter,
    Settle,
    SideRide,
)
from ridelog.analysis.thermal_prior import RideFit
from ridelog.bike import Bike
from ridelog.compare_heat import HeatSides
from ridelog.results import Band, CannotTell
from ridelog.study import Study
from ridelog.words import compare as words

LEAST_COMMON_SHARE = 0.30
"""No verdict where the common cells hold less of either side than this."""

LEAST_COMMON_S = 300.0

SAME_WITHIN_K = 10.0
"""A difference that matters: from one threshold to the next (95, 105 and 115 C where the bike file says nothing else),
a little more than 15 % more heat makes on simulated machines (8 C), less than three tenths of the fins do (13 C). "The
same" is told only where the whole band lies within it, either way."""

STRETCH_K = 12.0
"""Air further apart than this is carried over by the balance all the same, and told as a stretch."""


@dataclass(frozen=True)
class Asked:
    """What is compared: in words for both sides, and how. `service`: the work between the sides; `left_out`: rides
    that were not used, and why."""

    mode: matched_records.Mode
    first: str
    others: str
    service: str | None = None
    left_out: tuple[str, ...] = ()


def compare(first: Sequence[Study], others: Sequence[Study], asked: Asked) -> Comparison:
    """Compare one set of analyzed rides with another, one ride or more on each side. Never raises for what a ride
    lacks: what can't be told is None or left out, and `cannot_tell` says why."""
    doubts: list[CannotTell] = []
    found = Comparison(
        mode=asked.mode,
        first_name=asked.first,
        others_name=asked.others,
        first=tuple(_side_ride(one) for one in first),
        others=tuple(_side_ride(one) for one in others),
        verdict="cant_tell",
        reason="",
        service=asked.service,
        left_out=asked.left_out,
        cautions=words.CAUTIONS,
    )
    found = compare_riding.with_riding(found, first, others, doubts)
    heat = _heat(first, others, doubts)
    if isinstance(heat, str):
        doubts.append(CannotTell("matched_heat", heat))
        found = replace(found, reason=heat)
    else:
        found = _heated(found, heat, doubts)
        verdict, reason = _verdict(found, heat)
        found = replace(found, verdict=verdict, reason=reason)
    found = replace(found, cannot_tell=tuple(doubts))
    return replace(found, summary=words.summary(found))


def _side_ride(study: Study) -> SideRide:
    facts, heat = study.found.analysis.ride, study.found.analysis.heat
    used = study.found.traces.series.get("map_conservative")
    known = used[np.isfinite(used)] if used is not None else np.zeros(0)
    return SideRide(
        id=facts.id,
        bike=facts.bike,
        start_utc=facts.start_utc,
        duration_s=facts.duration_s,
        ambient_c=facts.ambient_c if facts.ambient_c is not None or heat.ambient_c is None else heat.ambient_c.value,
        ambient_source=heat.ambient_source,
        fitted=heat.fitted,
        reason=heat.reason,
        map_known=bool(used is not None and known.size >= 0.8 * used.size),
        conservative_share=float(known.mean()) if known.size else None,
    )


# -- heat -------------------------------------------------------------------------------------------------------------


def _heat(first: Sequence[Study], others: Sequence[Study], doubts: list[CannotTell]) -> HeatSides | str:
    bikes = [one.known.bike for one in (*first, *others)]
    if any(bike is None for bike in bikes):
        return words.NO_BIKE
    named = [bike for bike in bikes if bike is not None]
    if not all(compare_heat.alike(bike, named[0]) for bike in named):
        return words.DIFFERENT_BUILDS
    sides = [[one for one in map(compare_heat.usable, part) if one is not None] for part in (first, others)]
    for part, ridden in zip(sides, (first, others), strict=True):
        if not part:
            reasons = dict.fromkeys(one.found.analysis.heat.reason or words.NO_REASON for one in ridden)
            return words.no_balance([one.ride.id for one in ridden], list(reasons))
    # Power from the throttle and power from the bike's motion differ by more than most faults do.
    source = sides[0][0].load_source
    odd = [one for part in sides for one in part if one.load_source != source]
    sides = [[one for one in part if one.load_source == source] for part in sides]
    if not sides[1]:
        return words.OTHER_POWER
    doubts += [CannotTell("matched_heat", words.left_out_for_power(one.study.ride.id)) for one in odd]
    return compare_heat.heat_sides(named[0], sides[0], sides[1])


def _heated(found: Comparison, heat: HeatSides, doubts: list[CannotTell]) -> Comparison:
    rate = heat.matched.overall()
    overall = None
    if rate is not None:
        overall = RateRow(0.0, None, rate, compare_heat.hotter_or_cooler(rate.difference))
    heating = compare_heat.rate_rows(heat.matched.by_load())
    cooling = compare_heat.rate_rows(heat.matched.by_speed())
    if not cooling:
        doubts.append(CannotTell("cooling_by_speed", words.TOO_LITTLE_SHUT))
    doubts += [
        CannotTell("matched_heat", words.left_out_of_heat(one.id, one.reason))
        for one in (*found.first, *found.others)
        if not one.fitted
    ]
    if any(not one.map_known for one in (*found.first, *found.others)):
        doubts.append(CannotTell("map_in_use", words.MAP_UNKNOWN))
    found = replace(
        found,
        common_share=heat.common.share if heat.common is not None else (0.0, 0.0),
        common_s=heat.common_s,
        ambient_difference_k=heat.air_apart_k,
        ambient_stretch=abs(heat.air_apart_k) > STRETCH_K,
        overall=overall,
        settle=compare_heat.settle_rows(heat),
        heating=heating,
        cooling=cooling,
        figures=compare_heat.figure_rows(heat),
    )
    ridden = next((row for row in found.settle if row.stretch == "ridden"), None)
    opens_c = heat.plant.opens_c
    if ridden is not None and opens_c is not None and _held_by(opens_c, ridden.first.value, ridden.others.value):
        doubts.append(CannotTell("matched_settle", words.THERMOSTAT))
    if heat.stretch is None:
        return found
    scatter, alone = compare_heat.scatter(heat, heat.stretch)
    sides = [tuple(replace(one, settle_c=alone.get(one.id)) for one in part) for part in (found.first, found.others)]
    return replace(found, first=sides[0], others=sides[1], scatter=scatter)


def _held_by(opens_c: float, *settles_c: float) -> bool:
    """Does a thermostat that is neither shut nor fully open hold both?"""
    return max(settles_c) < opens_c + THERMOSTAT_SPAN_C


def _verdict(found: Comparison, heat: HeatSides) -> tuple[Answer, str]:
    """The answer of the whole comparison, and why where it can't be told."""
    ridden = next((row for row in found.settle if row.stretch == "ridden"), None)
    if heat.common is None or found.overall is None or ridden is None or found.common_s is None:
        return "cant_tell", words.no_common()
    if min(heat.common.share) < LEAST_COMMON_SHARE or min(found.common_s) < LEAST_COMMON_S:
        return "cant_tell", words.little_common(heat.common.share, found.common_s, LEAST_COMMON_SHARE)
    if found.mode == "service":
        if found.scatter is None or found.scatter.difference is None:
            return "cant_tell", words.few_rides(len(heat.first), len(heat.others), found.scatter)
        return _of_service(found.scatter, found.scatter.difference, ridden, found.overall.rate)
    return _of_band(ridden.difference, found.overall.rate.difference)


def _of_service(scatter: Scatter, difference: Band, ridden: Settle, rate: Rate) -> tuple[Answer, str]:
    """Work on a bike is judged by the scatter between its own rides: what healthy rides of others differ by is no
    measure where this bike's rides differ by more."""
    for answer, sign in (("hotter", 1.0), ("cooler", -1.0)):
        if min(sign * difference.low, sign * difference.high) > 0.0:
            if sign * rate.difference.value > 0.0:
                return ("hotter" if answer == "hotter" else "cooler"), ""
            return "cant_tell", words.CONTRARY
    together = _of_band(ridden.difference, rate.difference)
    if together[0] in ("hotter", "cooler"):
        return "cant_tell", words.scattered(scatter, ridden)
    if together[0] == "same" and not _within(difference):
        return "cant_tell", words.wide(difference, SAME_WITHIN_K)
    return together


def _of_band(settle: Band, rate: Band) -> tuple[Answer, str]:
    """By the settle temperature and by the trace itself: one of them beyond its band, the other on the same side of
    nothing."""
    for answer, sign in (("hotter", 1.0), ("cooler", -1.0)):
        beyond = [min(sign * one.low, sign * one.high) > 0.0 for one in (settle, rate)]
        if any(beyond):
            if sign * settle.value > 0.0 and sign * rate.value > 0.0:
                return ("hotter" if answer == "hotter" else "cooler"), ""
            return "cant_tell", words.CONTRARY
    if _within(settle):
        return "same", ""
    return "cant_tell", words.wide(settle, SAME_WITHIN_K)


def _within(difference: Band) -> bool:
    """Is a difference that matters ruled out, either way?"""
    return max(-difference.low, difference.high) <= SAME_WITHIN_K


def compare_with_build(bike: Bike, first: Sequence[Study], others: Mapping[str, Sequence[RideFit]]) -> Comparison:
    """Rides of one bike among the bikes of its build; `others`: fits of each other bike, none for one without a usable
    ride."""
    name = bike.id
    found = Comparison(
        mode="build",
        first_name=name,
        others_name=f"build {bike.build}",
        first=tuple(_side_ride(one) for one in first),
        others=(),
        verdict="cant_tell",
        reason="",
        left_out=tuple(words.no_usable_ride(other) for other, fits in others.items() if not fits),
        cautions=words.CAUTIONS,
    )
    ridden = [one for one in map(compare_heat.usable, first) if one is not None]
    doubts: list[CannotTell] = []
    if ridden:
        place = compare_heat.build_place(bike, ridden, {other: fits for other, fits in others.items() if fits})
        found = replace(found, build=place, verdict=place.answer)
        if place.rank is None:
            found = replace(found, reason=words.few_bikes(place))
    else:
        reason = first[0].found.analysis.heat.reason or words.NO_REASON
        found = replace(found, reason=reason)
        doubts.append(CannotTell("matched_heat", reason))
    found = replace(found, cannot_tell=tuple(doubts))
    return replace(found, summary=words.summary(found))
