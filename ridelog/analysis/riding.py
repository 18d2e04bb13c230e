"""What a ride says of how a two-stroke was ridden and set up, apart from its coolant: stretches and moments.

Levels without a source beside them are common practice, no source. Nothing here is a fault by itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.intervals import runs
from ridelog.results import BoolArray, FloatArray

COLD_C = 60.0
"""Below this an engine wears: two independent pages of advice to riders say so, none measured it."""

LOAD_OPENING, LOAD_POWER_SHARE, LOAD_LEAST_S, COLD_LOADED_S = 0.5, 0.3, 1.0, 5.0
"""Load: the throttle half open, or three tenths of peak power, for a second at least; five seconds of it in all count
as load put on a cold engine."""

WIDE_OPENING, WIDE_PAUSE_S, WIDE_LEAST_S = 0.85, 1.0, 5.0
SHUT_OPENING, SHUT_WITHIN_S, SHUT_AFTER_S = 0.15, 0.7, 10.0
"""A sharp shut: from 85 % open to 15 % within 0.7 s, after ten seconds wide open with pauses of a second at most."""

FAST_RPM, FAST_OPENING, FAST_OF_PEAK = 8000.0, 0.90, 0.975
"""Fast and wide open: 8,000 1/min, or 97.5 % of the speed of peak power where that is known, at 90 %."""

BIN_RPM = 500.0


@dataclass(frozen=True)
class Ridden:
    """A ride on a uniform grid; None where the log has no such channel, NaN where it has no value. `opening` 0..1,
    `power_share` of peak power, `free` where nothing drives the engine nor does it drive (clutch in, neutral, or
    standing)."""

    t_s: FloatArray
    step_s: float
    opening: FloatArray | None
    rpm: FloatArray | None
    coolant_c: FloatArray | None
    speed_mps: FloatArray | None
    power_share: FloatArray | None
    free: BoolArray | None
    way_m: FloatArray | None


@dataclass(frozen=True)
class Stretch:
    """From when to when, seconds from the ride's start; how far along the ride it began, None where not known."""

    start_s: float
    end_s: float
    way_m: float | None

    @property
    def seconds(self) -> float:
        """Length."""
        return self.end_s - self.start_s


