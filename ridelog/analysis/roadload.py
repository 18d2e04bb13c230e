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


def rolling_n(mass_kg: float, coefficient: float, grade: float = 0.0) -> float:
    """Rolling resistance, N."""
    return coefficient * mass_kg * GRAVITY_MPS2 / float(np.sqrt(1.0 + grade * grade))


def slope_n(mass_kg: float, grade: float) -> float:
    """Downhill pull of the weight, N; positive uphill."""
    return mass_kg * GRAVITY_MPS2 * float(slope_sine(np.asarray(grade, dtype=np.float64)))


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


def crank_power_w(force_n: float, speed_mps: float, driveline_efficiency: float) -> float:
    """Power at the crank for a force at the tyre, W."""
    return force_n * speed_mps / driveline_efficiency


def wheel_speed_mps(
    rpm: FloatArray | float, primary: float, gear: float, final: float, circumference_m: float
) -> FloatArray:
    """Speed at the tyre for an engine speed, m/s: plain geometry."""
    return np.asarray(rpm, dtype=np.float64) / 60.0 / (primary * gear * final) * circumference_m


def driving_slip(wheel_mps: FloatArray, ground_mps: FloatArray) -> FloatArray:
    """(wheel - ground) / wheel: 0 rolling freely, 1 spinning on the spot; NaN where the wheel stands.

    Not the slip ratio of SAE J670, (wheel - ground) / ground, which can pass 1: 30 over 24 m/s is 0.20 here, 0.25
    there.
    """
    wheel, ground = np.asarray(wheel_mps, dtype=np.float64), np.asarray(ground_mps, dtype=np.float64)
    turning = wheel > 0.5
    return np.where(turning, (wheel - ground) / np.where(turning, wheel, 1.0), np.nan)
