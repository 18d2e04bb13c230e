"""Speed, acceleration, distance and grade from what a log has of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.filters import odd, savgol_filter, smooth_and_slope
from ridelog.intervals import runs
from ridelog.results import BoolArray, FloatArray

SMOOTHING_S = 2.2
"""Window of the speed filter. The satellite receiver's own noise (0.1 to 0.2 m/s) then gives 0.1 m/s² of
acceleration."""

MOVING_MPS = 0.5
"""Slower than this is standing: a receiver at rest reports up to half a metre a second."""

POSITION_SMOOTHING_S = 4.0
"""Speed from positions alone is far noisier than a receiver's own: errors of metres over a second."""

GRADE_STEP_M = 5.0
GRADE_WINDOW_M = 100.0
GRADE_SHORTEST_M = 50.0
"""Elevation is regressed on distance over 100 m. Under 50 m its noise makes the answer worthless (1 m over 50 m: 3
%)."""


@dataclass(frozen=True)
class Motion:
    """On the grid, NaN where not known: `speed_mps` and `acceleration_mps2` smoothed over the same window (`window`
    grid points), `moving`, `distance_m` covered so far (holes add nothing)."""

    speed_mps: FloatArray
    acceleration_mps2: FloatArray
    moving: BoolArray
    distance_m: FloatArray
    window: int

    @property
    def total_m(self) -> float:
        """Distance of the ride, holes left out."""
        return float(self.distance_m[-1]) if self.distance_m.size else 0.0


def motion(speed_mps: FloatArray, step_s: float, *, from_position: bool = False) -> Motion:
    """Smoothed motion from ground speed on the grid."""
    window = odd((POSITION_SMOOTHING_S if from_position else SMOOTHING_S) / step_s)
    smooth, slope = smooth_and_slope(speed_mps, window, step_s)
    smooth = np.maximum(smooth, 0.0)
    moving = np.nan_to_num(smooth) > MOVING_MPS
    rolling = np.where(moving, speed_mps, 0.0)
    steps = 0.5 * (rolling[1:] + rolling[:-1]) * step_s
    steps[~np.isfinite(speed_mps[1:] + speed_mps[:-1])] = 0.0
    return Motion(smooth, slope, moving, np.concatenate([[0.0], np.cumsum(steps)]), window)


@dataclass(frozen=True)
class Grade:
    """Rise over run on the grid, NaN where not known, and what it is worth.

    `noise_m` is the scatter of the elevation about the fitted lines, `sigma` the standard error of a grade that follows
    from it with independent errors. Slow drift of the elevation (a receiver's own) is not in it.
    """

    grade: FloatArray
    noise_m: float
    sigma: float


def grade_sigma(noise_m: float, points: int, spacing_m: float) -> float:
    """Standard error of a least-squares slope: sigma sqrt(12 / (n (n² - 1))) / d."""
    return noise_m * float(np.sqrt(12.0 / (points * (points * points - 1.0)))) / spacing_m


def grade(elevation_m: FloatArray, moved: Motion) -> Grade:
    """Grade by regressing elevation on distance, on each unbroken stretch of at least 50 m; NaN where standing."""
    result = np.full(elevation_m.size, np.nan)
    squares, number = 0.0, 0
    for first, past in runs(np.isfinite(elevation_m) & np.isfinite(moved.speed_mps)):
        along = moved.distance_m[first:past] - moved.distance_m[first]
        length = float(along[-1])
        if length < GRADE_SHORTEST_M:
            continue
        marks, height = _by_distance(along, elevation_m[first:past])
        width = min(odd(GRADE_WINDOW_M / GRADE_STEP_M + 1), marks.size if marks.size % 2 else marks.size - 1)
        slope = savgol_filter(height, width, 1, deriv=1, delta=GRADE_STEP_M)
        level = savgol_filter(height, width, 1)
        squares += float(((height - level) ** 2).sum())
        number += height.size
        result[first:past] = np.interp(along, marks, slope)
    result[~moved.moving] = np.nan
    noise_m = float(np.sqrt(squares / number)) if number else 0.0
    return Grade(result, noise_m, grade_sigma(noise_m, round(GRADE_WINDOW_M / GRADE_STEP_M) + 1, GRADE_STEP_M))


def _by_distance(along_m: FloatArray, elevation_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean elevation of every 5 m of way (a line where a bin is empty): standing still must not outweigh the rest."""
    bins = np.minimum((along_m / GRADE_STEP_M).astype(np.int64), max(int(along_m[-1] / GRADE_STEP_M) - 1, 0))
    count = np.bincount(bins)
    total = np.bincount(bins, weights=elevation_m)
    at = np.bincount(bins, weights=along_m)
    filled = count > 0
    marks = (np.arange(count.size, dtype=np.float64) + 0.5) * GRADE_STEP_M
    return marks, np.interp(marks, at[filled] / count[filled], total[filled] / count[filled])


def speed_along(path_m: FloatArray, step_s: float) -> FloatArray:
    """Speed on the grid from the way covered so far (NaN in holes): both neighbours where known, else the known one."""
    forward = np.full(path_m.size, np.nan)
    forward[:-1] = np.diff(path_m) / step_s
    backward = np.full(path_m.size, np.nan)
    backward[1:] = forward[:-1]
    both = 0.5 * (forward + backward)
    return np.where(np.isfinite(both), both, np.where(np.isfinite(forward), forward, backward))