def at_least(values: FloatArray | None, level: float, size: int) -> BoolArray:
    """Where a channel is known and reaches a level."""
    if values is None:
        return np.zeros(size, dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        return np.asarray(values >= level, dtype=np.bool_)


def known_share(ride: Ridden, *channels: FloatArray | None) -> float:
    """Share of the ride in which all of these channels are known, 0..1; those that the log does not have are left
    out."""
    known = np.ones(ride.t_s.size, dtype=np.bool_)
    for values in channels:
        if values is not None:
            known &= np.isfinite(values)
    return float(known.mean()) if known.size else 0.0


def stretches(ride: Ridden, mask: BoolArray, *, pause_s: float = 0.0, least_s: float = 0.0) -> list[Stretch]:
    """Runs of a mask, pauses bridged, that last long enough. A pause in which the throttle is not known is no pause."""
    found: list[tuple[int, int]] = []
    for first, past in runs(mask):
        if found and (first - found[-1][1]) * ride.step_s <= pause_s + 1e-9 and _known(ride, found[-1][1], first):
            found[-1] = (found[-1][0], past)
        else:
            found.append((first, past))
    return [stretch_of(ride, first, past) for first, past in found if (past - first) * ride.step_s >= least_s - 1e-9]


def _known(ride: Ridden, first: int, past: int) -> bool:
    return ride.opening is None or bool(np.isfinite(ride.opening[first:past]).all())


def stretch_of(ride: Ridden, first: int, past: int) -> Stretch:
    """The stretch of grid points `first` up to `past`."""
    way = ride.way_m
    way_m = float(way[first]) if way is not None and np.isfinite(way[first]) else None
    start_s = float(ride.t_s[first])
    return Stretch(start_s, start_s + (past - first) * ride.step_s, way_m)


@dataclass(frozen=True)
class ColdLoad:
    """Load while the coolant read under COLD_C, engine running. `cold_s`: how long it did, 0 where never; highest
    figures in it."""

    cold_s: float
    loaded_s: float
    highest_opening: float | None
    highest_power_share: float | None
    where: tuple[Stretch, ...]


def cold_load(ride: Ridden) -> ColdLoad | None:
    """None without coolant, or without throttle and power."""
    if ride.coolant_c is None or (ride.opening is None and ride.power_share is None):
        return None
    size = ride.t_s.size
    with np.errstate(invalid="ignore"):
        cold = ride.coolant_c < COLD_C
    if ride.rpm is not None:
        cold &= at_least(ride.rpm, 1.0, size)
    loaded = at_least(ride.opening, LOAD_OPENING, size) | at_least(ride.power_share, LOAD_POWER_SHARE, size)
    loaded &= cold
    where = stretches(ride, loaded, pause_s=2.0, least_s=LOAD_LEAST_S)
    so_far = np.concatenate([[0], np.cumsum(loaded)])
    ends = np.array([(one.start_s, one.end_s) for one in where]).reshape(-1, 2)
    first, past = np.searchsorted(ride.t_s, ends.T - 1e-9)
    return ColdLoad(
        cold_s=float(np.count_nonzero(cold) * ride.step_s),
        loaded_s=float((so_far[past] - so_far[first]).sum() * ride.step_s),
        highest_opening=_highest(ride.opening, cold),
        highest_power_share=_highest(ride.power_share, cold),
        where=tuple(where),
    )


def _highest(values: FloatArray | None, where: BoolArray) -> float | None:
    if values is None:
        return None
    known = values[where & np.isfinite(values)]
    return float(known.max()) if known.size else None


@dataclass(frozen=True)
class WarmUp:
    """From the engine's start to COLD_C. `start_c` coolant then; `to_warm_s` None where it never got there;
    `stood_s`: of it standing, None without a speed; the highest figures before it."""

    start_c: float
    start_s: float
    to_warm_s: float | None
    stood_s: float | None
    highest_opening: float | None
    highest_power_share: float | None


def warm_up(ride: Ridden) -> WarmUp | float | None:
    """The first warm-up; the coolant at the start where that was warm already; None where it can't be told."""
    if ride.coolant_c is None:
        return None
    running = at_least(ride.rpm, 1.0, ride.t_s.size) if ride.rpm is not None else np.ones(ride.t_s.size, dtype=np.bool_)
    known = np.flatnonzero(running & np.isfinite(ride.coolant_c))
    if not known.size:
        return None
    first = int(known[0])
    start_c = float(ride.coolant_c[first])
    if start_c >= COLD_C:
        return start_c
    warm = np.flatnonzero(at_least(ride.coolant_c[first:], COLD_C, ride.t_s.size - first))
    past = first + int(warm[0]) if warm.size else ride.t_s.size
    before = np.zeros(ride.t_s.size, dtype=np.bool_)
    before[first:past] = running[first:past]
    stood = None
    if ride.speed_mps is not None:
        with np.errstate(invalid="ignore"):
            stood = float(np.count_nonzero(before & (ride.speed_mps < 0.5)) * ride.step_s)
    return WarmUp(
        start_c=start_c,
        start_s=float(ride.t_s[first]),
        to_warm_s=float(ride.t_s[past] - ride.t_s[first]) if warm.size else None,
        stood_s=stood,
        highest_opening=_highest(ride.opening, before),
        highest_power_share=_highest(ride.power_share, before),
    )


def wide_open(ride: Ridden) -> list[Stretch]:
    """Stretches wide open, in order of time; empty without throttle."""
    wide = at_least(ride.opening, WIDE_OPENING, ride.t_s.size)
    return stretches(ride, wide, pause_s=WIDE_PAUSE_S, least_s=WIDE_LEAST_S)


@dataclass(frozen=True)
class Shut:
    """The throttle shut sharply: the wide-open stretch before it, when it was shut, in how long, at what speed of the
    engine."""

    before: Stretch
    at_s: float
    within_s: float
    rpm: float | None


def sharp_shuts(ride: Ridden) -> list[Shut]:
    """Sharp shuts after long wide-open stretches, in order of time."""
    opening = ride.opening
    found: list[Shut] = []
    if opening is None:
        return found
    for before in wide_open(ride):
        if before.seconds < SHUT_AFTER_S - 1e-9:
            continue
        last = round((before.end_s - ride.t_s[0]) / ride.step_s) - 1
        reach = opening[last : last + int(np.ceil(SHUT_WITHIN_S / ride.step_s)) + 2]
        down_s = _shut_within_s(reach, ride.step_s)
        if down_s is not None:
            rpm = float(ride.rpm[last]) if ride.rpm is not None and np.isfinite(ride.rpm[last]) else None
            found.append(Shut(before, before.end_s, down_s, rpm))
    return found


def _shut_within_s(opening: FloatArray, step_s: float) -> float | None:
    """How long it took from WIDE_OPENING to SHUT_OPENING along straight lines; None where longer, or not known."""
    left = None
    for n in range(opening.size - 1):
        a, b = float(opening[n]), float(opening[n + 1])
        if not (np.isfinite(a) and np.isfinite(b)):
            return None
        if left is None and a >= WIDE_OPENING > b:
            left = (n + (a - WIDE_OPENING) / (a - b)) * step_s
        if left is not None and a > SHUT_OPENING >= b:
            took = (n + (a - SHUT_OPENING) / (a - b)) * step_s - left
            return took if took <= SHUT_WITHIN_S + 1e-9 else None
    return None


@dataclass(frozen=True)
class Fast:
    """Time at high engine speed with the throttle wide open: from which levels on, stretches, and seconds by engine
    speed with the throttle that open (lower edge of the bin in 1/min, seconds)."""

    from_rpm: float
    seconds: float
    where: tuple[Stretch, ...]
    by_rpm: tuple[tuple[float, float], ...]


def fast(ride: Ridden, from_rpm: float) -> Fast | None:
    """None without throttle or engine speed."""
    if ride.opening is None or ride.rpm is None:
        return None
    wide = at_least(ride.opening, FAST_OPENING, ride.t_s.size)
    quick = wide & at_least(ride.rpm, from_rpm, ride.t_s.size)
    speeds = ride.rpm[wide & np.isfinite(ride.rpm)]
    edges, counts = np.unique(np.floor(speeds / BIN_RPM), return_counts=True)
    return Fast(
        from_rpm=from_rpm,
        seconds=float(np.count_nonzero(quick) * ride.step_s),
        where=tuple(stretches(ride, quick)),
        by_rpm=tuple(
            (float(edge * BIN_RPM), float(count * ride.step_s)) for edge, count in zip(edges, counts, strict=True)
        ),
    )
