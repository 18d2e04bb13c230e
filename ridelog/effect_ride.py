"""What a ride gives to the estimate of the conservative map's effect: from its samples to the arrays the estimate looks
at, or why the ride gives nothing.

Only a logged map counts: one that was inferred from the ignition is too often wrong just where heat is asked about.
"""

from __future__ import annotations

import numpy as np

from ridelog import analyze_drive, analyze_heat, analyze_map
from ridelog.analysis import effect, effect_columns, load, shapes, thermal, thermal_prior
from ridelog.analysis.effect import Part
from ridelog.analysis.effect_columns import Track
from ridelog.analysis.thermal import Plant
from ridelog.analyze import scene_of
from ridelog.analyze_coolant import with_usable_coolant
from ridelog.analyze_drive import Doubts, Drive, Scene
from ridelog.bike import Bike
from ridelog.constants import SEA_LEVEL_DENSITY_KG_PER_M3
from ridelog.results import FloatArray
from ridelog.ride import Ride
from ridelog.words import effect as words


def part_of(ride: Ride, bike: Bike, *, ambient_c: float | None = None) -> Part | str:
    """What the ride gives, or why it gives nothing."""
    doubts = Doubts()
    used = analyze_map.map_track(ride, bike, doubts)
    if used.start_s.size == 0:
        return words.WITHOUT["map"]
    ride = with_usable_coolant(ride, doubts)
    scene, driven = scene_of(ride, bike, ambient_c, doubts)
    soil = analyze_drive.ground_drag(scene, driven, doubts)
    track = track_of(scene, driven, bike, analyze_map.on_grid(used, scene.grid.t_s), soil)
    if isinstance(track, str):
        return track
    found = effect.part_of(track)
    return words.REFUSED[found] if isinstance(found, str) else found


def track_of(
    scene: Scene, driven: Drive, bike: Bike, map_conservative: FloatArray, soil: shapes.Terrain | None
) -> Track | str:
    """The arrays the estimate looks at, or the first thing the ride lacks."""
    grid, moved = scene.grid, scene.moved
    rpm, coolant, air = grid.get("engine_rpm"), grid.get("coolant_c"), analyze_heat.ambient(scene)
    lacking = {
        "coolant": coolant is None or not np.isfinite(coolant).any(),
        "engine speed": rpm is None,
        "throttle": driven.opening is None,
        "speed": moved is None,
        "air": air is None,
        "ground": soil is None,
    }
    first = next((what for what, lacks in lacking.items() if lacks), None)
    if first is not None or (rpm is None or coolant is None or moved is None or air is None or soil is None):
        return words.WITHOUT[first or "coolant"]
    if driven.opening is None:
        return words.WITHOUT["throttle"]
    plant = analyze_heat.plant_of(bike)
    second = np.minimum(grid.t_s / shapes.BLOCK_S, soil.smooth.size - 1).astype(np.int64)
    return Track(
        step_s=grid.step_s,
        coolant_c=coolant,
        ambient_c=air.ambient_c,
        turning=rpm / plant.peak_rpm,
        opening=driven.opening,
        speed_mps=moved.speed_mps,
        drag=soil.smooth[second],
        grade=scene.slope.grade if scene.slope is not None else None,
        conservative=map_conservative,
        fan=grid.get("fan_on"),
        density=scene.air.density / SEA_LEVEL_DENSITY_KG_PER_M3,
        fan_on_c=bike.fan_on_c,
        opens_c=bike.thermostat_c,
        law=law(plant, bike),
    )


def law(plant: Plant, bike: Bike) -> FloatArray:
    """Heat by the heat balance's law at the points of the surface, over that at its reference load."""
    turning, opening = np.meshgrid(effect_columns.TURNING, effect_columns.OPENING, indexing="ij")
    rpm = turning.ravel() * plant.peak_rpm
    power_w = load.brake_power_w(rpm, opening.ravel(), bike.power_curve_rpm, bike.power_curve_kw)
    usual = thermal_prior.default_prior(plant, ratio=None, map_seen=True, ambient_sd_c=1.0)
    power_kw = np.maximum(power_w, 0.0) / 1000.0
    return np.asarray(thermal.load_shape(plant, usual.mean[None], power_kw, turning.ravel())[0])
