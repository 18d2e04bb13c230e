"""What each line of the worked example is called, and what it is worked out from (`report/heat_chain.py`)."""

from __future__ import annotations

COLUMNS = ("What", "Symbol", "Figure", "From")

# what a line gives

STEPS = "Steps of the stretch that are known"
POWER = "Mean power, for orientation"
SPEED = "Mean speed, for orientation"
AIR = "Air"
HEATING_AT_90 = "Heating with coolant at 90 °C"
HEATING_COLD = "Heating with coolant as cold as the air"
FALLS = "What it loses a degree above that"
SHED_STILL = "Shed without air"
OPENING = "Thermostat open at the settle temperature"
BYPASS = "What passes it closed"
SHED = "Shed in all"
CYCLES = "With the fan on it would settle lower, with it off higher: it cycles about"
SETTLES = "Settles at"

# what it is worked out from: symbols of the lines above, and columns of the exported steps

SETTLES_FROM = "Ta + q₀ / (G + k)"
AIR_SHARE = "g air"
AIR_SHARE_THERMOSTAT = "g air × (b + (1 − b) y)"
BYPASS_FROM = "bypass"


def shed_by_air(*, fan: bool) -> str:
    """The part that needs air, with the fan on or off."""
    return f"Shed by the air, fan {'on' if fan else 'off'}"


def steps_from(since: str, until: str) -> str:
    """Which steps count, by their times."""
    return f"{since} to {until}; columns known, running"


def mean_of(column: str) -> str:
    """A mean over these steps."""
    return f"mean of {column}"


def heating_cold_from(gas_c: float, reference_c: float) -> str:
    """Heating falls as the walls get hotter; `gas_c` where it would be none, `reference_c` where it is q."""
    return f"q × ({gas_c:g} − Ta) / {gas_c - reference_c:g}"


def falls_from(gas_c: float, reference_c: float) -> str:
    """By how much, for a degree."""
    return f"q / {gas_c - reference_c:g}"


def opening_from(span_c: float) -> str:
    """A thermostat that opens over `span_c`."""
    return f"(T − opens_c) / {span_c:g}, from 0 to 1"


def shed_from(air_share: str) -> str:
    """All that sheds heat."""
    return f"g still + {air_share}"


def cycles_from(half_hysteresis_c: float) -> str:
    """The middle between the fan's on and off."""
    return f"fan_on_c − {half_hysteresis_c:g}"
