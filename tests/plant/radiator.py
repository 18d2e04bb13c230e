"""The radiator: effectiveness of a cross-flow core from its two sides, and the air that passes it."""

from __future__ import annotations

import math

from plant.bikes import Machine

CP_AIR = 1007.0
CP_COOLANT = 3590.0  # 50 % glycol by volume near 95 C, from a fluid-property library's glycol fit
STILL_KG_S = 0.004
"""Flow by buoyancy alone with the pump at rest, kg/s (assumed)."""


def effectiveness(ntu: float, ratio: float) -> float:
    """Cross-flow, both streams unmixed, usual closed form (Incropera, from memory). `ratio` = smaller/larger rate."""
    if ntu <= 0.0:
        return 0.0
    if ratio < 1e-6:
        return 1.0 - math.exp(-ntu)
    return 1.0 - math.exp(math.pow(ntu, 0.22) / ratio * math.expm1(-ratio * math.pow(ntu, 0.78)))


def core_mps(m: Machine, airspeed: float, fan: bool, rise_k: float) -> float:
    """Air velocity in the core: ram air, fan and warm-air draught, added as pressures."""
    ram = m.face_ratio * airspeed
    draught2 = m.draught_mps**2 * max(rise_k, 0.0) / 70.0
    fan2 = m.fan_mps**2 if fan else 0.0
    return math.sqrt(ram * ram + draught2 + fan2)


def core_w_per_k(m: Machine, *, airspeed: float, flow: float, density: float, fan: bool, rise_k: float) -> float:
    """Heat given to the air per kelvin between coolant at the inlet and ambient air, W/K.

    `flow` in kg/s through the core, `density` in kg/m3. Warm air drawn in again at low speed lowers the difference.
    """
    velocity = core_mps(m, airspeed, fan, rise_k)
    if velocity <= 1e-6 or flow <= 0.0:
        return 0.0
    air = density * m.core_m2 * velocity * CP_AIR
    water = flow * CP_COOLANT
    outside = m.air_hA * math.pow(velocity * density / (3.0 * 1.15), m.air_exponent)
    # Flat tubes: laminar floor, turbulent 0.8 power above it, blended.
    turbulent = m.water_hA * math.pow(flow / 0.25, 0.8)
    laminar = 0.30 * m.water_hA
    inside = math.pow(turbulent**3 + laminar**3, 1.0 / 3.0)
    both = 1.0 / (1.0 / outside + 1.0 / inside)
    least, most = (air, water) if air < water else (water, air)
    again = m.recirculation * math.exp(-airspeed / 2.0)
    return effectiveness(both / least, least / most) * least * (1.0 - again)


def core_loss_still(m: Machine, *, airspeed: float, flow: float, density: float, rise_k: float) -> float:
    """Extra W/K that coolant standing in the core loses when hardly any passes (pump at rest)."""
    weight = math.exp(-flow / 0.012)
    if weight < 1e-4:
        return 0.0
    velocity = core_mps(m, airspeed, False, rise_k)
    return weight * 0.8 * density * m.core_m2 * velocity * CP_AIR
