"""What it takes to move a bike: rolling, slope, air and inertia, as forces and powers.

F = Crr m g cos(th) + m g sin(th) + 0.5 rho CdA v² + gamma m a, any textbook of vehicle dynamics. A slope is given as
rise over run; the angle is its arc tangent, so that sin(th), not the slope, carries the weight.
"""

from __future__ import annotations

import numpy as np

from ridelog.constants import GRAVITY_MPS2
from ridelog.results import FloatArray

WHEEL_INERTIA_KGM2 = 1.10
"""Both wheels with tyres, about their axles. Assumed: ordinary enduro wheels, no published figure found."""

ENGINE_INERTIA_KGM2 = 0.004
"""Crank, flywheel and primary drive of a 300 cm³ single at crank speed. Assumed, no published figure found."""


def slope_sine(grade: FloatArray) -> FloatArray:
    """sin(arctan(rise over run))."""
    return np.asarray(grade / np.sqrt(1.0 + grade * grade), dtype=np.float64)


def air_n(density_kg_per_m3: FloatArray | float, drag_area_m2: float, air_speed_mps: FloatArray | float) -> FloatArray:
    """Air drag, N, at one speed or along a ride."""
    speed = np.asarray(air_speed_mps, dtype=np.float64)
    return np.asarray(0.5 * np.asarray(density_kg_per_m3) * drag_area_m2 * speed * np.abs(speed), dtype=np.float64)


def rotating_factor(
    mass_kg: float,
    rolling_radius_m: float,
    overall_ratio: FloatArray | float,
    wheel_inertia_kgm2: float = WHEEL_INERTIA_KGM2,
    engine_inertia_kgm2: float = ENGINE_INERTIA_KGM2,
) -> FloatArray:
    """gamma = 1 + (Iw + Ie G²) / (r² m): how much heavier a bike feels to accelerate in a gear of overall ratio G."""
    ratio = np.asarray(overall_ratio, dtype=np.float64)
    return np.asarray(
        1.0 + (wheel_inertia_kgm2 + engine_inertia_kgm2 * ratio * ratio) / (rolling_radius_m**2 * mass_kg),
        dtype=np.float64,
    )


def force_n(
    mass_kg: float,
    *,
    rolling: float,
    grade: FloatArray,
    rotating: float,
    acceleration_mps2: FloatArray,
    air: FloatArray,
) -> FloatArray:
    """Force at the tyre, N: rolling (on the weight across the slope), slope, inertia with rotating mass, and air."""
    sine = slope_sine(grade)
    weight = mass_kg * GRAVITY_MPS2
    cosine = np.sqrt(1.0 - sine * sine)
    return np.asarray(
        weight * (rolling * cosine + sine) + rotating * mass_kg * acceleration_mps2 + air, dtype=np.float64
    )


def driving_slip(wheel_mps: FloatArray, ground_mps: FloatArray) -> FloatArray:
    """(wheel - ground) / wheel: 0 rolling freely, 1 spinning on the spot; NaN where the wheel stands.

    Not the slip ratio of SAE J670, (wheel - ground) / ground, which can pass 1: 30 over 24 m/s is 0.20 here, 0.25
    there.
    """
    wheel, ground = np.asarray(wheel_mps, dtype=np.float64), np.asarray(ground_mps, dtype=np.float64)
    turning = wheel > 0.5
    return np.where(turning, (wheel - ground) / np.where(turning, wheel, 1.0), np.nan)
