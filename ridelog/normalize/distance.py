"""Distance ridden, and speed where only positions were logged."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from ridelog.intervals import Interval
from ridelog.results import BoolArray, FloatArray

WINDOW_S = 3.0
"""Speed from positions is the slope over this much time: a receiver's errors wander slowly, single steps are noise."""


def steps_m(lat_deg: FloatArray, lon_deg: FloatArray) -> FloatArray:
    """Lengths of the steps between neighbouring positions, m, on the WGS 84 ellipsoid. One shorter than its input."""
    if lat_deg.size < 2:
        return np.zeros(0)
    return _lengths(lat_deg[:-1], lon_deg[:-1], lat_deg[1:], lon_deg[1:])


def _lengths(lat0_deg: FloatArray, lon0_deg: FloatArray, lat1_deg: FloatArray, lon1_deg: FloatArray) -> FloatArray:
    from pyproj import Geod

    _, _, length = Geod(ellps="WGS84").inv(lon0_deg, lat0_deg, lon1_deg, lat1_deg)
    return np.asarray(length, dtype=np.float64)


def inside(t_s: FloatArray, gaps: Sequence[Interval], joints: Iterable[int] = ()) -> BoolArray:
    """For each step from sample to sample: true where it crosses no gap."""
    good = np.ones(max(t_s.size - 1, 0), dtype=np.bool_)
    for gap in gaps:
        # A step may hold a gap (a channel with fewer samples), or lie on one.
        first = int(np.searchsorted(t_s, gap.start_s, "right")) - 1
        last = int(np.searchsorted(t_s, gap.end_s, "left"))
        good[max(first, 0) : last] = False
    for joint in joints:
        if 0 < joint <= good.size:
            good[joint - 1] = False
    return good


def from_speed(t_s: FloatArray, speed_mps: FloatArray, gaps: Sequence[Interval]) -> float:
    """Trapezoid sum of speed over time, m, gaps left out."""
    if t_s.size < 2:
        return 0.0
    steps = np.diff(t_s)
    limit = max(1.0, 5.0 * float(np.median(steps[:: steps.size // 200_000 + 1])))
    area = 0.5 * (speed_mps[1:] + speed_mps[:-1]) * steps
    usable = inside(t_s, gaps) if gaps else np.ones(steps.size, dtype=np.bool_)
    usable &= steps <= limit
    return float(area[usable].sum())


def from_positions(t_s: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray, breaks: Sequence[Interval]) -> float:
    """Sum of the steps between positions, m, none of them across a break."""
    if t_s.size < 2:
        return 0.0
    return float(steps_m(lat_deg, lon_deg)[inside(t_s, breaks)].sum())


def speed_from_positions(
    t_s: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray, gaps: Sequence[Interval]
) -> FloatArray:
    """Speed at each position, m/s: the chord over WINDOW_S around it, never across a gap. NaN where a
    position has no neighbour it may be compared with."""
    result = np.full(t_s.size, np.nan)
    if t_s.size < 2:
        return result
    usable = inside(t_s, gaps)
    piece = np.concatenate(([0], np.cumsum(~usable)))
    starts = np.searchsorted(piece, piece, "left")
    ends = np.searchsorted(piece, piece, "right") - 1
    half = WINDOW_S / 2
    low = np.maximum(np.searchsorted(t_s, t_s - half - 1e-9, "left"), starts)
    high = np.minimum(np.searchsorted(t_s, t_s + half + 1e-9, "right") - 1, ends)
    # At one sample a second or slower the window holds the neighbours at least: central differences.
    low = np.maximum(np.minimum(low, np.arange(t_s.size) - 1), starts)
    high = np.minimum(np.maximum(high, np.arange(t_s.size) + 1), ends)
    span = t_s[high] - t_s[low]
    # The chord, not the path: errors of the points in between would add up to a speed at standstill.
    chord = _lengths(lat_deg[low], lon_deg[low], lat_deg[high], lon_deg[high])
    np.divide(chord, span, out=result, where=span > 0)
    return result
