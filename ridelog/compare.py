"""Rides set beside rides at the same load, speed and air: the only file that knows the order of a comparison."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from ridelog import compare_heat
from ridelog.analysis import cooldown, fan_runs, matched_records, matched_use, thermal
from ridelog.analysis.airflow import THERMOSTAT_SPAN_C
from ridelog.analysis.cooldown import Recovery
from ridelog.analysis.fan_runs import FanRuns
from ridelog.analysis.matched_records import (
    Answer,
    Cells,
    Comparison,
    CoolDown,
    CruisePair,
    FanUse,
    GearPair,
    RateRow,
    SideRide,
)
from ridelog.analysis.thermal_prior import RideFit
from ridelog.bike import Bike
from ridelog.compare_heat import HeatSides
from ridelog.results import Band, BoolArray, CannotTell, FloatArray
from ridelog.study import Study
from ridelog.words import compare as words

LEAST_COMMON_SHARE = 0.30
"""No verdict where the common cells hold less of either side than this."""

LEAST_COMMON_S = 300.0

SAME_WITHIN_K = 20.0
"""A band of the difference that reaches further from its middle tells nothing, not "the same"."""

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
    found = _riding(found, first, others, doubts)
    heat = _heat(first, others)
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


def _heat(first: Sequence[Study], others: Sequence[Study]) -> HeatSides | str:
    bikes = [one.known.bike for one in (*first, *others)]
    if any(bike is None for bike in bikes):
        return "a ride has no bike file: heat is figured from the bike's power curve. Name the bike (ridelog edit)"
    named = [bike for bike in bikes if bike is not None]
    if not all(compare_heat.alike(bike, named[0]) for bike in named):
        return (
            "the rides are of bikes of different builds (or with and without fan or thermostat): what they heat and "
            "shed can't be set side by side"
        )
    sides = [[one for one in map(compare_heat.usable, part) if one is not None] for part in (first, others)]
    for part, ridden in zip(sides, (first, others), strict=True):
        if not part:
            reasons = dict.fromkeys(one.found.analysis.heat.reason or "no reason was kept" for one in ridden)
            return f"no heat balance can be made of {words.listed([one.ride.id for one in ridden])}: " + "; ".join(
                reasons
            )
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
        CannotTell("matched_heat", f"{one.id} is left out of the heat figures: {one.reason}")
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
        return _of_band(found.scatter.difference, found.overall.rate.difference)
    return _of_band(ridden.difference, found.overall.rate.difference)


def _of_band(settle: Band, rate: Band) -> tuple[Answer, str]:
    """By the settle temperature and by the trace itself: one of them beyond its band, the other on the same side of
    nothing."""
    for answer, sign in (("hotter", 1.0), ("cooler", -1.0)):
        beyond = [min(sign * one.low, sign * one.high) > 0.0 for one in (settle, rate)]
        if any(beyond):
            if sign * settle.value > 0.0 and sign * rate.value > 0.0:
                return ("hotter" if answer == "hotter" else "cooler"), ""
            return "cant_tell", words.CONTRARY
    if 0.5 * (settle.high - settle.low) <= SAME_WITHIN_K:
        return "same", ""
    return "cant_tell", words.wide(settle)


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
        reason = first[0].found.analysis.heat.reason or "no reason was kept"
        found = replace(found, reason=reason)
        doubts.append(CannotTell("matched_heat", reason))
    found = replace(found, cannot_tell=tuple(doubts))
    return replace(found, summary=words.summary(found))


# -- riding -----------------------------------------------------------------------------------------------------------


def _riding(found: Comparison, first: Sequence[Study], others: Sequence[Study], doubts: list[CannotTell]) -> Comparison:
    sides = (first, others)
    fans = [_fan(part) for part in sides]
    gears, reading = _gears(first, others)
    cells = _cells(first, others)
    if cells is None:
        doubts.append(CannotTell("load_cells", words.NO_CELLS))
    return replace(
        found,
        cells=cells,
        cruise=_cruise(first, others),
        cool_down=(_cool_down(first), _cool_down(others)),
        fan=(fans[0], fans[1]),
        gears=gears,
        gear_reading=reading,
    )


def _cells(first: Sequence[Study], others: Sequence[Study]) -> Cells | None:
    tables = []
    for part in (first, others):
        total = np.zeros((len(matched_use.RPM_EDGES) - 1, len(matched_use.OPENING_EDGES) - 1))
        for one in part:
            series = one.found.traces.series
            if "engine_rpm" in series and "throttle_open" in series:
                total += matched_use.cell_seconds(
                    series["engine_rpm"], series["throttle_open"], one.found.traces.step_s
                )
        tables.append(total)
    if min(table.sum() for table in tables) <= 0.0:
        return None
    rows = [tuple(tuple(float(value) for value in row) for row in table) for table in tables]
    return Cells(
        _edges(matched_use.RPM_EDGES), _edges(matched_use.OPENING_EDGES), rows[0], rows[1],
        matched_use.common_shares(tables[0], tables[1]),
    )  # fmt: skip


def _edges(edges: tuple[float, ...]) -> tuple[float | None, ...]:
    return tuple(edge if np.isfinite(edge) else None for edge in edges)


def _running(study: Study) -> BoolArray:
    series = study.found.traces.series
    rpm = series.get("engine_rpm")
    size = study.found.traces.t_s.size
    return np.nan_to_num(rpm) > 0.0 if rpm is not None else np.ones(size, dtype=np.bool_)


def _resolution(study: Study) -> float:
    info = study.ride.channels.get("coolant_c")
    return (info.resolution or 0.0) if info is not None else 0.0


def _cruise(first: Sequence[Study], others: Sequence[Study]) -> tuple[CruisePair, ...]:
    """Steady stretches of both sides by speed; several rides of a side by the median of their stretches."""
    sides = [_joined_cruises(part) for part in (first, others)]
    lengths = [max(1e-9, sum(one.ride.duration_s for one in part)) for part in (first, others)]
    rows = []
    for low, high in pairwise(matched_use.CRUISE_EDGES_MPS):
        pair = [side.get(low) for side in sides]
        if any(pair):
            shares = [one.seconds / length if one else 0.0 for one, length in zip(pair, lengths, strict=True)]
            rows.append(CruisePair(low, high if np.isfinite(high) else None, pair[0], pair[1], (shares[0], shares[1])))
    return tuple(rows)


def _joined_cruises(part: Sequence[Study]) -> dict[float, matched_use.Cruise]:
    speed, coolant, air = [], [], []
    step_s, coarsest = 1.0, 0.0
    hole = np.full(1, np.nan)
    for one in part:
        series, heat = one.found.traces.series, one.found.balance.drawn
        if heat is None or "coolant_c" not in series or "speed_mps" not in series:
            continue
        step_s, coarsest = one.found.traces.step_s, max(coarsest, _resolution(one))
        grid = (one.found.traces.t_s / thermal.STEP_S + 1e-9).astype(np.int64)
        speed += [series["speed_mps"], hole]
        coolant += [series["coolant_c"], hole]
        air += [heat.ride.ambient_c[np.minimum(grid, heat.ride.t_s.size - 1)], hole]
    if not speed:
        return {}
    joined = [np.concatenate(rows) for rows in (speed, coolant, air)]
    found = matched_use.cruises(joined[0], joined[1], joined[2], step_s, coarsest)
    return {one.low_mps: one for one in found}


def _cool_down(part: Sequence[Study]) -> CoolDown:
    events: list[Recovery] = []
    for one in part:
        series = one.found.traces.series
        if "coolant_c" in series and "speed_mps" in series:
            events += cooldown.recoveries(
                series["coolant_c"], series["speed_mps"], _running(one), one.found.traces.step_s
            )
    half = [event.half_s for event in events if event.half_s is not None]
    back = [event.back_s for event in events if event.back_s is not None]
    return CoolDown(
        events=len(events),
        half_s=cooldown.median_s(half, [event.seen_s for event in events if event.half_s is None]),
        half_seen=len(half),
        back_s=cooldown.median_s(back, [event.seen_s for event in events if event.back_s is None]),
        back_seen=len(back),
        highest_c=max((event.coolant_c for event in events), default=None),
    )


def _fan(part: Sequence[Study]) -> FanUse:
    found: list[FanRuns] = []
    for one in part:
        series, step_s = one.found.traces.series, one.found.traces.step_s
        bike = one.known.bike
        if "coolant_c" not in series:
            continue
        if "fan_on" in series:
            found.append(fan_runs.logged(series["fan_on"], series["coolant_c"], step_s))
        elif "speed_mps" in series and (bike is None or bike.fan_on_c is not None):
            found.append(
                fan_runs.from_saw_tooth(
                    series["coolant_c"], series["speed_mps"], _running(one), step_s, _resolution(one)
                )
            )
    if not found:
        return FanUse("none", 0, None, None, None, 0.0)
    # Runs of rides with a channel and guesses of rides without one are not thrown together.
    source: Literal["logged", "saw-tooth"] = "logged" if any(o.source == "logged" for o in found) else "saw-tooth"
    found = [one for one in found if one.source == source]
    seconds = sum(one.observed_s for one in found)
    runs = [run for one in found for run in one.runs]
    began = [run.on_c for run in runs if run.on_c is not None and run.start_s > 0.0]
    whole = [run.length_s for run in runs if run.whole]
    return FanUse(
        source,
        len(runs),
        len(runs) * 3600.0 / seconds if seconds > 0.0 else None,
        _range(began),
        _range(whole),
        seconds,
    )


def _range(values: Sequence[float]) -> Band | None:
    """Median, lowest and highest."""
    return Band(float(np.median(values)), float(min(values)), float(max(values))) if values else None


def _gears(first: Sequence[Study], others: Sequence[Study]) -> tuple[tuple[GearPair, ...], str | None]:
    sides = [{use.gear: use for use in _gear_use(part)} for part in (first, others)]
    pairs = []
    for gear in sorted(sides[0].keys() | sides[1].keys()):
        one, other = sides[0].get(gear), sides[1].get(gear)
        ratio = one.rpm_per_kmh / other.rpm_per_kmh if one is not None and other is not None else None
        pairs.append(GearPair(gear, one, other, ratio))
    if not pairs:
        return (), None
    wheel = any(one.found.analysis.facts and one.found.analysis.facts["speed_source"] == "wheel_speed_mps"
                for one in (*first, *others))  # fmt: skip
    return tuple(pairs), words.gear_reading(tuple(pairs), from_wheel=wheel)


def _gear_use(part: Sequence[Study]) -> tuple[matched_use.GearUse, ...]:
    rows: dict[str, list[FloatArray]] = {"gear": [], "engine_rpm": [], "speed_mps": []}
    step_s = 1.0
    file_ratios: tuple[float, ...] = ()
    for one in part:
        series, bike = one.found.traces.series, one.known.bike
        if all(name in series for name in rows):
            step_s = one.found.traces.step_s
            file_ratios = bike.rpm_per_mps if bike is not None else ()
            for name, values in rows.items():
                values.append(series[name])
    if not rows["gear"]:
        return ()
    gear, rpm, speed = (np.concatenate(values) for values in rows.values())
    return matched_use.gear_use(gear, rpm, speed, step_s, file_ratios)
