"""Physical constants, each with its source. Derived values are computed here, never retyped."""

from __future__ import annotations

GRAVITY_MPS2 = 9.80665
"""Standard gravity, m/s². Exact by definition (3rd General Conference on Weights and Measures, 1901)."""

ZERO_CELSIUS_K = 273.15
"""0 °C in kelvin. Exact by definition of the Celsius scale."""

GAS_CONSTANT_DRY_AIR_J_PER_KG_K = 287.05287
"""Specific gas constant of dry air, J/(kg K). ICAO standard atmosphere (Doc 7488), ISO 2533."""

SEA_LEVEL_TEMPERATURE_K = 288.15
"""ICAO standard atmosphere, sea level."""

SEA_LEVEL_PRESSURE_PA = 101_325.0
"""ICAO standard atmosphere, sea level. Exact by definition."""

LAPSE_RATE_K_PER_M = 0.0065
"""ICAO standard atmosphere, troposphere, per geopotential metre."""

EARTH_RADIUS_M = 6_356_766.0
"""Nominal radius that ties geometric to geopotential height in the ICAO standard atmosphere."""

PRESSURE_EXPONENT = GRAVITY_MPS2 / (GAS_CONSTANT_DRY_AIR_J_PER_KG_K * LAPSE_RATE_K_PER_M)
"""g0 / (R L) = 5.25588."""

SEA_LEVEL_DENSITY_KG_PER_M3 = SEA_LEVEL_PRESSURE_PA / (GAS_CONSTANT_DRY_AIR_J_PER_KG_K * SEA_LEVEL_TEMPERATURE_K)
"""1.225 kg/m³."""

ASSUMED_CAPACITY_KJ_PER_K = 8.0
ASSUMED_CAPACITY_LOW_KJ_PER_K, ASSUMED_CAPACITY_HIGH_KJ_PER_K = 6.0, 10.0
"""Heat capacity of coolant and the metal it keeps warm, assumed where the heat balance is shown in kW: a log tells only
heat over capacity. About 1.2 to 1.5 kg of coolant at 3.5 kJ/(kg K) and 2 to 5 kg of aluminium at 0.9 kJ/(kg K) make 6
to 10. Common practice for the masses, no source."""
