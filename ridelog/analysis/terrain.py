"""How hard the ground holds the bike back: terrain drag over weight.

What the engine gives at the tyre, less what inertia, slope and air take, over m g v. Soft ground and a spinning tyre
both count: what the tyre wastes has to be made by the engine too. Bursts of throttle, a rider's way over sand, are
averaged over the same window as the acceleration, so that engine and motion are compared over the same two seconds.
"""

from __future__ import annotations

import numpy as np

from ridelog.analysis.filters import block_mean, long_runs, matched_mean, moving_mean, moving_median, near, odd
from ridelog.analysis.roadload import air_n, slope_sine
from ridelog.analysis.shapes import BLOCK_S, MASS_TOLERANCE, MEDIAN_S, POWER_TOLERANCE, Terrain
from ridelog.constants import GRAVITY_MPS2
from ridelog.results import BoolArray, FloatArray

SLOWEST_MPS = 2.0
"""Walking pace. Below it the clutch is slipped and a small error in speed is a large one in drag."""

SHUT_OPENING = 0.04
SHUT_S = 1.2
"""A throttle shut for longer than this is coasting or braking, which look alike; shorter ones are part of riding
sand."""

_LEAST_KNOWN = 6
"""Known seconds that the median needs."""


def driven(speed_mps: FloatArray, opening: FloatArray, clutch_home: BoolArray, step_s: float, window: int) -> BoolArray:
    """Where drag is defined: above walking pace, clutch home, not coasting or braking, with the filter's reach around
    it."""
    with np.errstate(invalid="ignore"):
        shut = long_runs(opening < SHUT_OPENING, round(SHUT_S / step_s))
        fast = speed_mps >= SLOWEST_MPS
    margin = window // 4  # half the weight of the filter lies within a quarter of its window
    return np.asarray(fast & clutch_home & ~near(shut, margin) & np.isfinite(opening), dtype=np.bool_)


def terrain(
    *,
    power_w: FloatArray,
    speed_mps: FloatArray,
    acceleration_mps2: FloatArray,
    grade: FloatArray,
    density_kg_per_m3: FloatArray | float,
    where: BoolArray,
    rotating_factor: FloatArray,
    mass_kg: float,
    drag_area_m2: float,
    efficiency: float,
    peak_power_w: float,
    step_s: float,
    window: int,
) -> Terrain:
    """Terrain drag from power and motion on the grid. Unknown grade counts as level; that is the caller's to say."""
    at_tyre = matched_mean(np.where(power_w > 0.0, power_w * efficiency, power_w / efficiency), window)
    weight_power = mass_kg * GRAVITY_MPS2 * np.where(where, speed_mps, np.nan)
    air = air_n(density_kg_per_m3, drag_area_m2, speed_mps) * speed_mps
    # Inertia and slope scale with mass as weight does: over weight they are the same for a light and a heavy bike.
    carried = rotating_factor * acceleration_mps2 / GRAVITY_MPS2 + slope_sine(np.nan_to_num(grade))
    size = round(BLOCK_S / step_s)

    def drag(power_factor: float, mass_factor: float) -> FloatArray:
        value = (power_factor * at_tyre - air) / (mass_factor * weight_power) - carried
        return block_mean(value, size, (size + 1) // 2)

    raw = drag(1.0, 1.0)
    window_blocks = odd(MEDIAN_S / BLOCK_S)
    share = block_mean(power_w, size, 1) / peak_power_w
    return Terrain(
        t_s=np.arange(raw.size, dtype=np.float64) * BLOCK_S,
        raw=raw,
        low=drag(1.0 - POWER_TOLERANCE, 1.0 + MASS_TOLERANCE),
        high=drag(1.0 + POWER_TOLERANCE, 1.0 - MASS_TOLERANCE),
        smooth=moving_median(raw, window_blocks, _LEAST_KNOWN),
        power_share=moving_mean(share, window_blocks),
    )
