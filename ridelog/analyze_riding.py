"""Facts of riding and set-up for the result: `facts["riding"]`. Each with its answer, or why there is none.

Every entry holds `answer` ("yes", "no" or None), `reason` (why there is none, else None), its figures and `where`:
stretches with `start_s`, `end_s`, how far along the ride they began (`way_m`) and the coolant at both ends, where
known. Those that look along the whole ride hold `known_share` too: of the ride, 0..1, in which their channels are
known; what was not seen is in no figure. No positions: results are shared more freely than tracks.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ridelog.analysis import riding, riding_idle
from ridelog.analysis.riding import Ridden, Stretch
from ridelog.analyze_drive import Drive, Scene
from ridelog.results import FloatArray
from ridelog.ride import Ride
from ridelog.words import riding as reasons

MOST_LISTED = 12
"""Stretches listed for each fact, the longest first; the figures count all of them."""

SLOWEST_HZ = 3.0
"""A throttle read more slowly can't show a fall within 0.7 s."""

NEUTRAL_MPS = 0.5


def riding_facts(ride: Ride, scene: Scene, driven: Drive) -> dict[str, Any]:
    """Everything `facts["riding"]` holds."""
    ridden = _ridden(scene, driven)
    return {
        "cold_load": _cold_load(ridden),
        "warm_up": _warm_up(ridden),
        "wide_open": _wide_open(ridden, driven),
        "sharp_shut": _sharp_shut(ridden, ride),
        "fast_wide_open": _fast(ridden, scene),
        "idle": (idle := _idle(ridden)),
        "rpm_hang": _hang(ridden, idle),
        "throttle_range": _throttle_range(driven),
    }


def _ridden(scene: Scene, driven: Drive) -> Ridden:
    grid, bike, moved = scene.grid, scene.bike, scene.moved
    speed = moved.speed_mps if moved is not None else None
    power = driven.power_w / (1000.0 * bike.peak_power_kw) if bike is not None and driven.power_w is not None else None
    free = None
    if speed is not None:
        with np.errstate(invalid="ignore"):
            free = speed < NEUTRAL_MPS
        home, gears = driven.gearing.home, driven.gearing.gears
        if home is not None and gears is not None and gears.source == "logged":
            free = free | ~home
    return Ridden(
        t_s=grid.t_s,
        step_s=grid.step_s,
        opening=driven.opening,
        rpm=grid.get("engine_rpm"),
        coolant_c=grid.get("coolant_c"),
        speed_mps=speed,
        power_share=power,
        free=free,
        way_m=moved.distance_m if moved is not None else None,
    )


def _listed(found: Sequence[Stretch], ride: Ridden) -> list[dict[str, Any]]:
    """The longest stretches in order of time."""
    longest = sorted(sorted(found, key=lambda one: -one.seconds)[:MOST_LISTED], key=lambda one: one.start_s)
    return [
        {
            "start_s": round(one.start_s, 6),
            "end_s": round(one.end_s, 6),
            "way_m": one.way_m,
            "coolant_c": _at(ride.coolant_c, one.start_s, ride),
            "coolant_end_c": _at(ride.coolant_c, one.end_s, ride),
        }
        for one in longest
    ]


def _at(values: FloatArray | None, t_s: float, ride: Ridden) -> float | None:
    if values is None:
        return None
    index = min(round(t_s / ride.step_s), values.size - 1)
    return float(values[index]) if np.isfinite(values[index]) else None


def _untold(reason: str) -> dict[str, Any]:
    return {"answer": None, "reason": reason, "where": []}


def _told(answer: bool, where: list[dict[str, Any]], **figures: Any) -> dict[str, Any]:
    return {"answer": "yes" if answer else "no", "reason": None, "where": where, **figures}


def _cold_load(ride: Ridden) -> dict[str, Any]:
    if ride.coolant_c is None:
        return _untold(reasons.NO_COOLANT)
    found = riding.cold_load(ride)
    if found is None:
        return _untold(reasons.NO_THROTTLE)
    return _told(
        found.loaded_s >= riding.COLD_LOADED_S,
        _listed(found.where, ride),
        known_share=riding.known_share(ride, ride.coolant_c, ride.opening, ride.rpm),
        below_c=riding.COLD_C,
        cold_s=found.cold_s,
        loaded_s=found.loaded_s,
        highest_opening=found.highest_opening,
        highest_power_share=found.highest_power_share,
    )


def _warm_up(ride: Ridden) -> dict[str, Any]:
    found = riding.warm_up(ride)
    if found is None:
        return _untold(reasons.NO_COOLANT)
    if isinstance(found, float):
        return _untold(reasons.warm_already(found))
    return _told(
        found.to_warm_s is not None,
        [],
        to_c=riding.COLD_C,
        start_c=found.start_c,
        start_s=found.start_s,
        seconds=found.to_warm_s,
        stood_s=found.stood_s,
        highest_opening=found.highest_opening,
        highest_power_share=found.highest_power_share,
    )


