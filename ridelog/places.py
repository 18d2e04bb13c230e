"""The same ground again: rides of the library against themselves and each other, and what each pass shows.

The trade's own test of a change is the same loop, the same rider, before and after. Which rides and in which order is
settled here; what is the same ground is told by `analysis.passes`, what a pass shows by `analysis.passes_measure`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ridelog.analysis import passes_measure
from ridelog.analysis.passes import Pass, Repeats, Stretch, repeats
from ridelog.analysis.passes_measure import Measured, Ridden, Rows
from ridelog.analysis.passes_records import ComparedRow, PassRow, RideCover, SameGround, StretchRow
from ridelog.analysis.passes_way import Way, way
from ridelog.analyze_heat import AMBIENT_SD_C
from ridelog.grid import Samples, build, usable
from ridelog.results import CannotTell, FloatArray
from ridelog.ride import Ride
from ridelog.study import Study
from ridelog.words import places as words

SHORTEST_M = 200.0
"""A track of less than this can't repeat anything."""

NEAR_SPEED_S = 1.5
"""A speed so near in time to a position is its speed."""

POSITION = ("lat_deg", "lon_deg")


def track(ride: Ride) -> Way | str:
    """The ride's way by its positions, or why there is none."""
    if any(name not in ride.samples.columns for name in POSITION):
        return words.NO_POSITIONS
    lat, lon = usable(ride, "lat_deg"), usable(ride, "lon_deg")
    t_s, left, right = np.intersect1d(lat.t_s, lon.t_s, assume_unique=True, return_indices=True)
    if t_s.size < 2:
        return words.unusable_positions(_marked(ride))
    excluded = [*ride.excluded("lat_deg"), *ride.excluded("lon_deg")]
    thin = build(t_s, lat.y[left], excluded=excluded, gaps=list(ride.gaps))
    kept = np.isin(t_s, thin.t_s, assume_unique=True)
    made = way(t_s[kept], lat.y[left][kept], lon.y[right][kept], thin.joined, _speed_at(ride, t_s[kept]))
    if made.covered_m < SHORTEST_M:
        return words.short_track(made.covered_m, _marked(ride))
    return made


def _marked(ride: Ride) -> list[str]:
    return sorted({mark.kind for mark in ride.quality if mark.channel in POSITION and mark.action == "excluded"})


def _speed_at(ride: Ride, t_s: FloatArray) -> FloatArray | None:
    """The receiver's own speed, else a wheel's, at the positions; speeds worked out from positions say nothing new."""
    for name in ("gps_speed_mps", "wheel_speed_mps"):
        info = ride.channels.get(name)
        if info is None or info.origin == "derived":
            continue
        speed: Samples = usable(ride, name)
        if speed.t_s.size > 1:
            near = np.clip(np.searchsorted(speed.t_s, t_s), 1, speed.t_s.size - 1)
            apart = np.minimum(np.abs(speed.t_s[near] - t_s), np.abs(speed.t_s[near - 1] - t_s))
            return np.where(apart <= NEAR_SPEED_S, np.interp(t_s, speed.t_s, speed.y), np.nan)
    return None


def ridden(done: Study) -> Ridden:
    """The analysis of a ride as passes are measured on it."""
    traces, balance = done.found.traces, done.found.balance
    series = traces.series
    speed = series.get("speed_mps")
    told_c = None
    if balance.drawn is not None:
        told_c = balance.drawn.ride.coolant_c
        estimated = traces.steps.get("coolant_estimated_c")
        if estimated is not None:
            told_c = np.where(np.isfinite(told_c), told_c, estimated)
    return Ridden(
        t_s=traces.t_s,
        step_s=traces.step_s,
        coolant_c=series.get("coolant_c"),
        speed_mps=speed,
        conservative=series.get("map_conservative"),
        way_m=np.concatenate([[0.0], np.cumsum(np.nan_to_num(speed[1:]) * traces.step_s)])
        if speed is not None
        else None,
        air_c=done.found.analysis.ride.ambient_c,
        air_sd_c=AMBIENT_SD_C[balance.heat.ambient_source or "given by hand"],
        drawn=balance.drawn,
        told_c=told_c,
        error_c=balance.error_c,
    )


def way_at(one: Ridden, made: Way) -> FloatArray:
    """How far along the ride each mark of its track lies: by its speed where it has one, else by the track itself."""
    if one.way_m is None:
        return np.asarray(made.at_m - made.at_m[0])
    return np.asarray(np.interp(made.t_s, one.t_s, one.way_m), dtype=np.float64)


