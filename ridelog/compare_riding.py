"""The riding side of a comparison: load cells, cruise, coming down again, fan and gears of both sides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from ridelog.analysis import cooldown, fan_runs, matched_use, thermal
from ridelog.analysis.cooldown import Recovery
from ridelog.analysis.fan_runs import FanRuns
from ridelog.analysis.matched_records import Cells, Comparison, CoolDown, CruisePair, FanUse, GearPair
from ridelog.results import Band, BoolArray, CannotTell, FloatArray
from ridelog.study import Study
from ridelog.words import compare as words


def with_riding(
    found: Comparison, first: Sequence[Study], others: Sequence[Study], doubts: list[CannotTell]
) -> Comparison:
    """The comparison with how both sides were ridden; what can't be told goes to `doubts`."""
    gears, reading = _gears(first, others)
    cells = _cells(first, others)
    if cells is None:
        doubts.append(CannotTell("load_cells", words.NO_CELLS))
    return replace(
        found,
        cells=cells,
        cruise=_cruise(first, others),
        cool_down=(_cool_down(first), _cool_down(others)),
        fan=(_fan(first), _fan(others)),
        gears=gears,
        gear_reading=reading,
    )


@dataclass(frozen=True)
class RiddenSide:
    """The riding side of one ride alone."""

    cruise: tuple[matched_use.Cruise, ...]
    cool_down: CoolDown
    fan: FanUse
    gears: tuple[matched_use.GearUse, ...]


def side(study: Study) -> RiddenSide:
    """What a comparison has of each side, of one ride."""
    part = (study,)
    return RiddenSide(tuple(_joined_cruises(part).values()), _cool_down(part), _fan(part), _gear_use(part))


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
    began = [run.on_c for run in runs if run.on_c is not None]
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
    ratios: set[tuple[float, ...]] = set()
    for one in part:
        series, bike = one.found.traces.series, one.known.bike
        if all(name in series for name in rows):
            step_s = one.found.traces.step_s
            ratios.add(bike.rpm_per_mps if bike is not None else ())
            for name, values in rows.items():
                values.append(series[name])
    if not rows["gear"]:
        return ()
    gear, rpm, speed = (np.concatenate(values) for values in rows.values())
    # Rides of bikes geared unlike have no one ratio to be held against.
    return matched_use.gear_use(gear, rpm, speed, step_s, ratios.pop() if len(ratios) == 1 else ())
