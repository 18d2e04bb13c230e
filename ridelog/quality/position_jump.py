"""Positions that leap away and back, faster than anything on wheels: reflected signals."""

from __future__ import annotations

import numpy as np

from ridelog.channels import GPS
from ridelog.constants import EARTH_RADIUS_M
from ridelog.quality.scene import Scene
from ridelog.quality.trace import end_of
from ridelog.ride import QualityMark
from ridelog.words import doubt_details


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

    took_s = np.maximum(np.diff(t_s), lat.hold_s)
    over = np.abs(np.diff(east))
    way = np.hypot(np.diff(north), np.minimum(over, turn - over) * scale[1:])
    rows = np.flatnonzero(way > GPS.leap_m + GPS.leap_mps * took_s) + 1
    if rows.size > GPS.most:
        detail = doubt_details.position_leaps(rows.size)
        return [
            QualityMark(trace.name, "noise", float(trace.t_s[0]), end_of(trace, trace.t_s.size - 1), "excluded", detail)
            for trace in (lat, lon)
        ]
    marks: list[QualityMark] = []
    done = 0
    for number, first in enumerate(rows.tolist()):
        if first < done:
            continue
        for past in rows[number + 1 :].tolist():
            if t_s[past] - t_s[first] > GPS.longest_s:
                break
            home_m = GPS.leap_m + GPS.leap_mps * float(t_s[past] - t_s[first - 1])
            if apart(first - 1, past) <= home_m:
                start, last = int(index[first]), int(index[past - 1])
                detail = doubt_details.position_jump(apart(first - 1, first))
                marks.extend(
                    QualityMark(
                        trace.name, "position_jump", float(trace.t_s[start]), end_of(trace, last), "excluded", detail
                    )
                    for trace in (lat, lon)
                )
                done = past
                break
    return marks
