"""The canonical channels: one name, one unit, one meaning each.

Every other file takes names, units and plausible ranges from `CHANNELS`. A channel's `low` and `high` bound what the
quantity can be on a two-stroke enduro bike (or the car logs used as open test data); a value outside is reported as a
quality mark, never silently dropped. `max_rate_per_s` bounds how fast it can change.
Ranges and rates are common practice without a published source unless the line says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["continuous", "state", "time"]


@dataclass(frozen=True)
class Channel:
    """One canonical channel. `low`..`high` and `max_rate_per_s` are in `unit` (per second)."""

    name: str
    unit: str
    meaning: str
    kind: Kind
    low: float
    high: float
    max_rate_per_s: float | None = None


_TABLE = (
    # Boiled-dry engines still read under 160 C; an open sensor circuit reads -40 C, where nobody rides.
    Channel("coolant_c", "C", "coolant temperature", "continuous", -39.0, 160.0, 15.0),
    # Small two-strokes end near 12,000 1/min; the ceiling leaves room for smaller engines.
    Channel("engine_rpm", "1/min", "engine speed", "continuous", 0.0, 16_000.0, 40_000.0),
    Channel("throttle_pct", "%", "throttle opening, as logged", "continuous", -5.0, 105.0, None),
    Channel("gps_speed_mps", "m/s", "ground speed from the satellite receiver", "continuous", 0.0, 70.0, 25.0),
    Channel("wheel_speed_mps", "m/s", "speed from a wheel or the gearbox", "continuous", 0.0, 90.0, 60.0),
    Channel("lat_deg", "deg", "latitude, WGS 84", "continuous", -90.0, 90.0, None),
    Channel("lon_deg", "deg", "longitude, WGS 84", "continuous", -180.0, 180.0, None),
    Channel("elevation_m", "m", "height above mean sea level", "continuous", -430.0, 6_000.0, 60.0),
    Channel("gps_fix", "1", "satellite fix quality (0 none)", "state", 0.0, 9.0, None),
    Channel("gps_hdop", "1", "horizontal dilution of precision", "continuous", 0.0, 100.0, None),
    Channel("gps_satellites", "1", "satellites used", "state", 0.0, 80.0, None),
    Channel("map_slot", "1", "running map in use, slot number as the bike file names it", "state", 0.0, 15.0, None),
    Channel("gear", "1", "gear engaged (0 neutral)", "state", 0.0, 8.0, None),
    Channel("ambient_c", "C", "air temperature away from the engine", "continuous", -40.0, 60.0, 2.0),
    Channel("intake_air_c", "C", "intake air temperature", "continuous", -40.0, 120.0, 10.0),
    Channel("exhaust_gas_c", "C", "exhaust gas temperature", "continuous", -40.0, 1_100.0, None),
    Channel("head_c", "C", "cylinder head temperature", "continuous", -40.0, 350.0, None),
    Channel("detonation_count", "1", "detonation events or level, as logged", "continuous", 0.0, 1e6, None),
    Channel("ignition_deg", "deg", "ignition advance before top dead centre", "continuous", -64.0, 64.0, None),
    Channel("injector_ms", "ms", "injector opening time", "continuous", 0.0, 50.0, None),
    Channel("lambda", "1", "air-fuel ratio over stoichiometric", "continuous", 0.4, 2.5, None),
    Channel("fuel_kpa", "kPa", "fuel pressure, gauge", "continuous", 0.0, 1_000.0, None),
    Channel("battery_v", "V", "battery voltage", "continuous", 0.0, 20.0, None),
    Channel("fan_on", "1", "radiator fan running (0 or 1)", "state", 0.0, 1.0, None),
    Channel("baro_kpa", "kPa", "barometric pressure, absolute", "continuous", 45.0, 110.0, None),
    Channel("time_utc", "UTC", "time of day, UTC", "time", 0.0, 0.0, None),
)

CHANNELS: dict[str, Channel] = {channel.name: channel for channel in _TABLE}
"""Canonical name -> channel, in the order they are shown."""

TIME = "t_s"
"""Seconds from the ride's first sample: the key column of every ride."""

RAW_PREFIX = "raw."
"""Columns that no name table recognises are kept under `raw.<original name>`."""


def base_name(column: str) -> str:
    """`coolant_c.2` -> `coolant_c`; a second sensor of a kind shares its channel's unit and range."""
    return column.partition(".")[0] if not column.startswith(RAW_PREFIX) else column


def is_canonical(column: str) -> bool:
    """True for a channel of the table, including second sensors of a kind."""
    return base_name(column) in CHANNELS


def unit_of(column: str) -> str:
    """Unit of a column of the normalized file; '' for raw columns, whose unit is as it came."""
    if column == TIME:
        return "s"
    channel = CHANNELS.get(base_name(column))
    return channel.unit if channel else ""
