"""Air: standard atmosphere and density (ISO 2533, closed form of the lowest layer)."""

from __future__ import annotations

import math

R_AIR = 287.05287
G = 9.80665
P0 = 101_325.0
T0 = 288.15
LAPSE = 0.0065
"""Fall of air temperature with height, K/m."""


def pressure_pa(elevation_m: float) -> float:
    """Pressure of the standard atmosphere at a height (taken as geopotential), Pa."""
    return P0 * math.pow(1.0 - LAPSE * elevation_m / T0, 5.25588)


def density(elevation_m: float, air_c: float) -> float:
    """Density of dry air at the standard pressure of a height and a given temperature, kg/m3."""
    return pressure_pa(elevation_m) / (R_AIR * (air_c + 273.15))