def _wide_open(ride: Ridden, driven: Drive) -> dict[str, Any]:
    if ride.opening is None:
        return _untold(reasons.NO_THROTTLE)
    found = riding.wide_open(ride)
    return _told(
        bool(found),
        _listed(found, ride),
        known_share=riding.known_share(ride, ride.opening),
        from_opening=riding.WIDE_OPENING,
        times=len(found),
        seconds=sum(one.seconds for one in found),
        longest_s=max((one.seconds for one in found), default=0.0),
        open_stop_seen=driven.stops is not None and driven.stops.open_learned,
    )


def _sharp_shut(ride: Ridden, log: Ride) -> dict[str, Any]:
    if ride.opening is None:
        return _untold(reasons.NO_THROTTLE)
    info = log.channels.get("throttle_pct")
    if info is not None and info.rate_hz is not None and info.rate_hz < SLOWEST_HZ:
        return _untold(reasons.throttle_too_slow(info.rate_hz))
    found = riding.sharp_shuts(ride)
    long = sum(one.seconds >= riding.SHUT_AFTER_S - 1e-9 for one in riding.wide_open(ride))
    shuts = [
        {**place, "within_s": one.within_s, "rpm": one.rpm}
        for one in found[:MOST_LISTED]
        for place in _listed([one.before], ride)
    ]
    known = riding.known_share(ride, ride.opening)
    return _told(bool(found), shuts, known_share=known, times=len(found), long_wide_open=long)


def _fast(ride: Ridden, scene: Scene) -> dict[str, Any]:
    bike = scene.bike
    if ride.opening is None or ride.rpm is None:
        return _untold(reasons.NO_THROTTLE if ride.opening is None else reasons.NO_ENGINE_SPEED)
    from_rpm, basis = riding.FAST_RPM, "default"
    if bike is not None and "engine.power_curve_kw" not in bike.defaults_used:
        peak_rpm = bike.power_curve_rpm[int(np.argmax(bike.power_curve_kw))]
        from_rpm, basis = riding.FAST_OF_PEAK * peak_rpm, "bike"
    found = riding.fast(ride, from_rpm)
    if found is None:
        return _untold(reasons.NO_THROTTLE)
    return _told(
        found.seconds > 0.0,
        _listed(found.where, ride),
        known_share=riding.known_share(ride, ride.opening, ride.rpm),
        from_rpm=found.from_rpm,
        basis=basis,
        from_opening=riding.FAST_OPENING,
        seconds=found.seconds,
        longest_s=max((one.seconds for one in found.where), default=0.0),
        by_rpm=[{"from_rpm": low, "to_rpm": low + riding.BIN_RPM, "seconds": s} for low, s in found.by_rpm],
    )


def _idle(ride: Ridden) -> dict[str, Any]:
    found = riding_idle.idle(ride)
    if found is None:
        return _untold(reasons.IDLE_LACKS)
    if isinstance(found, float):
        return _untold(reasons.hardly_idled(found))
    return _told(
        True,
        _listed(found.where, ride),
        seconds=found.seconds,
        rpm=found.rpm,
        low_rpm=found.low_rpm,
        high_rpm=found.high_rpm,
        cold=found.cold,
    )


def _hang(ride: Ridden, idle: dict[str, Any]) -> dict[str, Any]:
    if idle["answer"] is None:
        return _untold(reasons.HANG_WITHOUT_IDLE)
    found = riding_idle.hang(ride, float(idle["rpm"]))
    if found is None:
        return _untold(reasons.IDLE_LACKS)
    if isinstance(found, int):
        return _untold(reasons.few_blips(found, riding_idle.LEAST_BLIPS))
    return _told(
        found.slow,
        _listed(found.where, ride),
        times=found.blips,
        middle_s=found.middle_s,
        longest_s=found.longest_s,
        slow_from_s=riding_idle.HANG_S,
    )


def _throttle_range(driven: Drive) -> dict[str, Any]:
    """Does the throttle reach both its stops; `answer` is of the open one."""
    stops = driven.stops
    if stops is None:
        return _untold(reasons.NO_THROTTLE)
    figures = {
        "closed_pct": stops.closed_pct if stops.closed_learned else None,
        "open_pct": stops.open_pct if stops.open_learned else None,
        "moved_at_s": [start_s for start_s, _ in driven.stretches[1:]],
    }
    if not stops.open_learned:
        return {**_untold(reasons.NEVER_FULLY_OPEN), **figures}
    return _told(True, [], **figures)
