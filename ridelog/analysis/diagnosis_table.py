"""The table of causes: families, what is thought of each before the ride, and what each would make of it.

Families are those of the public interface. Priors: nobody has published how often each cause is behind a hot ride, so
that faults are taken as equally likely, the healthy bike as likely as four of them, and two faults at once as one case
in ten. What a ride can't show (a fan that was never called) keeps a tenth of its prior: it is neither proved nor ruled
out. The figures of what causes do were learned on simulated rides (see `diagnosis_numbers`).
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from ridelog.analysis import diagnosis_numbers as numbers
from ridelog.analysis.diagnosis_counts import LeapRates, Rate
from ridelog.analysis.diagnosis_shift import Day, Direction, covariance_of, vector
from ridelog.analysis.diagnosis_spreads import DAY_SPREAD, SPREADS
from ridelog.analysis.thermal import NAMES

FAMILY: dict[str, str] = {
    "load_without_conservative_map": "asked_for",
    "terrain_load": "asked_for",
    "standstill_soak": "asked_for",
    "hot_conditions": "asked_for",
    "airflow_blocked": "air_side",
    "fan_fault": "air_side",
    "coolant_flow_low": "coolant_side",
    "thermostat_restricted": "coolant_side",
    "thermostat_stuck_open": "coolant_side",
    "air_in_system": "coolant_side",
    "cap_leaking": "coolant_side",
    "heat_input_high": "heat_made",
    "combustion_gas_in_coolant": "heat_made",
    "build_mismatch": "heat_made",
    "sensor_fault": "sensor",
    "normal": "healthy",
}
"""Cause -> family, in the order of the public interface."""

HEALTHY = "healthy"

PRIOR: dict[str, float] = {
    HEALTHY: 0.30,
    "airflow_blocked": 0.075,
    "fan_fault": 0.075,
    "coolant_flow_low": 0.075,
    "thermostat_restricted": 0.075,
    "thermostat_stuck_open": 0.075,
    "air_in_system": 0.05,
    "cap_leaking": 0.075,
    "heat_input_high": 0.075,
    "combustion_gas_in_coolant": 0.075,
    "build_mismatch": 0.075,
    "sensor_fault": 0.075,
}
PAIR_PRIOR = 0.01

UNSHOWN = 0.1
FAN_CALLED_S = 45.0
"""A fan that the coolant asked for less long than this was not put to the test."""

PAIRED = ("airflow_blocked", "fan_fault", "coolant_flow_low", "heat_input_high", "combustion_gas_in_coolant")
"""Causes that come two at a time: those that wear and dirt bring on."""

STATES: tuple[tuple[str, ...], ...] = (
    *((name,) for name in PRIOR if name != "sensor_fault"),
    *combinations(PAIRED, 2),
)
PAIR_SHARES = (0.7, 0.3)
"""Probabilities of causes sum to one, so that two causes at once share theirs, the likelier taking more. By how often
the causes said with a likelihood were right."""

SENSOR_STATE = {
    "sick": {"well": 0.04, "slight": 0.06, "clear": 0.90},
    "well": {"well": 0.975, "slight": 0.02, "clear": 0.005},
}
"""How often a sick and a healthy sensor look well, slightly and clearly troubled. Assumed; of the simulated sick
sensors all looked clearly troubled, of the healthy ones none."""

LOSS_NOTED = {
    HEALTHY: 0.02,
    "cap_leaking": 0.95,
    "combustion_gas_in_coolant": 0.30,
    "coolant_flow_low": 0.20,
    "air_in_system": 0.20,
}
LOSS_NOTED_WHEN_HOT = 0.08
"""How often a rider notes lost coolant; of a healthy bike more often after a hot ride. Assumed."""

FAN_LOG = {"off": (0.50, 0.06), "on": (0.45, 0.92)}
"""How often a fan's channel reads off all through the coolant's call, or reads on, with a fan that fails (a motor that
jams is logged as running all the same) and with one that works (the channel may show something else). Assumed."""

GRADUAL = {
    "airflow_blocked": 2.0,
    "coolant_flow_low": 2.0,
    "heat_input_high": 2.0,
    "fan_fault": 0.5,
    "thermostat_restricted": 0.5,
    "thermostat_stuck_open": 0.5,
    "combustion_gas_in_coolant": 0.7,
}
"""How much likelier a cause is behind a change that came little by little over several rides: dirt, bent fins, scale, a
worn pump, a clogging filter; parts that break or stick do so at once. Assumed."""

AFTER_WORK, WORK_DAYS = 3.0, 14
"""Air is that much likelier in a system that was opened within so many days. Assumed."""

WEIGHTS = {
    "prior": 1.0,
    "notes": 1.0,
    "drift": 1.0,
    "fan_log": 1.0,
    "shift": numbers.SHIFT_WEIGHT,
    "leaps": numbers.LEAPS_WEIGHT,
    "ways": numbers.WAYS_WEIGHT,
}
SHARPNESS = numbers.SHARPNESS

DAY_TO_DAY = Day(vector(numbers.DAY_MEAN), covariance_of(*DAY_SPREAD), vector(numbers.DAY_PER_10_C))
"""What differs between healthy rides of a bike as the balance sees them, besides what is known of the bike."""

_STILL = Direction(vector({}), np.zeros((len(NAMES), len(NAMES))))
_SHIFTS = {cause: Direction(vector(shift), covariance_of(*SPREADS[cause])) for cause, shift in numbers.SHIFTS.items()}
_SHIFTS["build_mismatch"] = _SHIFTS["heat_input_high"]

LEAPS: dict[str, LeapRates] = {
    cause: LeapRates(*(Rate(mean, shape) for mean, shape in rates)) for cause, rates in numbers.LEAP_RATES.items()
}
"""Leaps a minute: under load, without, and down."""

WAYS_OF: dict[str, tuple[tuple[float, ...], tuple[float, ...]]] = numbers.WAYS_OF

MAP_READINGS = ((0.0, 0.6), (0.5, 0.15), (1.0, 0.25))
"""Where the map is not logged: share of the heat made on the conservative one, and how likely. Assumed."""


def direction(state: tuple[str, ...]) -> Direction:
    """What a state does to the balance's parameters."""
    total = _STILL
    for cause in state:
        total = total.with_other(_SHIFTS.get(cause, _STILL))
    return total
