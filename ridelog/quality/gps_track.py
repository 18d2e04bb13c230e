"""Satellite speed against the receiver's own positions: where they disagree, one of them is false.

Which one is told by a third witness: the wheel, a stopped engine, or positions that are repeated to the last digit.
Where nothing tells, both are kept and the mark says so.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ridelog.channels import GPS
from ridelog.constants import EARTH_RADIUS_M
from ridelog.intervals import runs
from ridelog.quality.scene import Scene
from ridelog.results import BoolArray, FloatArray
from ridelog.ride import QualityMark
from ridelog.words import doubt_details

SPEED = "gps_speed_mps"
PLACE = ("lat_deg", "lon_deg")


class _Track(NamedTuple):
    """Once a second: the receiver's speed, its mean over the window, and speed by the way between positions."""

    speed: FloatArray
    mean_mps: FloatArray
    way_mps: FloatArray
    east_m: FloatArray
    north_m: FloatArray


def find(scene: Scene) -> list[QualityMark]:
    """Marks where speed and positions tell different stories for seconds."""
    track = _track(scene)
    if track is None:
        return []
    with np.errstate(invalid="ignore"):
        stands = (track.mean_mps > GPS.fast_mps) & (track.way_mps < GPS.standing_share * track.mean_mps)
        rolls = (track.mean_mps < GPS.zero_mps) & (track.way_mps > GPS.rolling_mps)
    marks: list[QualityMark] = []
    for mask, judge in ((stands, _place_stands), (rolls, _place_rolls)):
        found = [(first, past) for first, past in runs(mask) if past - first >= GPS.disagree_s]
        if len(found) > GPS.most:
            total_s = sum(past - first for first, past in found)
            detail = doubt_details.speed_against_way(len(found), total_s)
            marks.extend(
                scene.marks(_mask(scene, found[0][0], found[-1][1]), (SPEED,), "gps_disagrees", detail, "kept")
            )
            continue
        for first, past in found:
            marks.extend(judge(scene, track, first, past))
    return marks


def _track(scene: Scene) -> _Track | None:
    names = (SPEED, *PLACE)
    if not scene.has(*names) or SPEED in scene.derived or scene.t_s.size < 3 * GPS.window_s:
        return None
    if max(scene.period_s(name) for name in names) > GPS.slowest_period_s:
        return None
    speed, lat, lon = (scene.at(name) for name in names)
    if not bool(np.isfinite(lat).any()):
        return None
    scale = np.cos(np.radians(float(np.nanmedian(lat))))
    north = np.radians(lat) * EARTH_RADIUS_M
    east = np.radians(lon) * EARTH_RADIUS_M * scale
    steps = np.hypot(np.diff(north), np.diff(east))
    half = GPS.window_s // 2
    way, mean = (np.full(speed.size, np.nan) for _ in range(2))
    # Sums over a window by shifted slices: a NaN stays in the windows it belongs to.
    size = speed.size - 2 * half
    way[half : half + size] = sum(steps[k : k + size] for k in range(2 * half)) / (2.0 * half)
    mean[half : half + size] = sum(speed[k : k + size] for k in range(2 * half + 1)) / (2.0 * half + 1.0)
    return _Track(speed, mean, way, east, north)


def _mask(scene: Scene, first: int, past: int) -> BoolArray:
    mask = np.zeros(scene.t_s.size, dtype=np.bool_)
    mask[first:past] = True
    return mask


def _wheel(scene: Scene, first: int, past: int) -> str:
    """What the wheel says of these seconds: "rolls", "stands", or nothing."""
    wheel = scene.maybe("wheel_speed_mps")
    if wheel is None or not bool(np.isfinite(wheel[first:past]).any()):
        return ""
    middle = float(np.nanmedian(wheel[first:past]))
    return "rolls" if middle > GPS.wheel_rolls_mps else "stands" if middle < GPS.wheel_stands_mps else ""


def _engine_off(scene: Scene, first: int, past: int) -> bool:
    rpm = scene.maybe("engine_rpm")
    return rpm is not None and bool((rpm[first:past] == 0.0).all())


def _place_stands(scene: Scene, track: _Track, first: int, past: int) -> list[QualityMark]:
    """The receiver reports speed, its positions stand."""
    kmh = 3.6 * float(np.nanmean(track.speed[first:past]))
    mask = _mask(scene, first, past)
    wheel = _wheel(scene, first, past)
    seen = doubt_details.positions_stand(kmh, past - first)
    if wheel == "stands" or _engine_off(scene, first, past):
        why = doubt_details.WHEEL_TOO if wheel == "stands" else doubt_details.ENGINE_OFF
        return scene.marks(mask, (SPEED,), "false_speed", doubt_details.so_speed_false(seen, why))
    # A receiver at work never gives the same digits twice in a row on the move.
    repeated = float(np.ptp(track.east_m[first:past])) == 0.0 and float(np.ptp(track.north_m[first:past])) == 0.0
    if repeated and float(np.ptp(track.speed[first:past])) == 0.0 and past - first >= GPS.frozen_s:
        detail = doubt_details.frozen(past - first)
        return scene.marks(mask, (SPEED, *PLACE), "gps_frozen", detail)
    if repeated or wheel == "rolls":
        why = doubt_details.WHEEL_ROLLS if wheel == "rolls" else doubt_details.REPEATED
        return scene.marks(mask, PLACE, "gps_frozen", doubt_details.so_positions_out(seen, why))
    detail = doubt_details.so_reflected(seen)
    return scene.marks(mask, (SPEED,), "false_speed", detail)


def _place_rolls(scene: Scene, track: _Track, first: int, past: int) -> list[QualityMark]:
    """The receiver reports standing, its positions move on."""
    mask = _mask(scene, first, past)
    kmh = 3.6 * float(np.nanmean(track.way_mps[first:past]))
    seen = doubt_details.positions_move(kmh, past - first)
    wheel = _wheel(scene, first, past)
    straight_m = float(np.hypot(np.ptp(track.east_m[first:past]), np.ptp(track.north_m[first:past])))
    way_m = float(np.nansum(track.way_mps[first:past]))
    if wheel == "rolls":
        return scene.marks(mask, (SPEED,), "false_speed", doubt_details.so_wheel_rolls(seen))
    if wheel == "stands" or _engine_off(scene, first, past):
        why = doubt_details.WHEEL_STANDS if wheel == "stands" else doubt_details.ENGINE_OFF
        return scene.marks(mask, PLACE, "position_wanders", doubt_details.so_wander(seen, why))
    if straight_m >= GPS.ridden_m and straight_m >= GPS.straight * way_m:
        detail = doubt_details.so_straight_on(seen, straight_m)
        return scene.marks(mask, (SPEED,), "false_speed", detail)
    detail = doubt_details.so_open(seen)
    return scene.marks(mask, (SPEED,), "gps_disagrees", detail, "kept")
