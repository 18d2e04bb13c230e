"""Positions that leap away and back, faster than anything on wheels: reflected signals."""

from __future__ import annotations

import numpy as np

from ridelog.channels import GPS
from ridelog.constants import EARTH_RADIUS_M
from ridelog.quality.scene import Scene
from ridelog.quality.trace import end_of
from ridelog.ride import QualityMark

_MOST_JUMPS = 2_000


def find(scene: Scene) -> list[QualityMark]:
    """A mark on both coordinates for each stretch that a leap leads to and another leads back from."""
    if not scene.has("lat_deg", "lon_deg"):
        return []
    lat, lon = scene.traces["lat_deg"], scene.traces["lon_deg"]
    if lat.t_s.size < 3 or lat.t_s.size != lon.t_s.size:
        return []
    metre_deg = float(np.degrees(1.0 / EARTH_RADIUS_M))
    if max(lat.largest_step, lon.largest_step) <= GPS.leap_m * metre_deg:
        return []
    bad = scene.bad["lat_deg"] | scene.bad["lon_deg"] | (lat.y == 0.0) & (lon.y == 0.0)
    index = np.flatnonzero(~bad)
    if index.size < 3:
        return []
    t_s = lat.t_s[index]
    scale = np.cos(np.radians(lat.y[index]))
    north = lat.y[index] / metre_deg
    east = lon.y[index] / metre_deg
    turn = 360.0 / metre_deg

    def apart(i: int, j: int) -> float:
        """Metres between two samples, the short way around the globe."""
        over = abs(float(east[j] - east[i]))
        return float(np.hypot(north[j] - north[i], min(over, turn - over) * scale[i]))

    def leaps(i: int, j: int) -> bool:
        took_s = max(float(t_s[j] - t_s[i]), lat.hold_s)
        return apart(i, j) > GPS.leap_m + GPS.leap_mps * took_s

    rough = np.maximum(np.abs(np.diff(north)), np.abs(np.diff(east)) * scale[1:]) > 0.7 * GPS.leap_m
    rows = [row for row in (np.flatnonzero(rough) + 1).tolist() if leaps(row - 1, row)]
    if len(rows) > _MOST_JUMPS:
        return []
    marks: list[QualityMark] = []
    done = 0
    for number, first in enumerate(rows):
        if first < done:
            continue
        for past in rows[number + 1 :]:
            if t_s[past] - t_s[first] > GPS.longest_s:
                break
            if not leaps(first - 1, past):
                start, last = int(index[first]), int(index[past - 1])
                detail = (
                    f"{apart(first - 1, first):.0f} m away and back, faster than anything on wheels: reflected signals "
                    "(walls, trees, rock) do that"
                )
                marks.extend(
                    QualityMark(
                        trace.name, "position_jump", float(trace.t_s[start]), end_of(trace, last), "excluded", detail
                    )
                    for trace in (lat, lon)
                )
                done = past
                break
    return marks
