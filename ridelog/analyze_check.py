"""Does the bike file fit what the ride shows: power over mass, and what the engine was built for.

A contradiction is told with its size and with the figures that would fit; what was measured stands in the result's
facts either way.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ridelog.advice import Advice
from ridelog.analysis import atmosphere, drivetrain, fuel, roadload, selfcheck
from ridelog.analyze_drive import Doubts, Drive, Scene, pulling
from ridelog.bike import Bike
from ridelog.constants import GRAVITY_MPS2
from ridelog.results import FloatArray
from ridelog.words import doubts as reasons
from ridelog.words import measured

SPREAD = (5.0, 95.0)
"""Percentiles of the elevation that count as ridden."""

COMPRESSION_SLACK, RON_SLACK = 0.05, 0.5
"""A figure is over a row's limit by more than the last digit people write."""


_OF_BUILD = ("engine.compression_ratio", "engine.fuel_ron", "engine.built_for_elevation_m")


def checks(
    scene: Scene, driven: Drive, advice: Advice, on_conservative: FloatArray | None, doubts: Doubts
) -> dict[str, Any]:
    """Facts `self_check`, `build_check` and `air_check`; contradictions are said through `doubts`."""
    return {
        "self_check": _power_over_mass(scene, driven, on_conservative, doubts),
        "build_check": _build(scene, advice, doubts),
        "air_check": _air(scene),
    }


def _power_over_mass(scene: Scene, driven: Drive, on_conservative: FloatArray | None, doubts: Doubts) -> dict[str, Any]:
    nothing = {"ratio": None, "low": None, "high": None, "seconds": None}
    bike, moved, gearing = scene.bike, scene.moved, driven.gearing
    if bike is None:
        return {**nothing, "reason": measured.NO_BIKE_FILE}
    if moved is None or driven.power_w is None or driven.opening is None or gearing.home is None:
        return {**nothing, "reason": measured.LACKS_CHANNELS}
    if scene.ground is None or scene.ground.from_position:
        return {**nothing, "reason": measured.SPEED_TOO_SMOOTH}
    if gearing.gears is None or scene.slope is None:
        return {**nothing, "reason": measured.LACKS_ELEVATION}
    radius_m = bike.tyre_circumference_m / (2.0 * math.pi)
    factors = roadload.rotating_factor(bike.total_kg, radius_m, np.array(bike.overall_ratios))
    rotating = drivetrain.per_gear(gearing.gears.gear, factors)
    standard = np.ones(moved.speed_mps.size, np.bool_) if on_conservative is None else ~(on_conservative > 0.0)
    where = pulling(scene, driven, moved)
    at_tyre = np.where(
        driven.power_w > 0.0, driven.power_w * bike.driveline_efficiency, driven.power_w / bike.driveline_efficiency
    )
    found = selfcheck.scale(
        tyre_power_w=at_tyre,
        speed_mps=moved.speed_mps,
        air_n=roadload.air_n(scene.air.density, bike.drag_area_m2, moved.speed_mps),
        felt_mps2=rotating * moved.acceleration_mps2 + GRAVITY_MPS2 * roadload.slope_sine(scene.slope.grade),
        mass_kg=bike.total_kg,
        where=selfcheck.usable(where, moved.speed_mps, gearing.slip, standard),
        step_s=scene.grid.step_s,
        window=moved.window,
    )
    if isinstance(found, str):
        return {**nothing, "reason": found}
    if found.contradicts:
        doubts.say("self_check", _contradiction(found, bike))
    return {"ratio": found.value, "low": found.low, "high": found.high, "seconds": found.seconds, "reason": None}


def _contradiction(found: selfcheck.Scale, bike: Bike) -> str:
    return reasons.power_over_mass(
        found.value, found.low, found.high, power_factor=found.value, mass_kg=bike.total_kg / found.value
    )


def _build(scene: Scene, advice: Advice, doubts: Doubts) -> dict[str, Any]:
    bike = scene.bike
    if bike is None:
        return {"fits": None, "reason": measured.NO_BIKE_FILE}
    low, high = fuel.aki_band(bike.fuel_ron)
    told: dict[str, Any] = {
        "compression_ratio": bike.compression_ratio,
        "fuel_ron": bike.fuel_ron,
        "fuel_aki_low": low,
        "fuel_aki_high": high,
        "built_for_elevation_m": list(bike.built_for_elevation_m),
        "defaults": [key for key in _OF_BUILD if key in bike.defaults_used],
    }
    heights = scene.grid.get("elevation_m")
    if heights is None:
        return {**told, "ridden_elevation_m": None, "fits": None, "reason": measured.ELEVATION_UNKNOWN}
    ridden = [float(end) for end in np.nanpercentile(heights, SPREAD)]
    told["ridden_elevation_m"] = ridden
    given = set(_OF_BUILD) - set(bike.defaults_used)
    if not given:
        return {**told, "fits": None, "reason": measured.BUILD_NOT_GIVEN}
    # The lowest ground ridden asks most of compression and fuel: there the air is thickest.
    row = [one for one in advice.builds if one.from_elevation_m <= max(ridden[0], advice.builds[0].from_elevation_m)][
        -1
    ]
    against = []
    if "engine.compression_ratio" in given and bike.compression_ratio > row.max_compression_ratio + COMPRESSION_SLACK:
        against.append(reasons.too_much_compression(bike.compression_ratio, row.max_compression_ratio, ridden[0]))
    if "engine.fuel_ron" in given and bike.fuel_ron < row.min_fuel_ron - RON_SLACK:
        against.append(reasons.too_little_octane(bike.fuel_ron, (low, high), row.min_fuel_ron, ridden[0]))
    built = bike.built_for_elevation_m
    if "engine.built_for_elevation_m" in given and (ridden[1] < built[0] or ridden[0] > built[1]):
        against.append(reasons.built_elsewhere(built, ridden))
    if against:
        doubts.say("build_check", reasons.build_unsuited(against))
    return {**told, "fits": not against, "reason": "; ".join(against) or None}


def _air(scene: Scene) -> dict[str, Any]:
    """What the day's air leaves of the engine's power, by two standards made for four-strokes."""
    density = float(np.median(scene.air.density))
    told: dict[str, Any] = {"density_altitude_m": atmosphere.density_altitude_m(density)}
    if scene.air.known_ambient_c is None:
        return {**told, "power_share_j1349": None, "power_share_iso1585": None, "in_range": None}
    kpa = float(np.median(scene.air.pressure)) / 1000.0
    # Humidity is not logged: dry air is taken, which flatters the engine by a per cent or two on a humid day.
    j1349 = atmosphere.correction_j1349(kpa, 0.0, scene.air.known_ambient_c)
    iso1585 = atmosphere.correction_iso1585(kpa, 0.0, scene.air.known_ambient_c)
    return {
        **told,
        "power_share_j1349": j1349.power_share,
        "power_share_iso1585": iso1585.power_share,
        "in_range": j1349.in_range and iso1585.in_range,
    }