def same_ground(studies: Sequence[Study]) -> SameGround:
    """Repeated stretches of one ride, or those that several rides share, pass by pass. Never raises for what a ride
    lacks."""
    doubts: list[CannotTell] = []
    looked: list[Study] = []
    ways: list[Way] = []
    for done in sorted(studies, key=_when):
        made = track(done.ride)
        if isinstance(made, str):
            doubts.append(CannotTell(done.ride.id, made))
        else:
            looked.append(done)
            ways.append(made)
    found = repeats(ways)
    chosen = [
        one for one in found.stretches if len(ways) == 1 or len({each.way for each in one.passes if each.full}) > 1
    ]
    measured = _Measured(looked, found)
    rows = tuple(measured.row(one, words.name(number)) for number, one in enumerate(chosen))
    covers = tuple(_cover(done, one, far) for done, one, far in zip(looked, ways, found.opposed_m, strict=True))
    return SameGround(covers, rows, tuple(doubts), tuple(words.summary(covers, rows, len(doubts))))


def _when(done: Study) -> tuple[bool, float]:
    """Dated rides in the order they were ridden, then the others in the order they were named."""
    start = done.ride.start_utc
    return (True, 0.0) if start is None else (False, start.timestamp())


def _cover(done: Study, one: Way, opposed_m: float) -> RideCover:
    facts = done.found.analysis.ride
    return RideCover(facts.id, facts.bike, facts.start_utc, one.covered_m, opposed_m)


class _Measured:
    """Passes measured, each ride's arrays made once."""

    def __init__(self, studies: Sequence[Study], found: Repeats) -> None:
        self.studies, self.found = studies, found
        self._ridden: dict[int, Ridden] = {}

    def _of(self, way_number: int) -> Ridden:
        if way_number not in self._ridden:
            self._ridden[way_number] = ridden(self.studies[way_number])
        return self._ridden[way_number]

    def row(self, one: Stretch, name: str) -> StretchRow:
        """A stretch with its passes and their comparisons."""
        told = [(each, *passes_measure.measure(self._of(each.way), each.start_s, each.end_s)) for each in one.passes]
        track_ = self.found.ways[one.way]
        return StretchRow(
            name=name,
            kind="loop" if one.loop else "stretch",
            length_m=_length(one, [measured for each, measured, _ in told if each.full]),
            ride=self.studies[one.way].ride.id,
            start_s=float(track_.t_s[one.first]),
            at_m=float(way_at(self._of(one.way), track_)[one.first]),
            against_m=one.against_m,
            start_deg=(float(track_.lat_deg[one.first]), float(track_.lon_deg[one.first])),
            passes=tuple(self._pass(each, measured) for each, measured, _ in told),
            compared=tuple(self._compared(told)),
        )

    def _pass(self, one: Pass, measured: Measured) -> PassRow:
        return PassRow(
            ride=self.studies[one.way].ride.id,
            number=one.number,
            start_s=one.start_s,
            end_s=one.end_s,
            at_m=float(way_at(self._of(one.way), self.found.ways[one.way])[one.first]),
            from_m=one.from_m,
            to_m=one.to_m,
            compared_share=one.compared_m / max(one.to_m - one.from_m, 1.0),
            full=one.full,
            measured=measured,
        )

    def _compared(self, told: list[tuple[Pass, Measured, Rows]]) -> list[ComparedRow]:
        """Later passes of a ride against its first, and each later ride's first against that of the earliest."""
        firsts: dict[int, tuple[Pass, Measured, Rows]] = {}
        rows = []
        for each in told:
            if not each[0].full:
                continue
            number = each[0].way
            base = firsts.get(number)
            if base is None:
                base = next(iter(firsts.values()), None)
                firsts[number] = each
            if base is not None:
                rows.append(self._row(base, each))
        return rows

    def _row(self, base: tuple[Pass, Measured, Rows], each: tuple[Pass, Measured, Rows]) -> ComparedRow:
        one, other = base[0], each[0]
        compared = passes_measure.compare(
            (self._of(one.way), base[1], base[2]),
            (self._of(other.way), each[1], each[2]),
            same_ride=one.way == other.way,
        )
        return ComparedRow(
            self.studies[other.way].ride.id, other.number, self.studies[one.way].ride.id, one.number, compared
        )


def _length(one: Stretch, full: list[Measured]) -> float:
    """By the bikes' own way, where speed tells it: marks cut bends a little."""
    known = [each.length_m for each in full if each.length_m]
    return float(np.median(known)) if known else one.length_m
