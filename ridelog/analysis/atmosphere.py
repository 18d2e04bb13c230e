"""The standard atmosphere, air density, density altitude, and power correction.

Sources: ICAO standard atmosphere (Doc 7488) / ISO 2533 for the troposphere; SAE J1349 (1990 form) and ISO 1585 for the
power correction (both known here from transcriptions, the standards themselves were not read).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import overload

import numpy as np

from ridelog.constants import (
    EARTH_RADIUS_M,
    GAS_CONSTANT_DRY_AIR_J_PER_KG_K,
    LAPSE_RATE_K_PER_M,
    PRESSURE_EXPONENT,
    SEA_LEVEL_DENSITY_KG_PER_M3,
    SEA_LEVEL_PRESSURE_PA,
    SEA_LEVEL_TEMPERATURE_K,
    ZERO_CELSIUS_K,
)
from ridelog.results import FloatArray

GAS_CONSTANT_VAPOUR_J_PER_KG_K = 461.523
"""Specific gas constant of water vapour, J/(kg K)."""

TROPOSPHERE_TOP_M = 11_000.0


@overload
def standard_temperature_k(elevation_m: float) -> float: ...
@overload
def standard_temperature_k(elevation_m: FloatArray) -> FloatArray: ...
def standard_temperature_k(elevation_m: float | FloatArray) -> float | FloatArray:
    """Standard air temperature, K, at a height above sea level (geometric m, -2,000 to 11,000; NaN beyond)."""
    geopotential_m = EARTH_RADIUS_M * elevation_m / (EARTH_RADIUS_M + elevation_m)
    temperature = SEA_LEVEL_TEMPERATURE_K - LAPSE_RATE_K_PER_M * geopotential_m
    inside = (np.asarray(geopotential_m) >= -2_000.0) & (np.asarray(geopotential_m) <= TROPOSPHERE_TOP_M)
    result = np.where(inside, temperature, np.nan)
    return float(result) if np.ndim(elevation_m) == 0 else result


@overload
def standard_pressure_pa(elevation_m: float) -> float: ...
@overload
def standard_pressure_pa(elevation_m: FloatArray) -> FloatArray: ...
def standard_pressure_pa(elevation_m: float | FloatArray) -> float | FloatArray:
    """Standard air pressure, Pa, at a height above sea level (geometric m; see `standard_temperature_k`)."""
    ratio = np.asarray(standard_temperature_k(elevation_m)) / SEA_LEVEL_TEMPERATURE_K
    result = SEA_LEVEL_PRESSURE_PA * ratio**PRESSURE_EXPONENT
    return float(result) if np.ndim(elevation_m) == 0 else np.asarray(result, dtype=np.float64)


@overload
def air_density(pressure_pa: float, temperature_c: float, vapour_pa: float = 0.0) -> float: ...
@overload
def air_density(pressure_pa: FloatArray, temperature_c: FloatArray | float, vapour_pa: float = 0.0) -> FloatArray: ...
@overload
def air_density(pressure_pa: float, temperature_c: FloatArray, vapour_pa: float = 0.0) -> FloatArray: ...
def air_density(
    pressure_pa: float | FloatArray, temperature_c: float | FloatArray, vapour_pa: float = 0.0
) -> float | FloatArray:
    """Density of (moist) air, kg/m³: dry part and vapour part as ideal gases."""
    kelvin = temperature_c + ZERO_CELSIUS_K
    dry = (pressure_pa - vapour_pa) / (GAS_CONSTANT_DRY_AIR_J_PER_KG_K * kelvin)
    return dry + vapour_pa / (GAS_CONSTANT_VAPOUR_J_PER_KG_K * kelvin)


def density_altitude_m(density_kg_per_m3: float) -> float:
    """Height (geopotential m) at which the standard atmosphere has this density."""
    exponent = 1.0 / (PRESSURE_EXPONENT - 1.0)
    return (SEA_LEVEL_TEMPERATURE_K / LAPSE_RATE_K_PER_M) * (
        1.0 - float((density_kg_per_m3 / SEA_LEVEL_DENSITY_KG_PER_M3) ** exponent)
    )


@dataclass(frozen=True)
class Correction:
    """Factor on observed power that gives reference power; `in_range` is false where the standard does not cover it.

    Both standards were written for four-strokes; two-stroke use is an assumption.
    """

    factor: float
    in_range: bool

    @property
    def power_share(self) -> float:
        """Share of the power in reference air (99 kPa dry, 25 C) that this air leaves."""
        return 1.0 / self.factor


_VALID = (0.93, 1.07)
"""Range of the factor both are meant for: from memory, not read in the standards."""


def _dry_kpa(pressure_kpa: float, vapour_kpa: float) -> float:
    if not 0.0 <= vapour_kpa < pressure_kpa:
        raise ValueError(f"vapour pressure {vapour_kpa} kPa does not fit an air pressure of {pressure_kpa} kPa")
    return pressure_kpa - vapour_kpa


def correction_j1349(pressure_kpa: float, vapour_kpa: float, inlet_c: float) -> Correction:
    """SAE J1349 (1990 form): 1.180 (99/dry) sqrt(T/298) - 0.18. Takes barometer and vapour apart: the form wants dry
    air."""
    dry = _dry_kpa(pressure_kpa, vapour_kpa)
    factor = 1.180 * (99.0 / dry) * ((inlet_c + 273.0) / 298.0) ** 0.5 - 0.18
    return Correction(factor, _VALID[0] <= factor <= _VALID[1])


def correction_iso1585(pressure_kpa: float, vapour_kpa: float, inlet_c: float) -> Correction:
    """ISO 1585, spark ignition: (99/dry)^1.2 (T/298)^0.6. Formula and range from memory."""
    dry = _dry_kpa(pressure_kpa, vapour_kpa)
    factor = (99.0 / dry) ** 1.2 * ((inlet_c + 273.0) / 298.0) ** 0.6
    return Correction(factor, _VALID[0] <= factor <= _VALID[1])
