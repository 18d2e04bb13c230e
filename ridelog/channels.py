"""The canonical channels: one name, one unit, one meaning each.

Every other file takes names, units and plausible ranges from `CHANNELS`. A channel's `low` and `high` bound what the
quantity can be on a two-stroke enduro bike (or the car logs used as open test data); a value outside is reported as a
quality mark, never silently dropped. `max_rate_per_s` bounds how fast it can change.
Ranges and rates are common practice without a published source unless the line says otherwise. Below the table stand
the bounds of the quality rules, one small table a rule.
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


# -- Bounds of the quality rules -------------------------------------------------------------------------------------
# One table a rule. All are common practice without a published source unless the line says otherwise. They are set so
# that a healthy log gives no mark: a rule that is not sure says nothing, or says that it can't tell.


@dataclass(frozen=True)
class SentinelLimits:
    """Numbers that stand for "no value" (quality/sentinel.py)."""

    temperatures_c: tuple[float, ...] = (
        *(-40.0, 215.0),  # all bits clear or set in a byte scaled with an offset of 40 (SAE J1979 scaling)
        *(127.0, 128.0, 255.0, 327.67, 3276.7),  # the largest byte or word, signed or not: whole, tenths, hundredths
        *(0.0, -1.0, 140.0, 150.0, 999.0, -273.15),  # habits of those who write loggers
    )
    others: tuple[tuple[str, tuple[float, ...]], ...] = (
        ("engine_rpm", (16_383.75, 65_535.0, 9_999.0)),
        ("throttle_pct", (127.5, 127.0, -1.0, 255.0, 102.3)),
        ("gps_speed_mps", (255.0 / 3.6, 999.0 / 3.6)),
        ("wheel_speed_mps", (255.0 / 3.6, 999.0 / 3.6)),
        ("gear", (255.0, 15.0, -1.0)),
        ("battery_v", (0.0, 25.5, 65.535)),
        ("elevation_m", (-9_999.0, 9_999.0, 32_767.0)),
    )
    # A temperature that comes or goes by more than this between two samples did not pass the values in between.
    jump_c: float = 20.0
    # The same for other quantities, as a share of the channel's low..high.
    jump_share: float = 0.1


@dataclass(frozen=True)
class JumpLimits:
    """Spikes and steps faster than `max_rate_per_s` (quality/jumps.py)."""

    # Samples (updates of a held sensor) a spike may last; longer ones are steps. Ignition noise lasts one or two.
    longest_spike: int = 3
    # Changes within less are judged as if they took this long: an engine at idle turns once in 0.05 s, and what a
    # sensor says in between is how it counts, not what happens.
    finest_s: float = 0.05
    # More fast changes than 200 and one sample in twenty are no spikes on a signal: there is no signal.
    most_jumps: int = 200
    noise_share: float = 0.05
    # A spike is further from the median of its neighbours than five times their spread (1.4826 x the median deviation),
    # the spread never taken smaller than half a step of the sensor: on a flat trace the median deviation is 0.
    half_window: int = 5
    hampel_sigmas: float = 5.0


@dataclass(frozen=True)
class StuckLimits:
    """A coolant trace that does not move (quality/stuck.py)."""

    # A thermostat can hold a whole-degree trace for four minutes (seen on open car logs), so ten are asked for; a
    # sensor that shows tenths never stays equal for five.
    shortest_s: float = 600.0
    shortest_fine_s: float = 300.0
    fine_c: float = 0.3
    # The load varied where the middle 80 % of engine speed, or else of ground speed, span more than this.
    worked_rpm: float = 1_000.0
    worked_mps: float = 5.0


@dataclass(frozen=True)
class SubstituteLimits:
    """A coolant curve that a control unit invents while its sensor is lost (quality/substitute.py)."""

    # Caps are round numbers, of C or of F, where an engine at work would be.
    round_c: float = 5.0
    round_f: float = 10.0
    lowest_cap_c: float = 60.0
    highest_cap_c: float = 120.0
    # Half of what a stuck sensor is asked for: the invented rise before it is evidence of its own. Open car logs never
    # stay equal for more than four minutes.
    plateau_s: float = 300.0
    plateau_fine_s: float = 150.0
    # A rise long and high enough to show its shape: real warm-ups waver by degrees with load, stops and thermostat.
    rise_s: float = 60.0
    rise_c: float = 15.0
    # Spread about the best curve a + b exp(-k t). Rounding alone gives 0.29 of a step.
    spread_steps: float = 0.4
    spread_c: float = 0.08


@dataclass(frozen=True)
class DropoutLimits:
    """Silence of one channel (quality/dropout.py): longer than both."""

    shortest_s: float = 5.0
    shortest_periods: float = 10.0


@dataclass(frozen=True)
class IgnitionLimits:
    """False engine speed out of noise or lost pulses (quality/ignition.py)."""

    # Doubled (noise counted as a pulse) or halved (every other pulse lost), against the readings on both sides.
    doubled: tuple[float, float] = (1.9, 2.1)
    halved: tuple[float, float] = (0.475, 0.525)
    # ... which must agree: the engine itself did nothing.
    sides_agree: float = 0.12
    lowest_rpm: float = 1_000.0
    # Out and back within this; a clutch pulled and let go takes longer.
    longest_s: float = 0.6
    # A small engine running free gains up to 25,000 1/min a second; nothing but a clutch slows one by over 15,000.
    rise_per_s: float = 25_000.0
    fall_per_s: float = 15_000.0
    # Spikes of unrelated channels this close are one disturbance; three such moments are no chance.
    together_s: float = 0.15
    together_least: int = 3


@dataclass(frozen=True)
class PulseLimits:
    """Engine speed twice or half all along (quality/pulses.py)."""

    # Two minutes of steady riding show which gears were used.
    least_s: int = 120
    # Steady: the ratio of engine speed to speed changes by under 4 % from second to second.
    steady: float = 0.04
    slowest_mps: float = 3.0
    lowest_rpm: float = 1_000.0
    # Neighbouring gears are 15 to 30 % apart, so 5 % is on a gear; a slipping tyre takes a few percent of it.
    near: float = 0.05
    # Half of the steady riding must fit, and half as much again as fits without a factor, all gears slid by what other
    # sprockets or a worn tyre may do: some gears lie near another one's double.
    share: float = 0.5
    slide: float = 0.25
    times: float = 1.5


@dataclass(frozen=True)
class GpsLimits:
    """False satellite speed and position (quality/gps_*.py, quality/position.py)."""

    # A hundred metres around latitude 0, longitude 0, all of it open sea.
    null_island_deg: float = 0.001
    # Dilution of 20 and more: receivers' handbooks call such fixes worthless.
    useless_hdop: float = 20.0
    # Tyres grip at about 1 g; a fifth more, and what a receiver's speed is off by, are granted.
    grip_mps2: float = 12.0
    noise_mps: float = 1.5
    finest_s: float = 0.2
    # Up and down again by more than grip: longer excursions may be real riding after a bad start.
    longest_s: float = 30.0
    returned_share: float = 0.3
    # A speed of exactly 0 for this long, then riding from one reading to the next: the 0 was no measurement.
    zero_s: float = 5.0
    zero_mps: float = 0.3
    # Speed against the way between positions over 4 s, for 5 s at least. A receiver that lags by 2 s stays within it.
    window_s: int = 4
    disagree_s: int = 5
    fast_mps: float = 4.0
    standing_share: float = 0.25
    rolling_mps: float = 3.0
    # Positions that wander while standing rarely cover 50 m and never straight.
    ridden_m: float = 50.0
    straight: float = 0.7
    # Positions of a receiver at work are renewed every second or so; slower ones are left alone.
    slowest_period_s: float = 1.5
    # More leaps or disagreements than this are no list to read: one mark then speaks of all.
    most: int = 200
    # A leap of the position: further than a receiver wanders, plus what the fastest vehicle covers meanwhile.
    leap_m: float = 25.0
    leap_mps: float = 100.0
    # A speed that stays exactly equal for this long beside positions that do: the receiver stopped.
    frozen_s: int = 10
    # The wheel's word on it.
    wheel_rolls_mps: float = 2.0
    wheel_stands_mps: float = 0.5


@dataclass(frozen=True)
class ThrottleZeroLimits:
    """A closed stop that moves within a ride (quality/throttle_zero.py)."""

    # A rider shuts the throttle for three seconds in every two minutes; the stop is where readings then pile up.
    block_s: int = 120
    pile_s: int = 3
    pile_pct: float = 0.5
    # A stop repeats within 1.5 points; a shift of 4 is felt in every figure that rests on openings. Idle control of
    # open car logs moves it by less.
    same_pct: float = 1.5
    shift_pct: float = 4.0
    least_blocks: int = 3
    # Above this a pile is a grip held still, not a stop.
    highest_stop_pct: float = 40.0
    # At rest: standing, or an engine this slow.
    standing_mps: float = 0.5
    idle_rpm: tuple[float, float] = (300.0, 2_500.0)
    # ... or slowing by more than rolling and air take: the grip is shut.
    slowing_mps2: float = 1.0


@dataclass(frozen=True)
class AmbientLimits:
    """An air sensor that the engine or the sun heats (quality/ambient.py)."""

    # The engine's own swing must be large enough to follow, and the air's answer larger than weather within a ride.
    coolant_span_c: float = 15.0
    follow_span_c: float = 6.0
    follow_r: float = 0.9
    lags_s: tuple[int, ...] = (0, 30, 60, 120, 240)
    least_s: float = 300.0
    # The first minute of a cold start is still the air: engine and air within 5 C.
    start_s: float = 60.0
    cold_start_c: float = 5.0
    # A standstill long enough to heat a sensor by more than a cloud does, and how long it then takes to cool.
    stop_s: float = 60.0
    stop_rise_c: float = 3.0
    recovered_c: float = 1.0
    recovery_s: float = 600.0


@dataclass(frozen=True)
class TransportLimits:
    """Road speed with the engine off (quality/transport.py)."""

    # Two minutes at 8 m/s on average: a stalled engine coasts for seconds, a mountain lasts longer but falls.
    shortest_s: float = 120.0
    mean_mps: float = 8.0
    rolling_mps: float = 3.0
    # Lights and jams on the way do not end a transport.
    pause_s: float = 180.0
    # Steeper than this on average, the bike may have rolled down by itself; where no height is logged, five minutes
    # are longer than it would roll.
    coasting_grade: float = -0.03
    no_height_s: float = 300.0
    # A throttle that moves or a coolant that warms says that the engine ran and its speed was not logged.
    throttle_moves_pct: float = 20.0
    coolant_rise_c: float = 8.0


@dataclass(frozen=True)
class PairLimits:
    """Two coolant sensors (quality/coolant_pair.py)."""

    # Two good sensors, each within 2 C, differ by up to 3 C; inlet and outlet of a radiator by more under load.
    offset_c: float = 3.0
    spread_c: float = 6.0
    drift_c: float = 3.0
    least_s: float = 120.0
    # One stands exactly still while the other goes this far. Ahead of a thermostat four minutes are real (open car
    # logs) while the radiator's outlet swings, so five are asked for.
    frozen_s: float = 300.0
    other_moves_c: float = 10.0
    # After a night both read the air: one that does vouches for the air, one further off is wrong.
    cold_c: float = 40.0
    near_air_c: float = 3.0
    far_from_air_c: float = 8.0
    # One jumps about, the other does not.
    jumps_least: int = 5
    jumps_times: int = 5


SENTINEL = SentinelLimits()
JUMP = JumpLimits()
STUCK = StuckLimits()
SUBSTITUTE = SubstituteLimits()
DROPOUT = DropoutLimits()
IGNITION = IgnitionLimits()
PULSES = PulseLimits()
GPS = GpsLimits()
THROTTLE_ZERO = ThrottleZeroLimits()
AMBIENT = AmbientLimits()
TRANSPORT = TransportLimits()
PAIR = PairLimits()
