"""Brake power from engine speed and throttle.

Wide open, the bike file's curve gives it. At part throttle, the throttle and the engine are two resistances to the
charge in a row: share = u / (u + c (1 - u)) for an opening u of 0..1, where c rises with engine speed because a slow
engine is nearly satisfied by a small opening. Off the throttle the engine brakes. Form and figures are common
practice, no source; they are good to about 20 % of the power, which the terrain drag carries through.
"""

from __future__ import annotations

import numpy as np

from ridelog.constants import SEA_LEVEL_DENSITY_KG_PER_M3
from ridelog.results import FloatArray

RESTRICTION_AT_REST = 0.20
RESTRICTION_PER_SPEED = 0.30
"""c = 0.20 + 0.30 n / n_peak: at peak-power speed half the charge passes at a third of the opening."""

MOTORING_SHARE = 0.10
"""Torque an engine needs when turned with the throttle shut, over its greatest torque, at peak-power speed."""


def full_torque_nm(rpm: FloatArray, curve_rpm: tuple[float, ...], curve_kw: tuple[float, ...]) -> FloatArray:
    """Wide-open torque, Nm. Between the curve's points linear in torque; beyond its ends the end's torque, falling to
    nothing within 15 % over the last point."""
    points = np.asarray(curve_rpm, dtype=np.float64)
    torque = np.asarray(curve_kw, dtype=np.float64) * 1000.0 / (points * np.pi / 30.0)
    beyond = np.append(points, points[-1] * 1.15)
    return np.asarray(np.interp(rpm, beyond, np.append(torque, 0.0)), dtype=np.float64)


def charge_share(opening: FloatArray, rpm: FloatArray, peak_rpm: float) -> FloatArray:
    """Share of the wide-open charge at an opening of 0..1."""
    restriction = RESTRICTION_AT_REST + RESTRICTION_PER_SPEED * rpm / peak_rpm
    return np.asarray(opening / (opening + restriction * (1.0 - opening)), dtype=np.float64)


def brake_power_w(
    rpm: FloatArray,
    opening: FloatArray,
    curve_rpm: tuple[float, ...],
    curve_kw: tuple[float, ...],
    density_kg_per_m3: FloatArray | float = SEA_LEVEL_DENSITY_KG_PER_M3,
) -> FloatArray:
    """Power at the crank, W; negative where the engine brakes; NaN where rpm or throttle is not known.

    The charge scales with the air's density over the standard's at sea level; friction does not.
    """
    peak_rpm = curve_rpm[int(np.argmax(curve_kw))]
    greatest = float(np.max(full_torque_nm(np.asarray(curve_rpm, dtype=np.float64), curve_rpm, curve_kw)))
    share = charge_share(opening, rpm, peak_rpm)
    friction = MOTORING_SHARE * greatest * (0.5 + 0.5 * rpm / peak_rpm)
    charge = np.asarray(density_kg_per_m3) / SEA_LEVEL_DENSITY_KG_PER_M3
    torque = (full_torque_nm(rpm, curve_rpm, curve_kw) + friction) * share * charge - friction
    return np.where(rpm > 0.0, torque * rpm * np.pi / 30.0, np.where(np.isfinite(rpm), 0.0, np.nan))
