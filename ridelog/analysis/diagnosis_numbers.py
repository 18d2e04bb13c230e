"""What causes do to the heat balance and to the coolant's trace: figures learned on simulated rides.

Learned on 576 simulated cases (four invented bikes, 48 machines, five healthy rides each) of an independent simulator,
machines that no test is scored on; see the tests. Shifts: by greatest chance of the cases of each cause, in the measure
of the balance's parameters, as mean shift of an ordinary strength, spread of that strength, and share of OWN_SD that
each parameter spreads by itself. Leaps: negative binomial rates, (mean a minute, shape) under load, without, and down.
Ways: mean and spread by cause. Weights and sharpness: by greatest chance of the right cause with every third of the
machines left out of learning in turn.

They are figures of a simulator. Real bikes differ more; the spread between healthy rides is not taken below what is
assumed for weather, wind and fuel.
"""

from __future__ import annotations

DAY_TO_DAY_MEAN: dict[str, float] = {
    "heat": 0.016,
    "still": -0.13,
    "fan": 1.388,
    "flow": -0.017,
    "core_mps": 0.078,
    "exponent": 0.02,
    "pace": -0.042,
    "idle_kw": -0.049,
    "lag_s": -0.041,
    "kappa": -0.004,
    "closed": -0.015,
    "bypass": -0.054,
    "opens_c": -0.325,
    "ambient_c": -0.078,
}
"""Healthy rides beside what others of the bike tell: a fit from the bike's prior against fits from the default one."""

DAY_TO_DAY_SD: dict[str, float] = {
    "heat": 0.044,
    "still": 0.112,
    "fan": 1.01,
    "flow": 0.04,
    "core_mps": 0.043,
    "exponent": 0.02,
    "pace": 0.033,
    "idle_kw": 0.052,
    "lag_s": 0.048,
    "kappa": 0.02,
    "closed": 0.021,
    "bypass": 0.052,
    "opens_c": 0.65,
    "ambient_c": 0.101,
}

OWN_SD: dict[str, float] = {
    "heat": 0.03,
    "still": 0.1,
    "fan": 1.0,
    "flow": 0.03,
    "core_mps": 0.03,
    "exponent": 0.01,
    "pace": 0.03,
    "idle_kw": 0.03,
    "lag_s": 0.04,
    "kappa": 0.01,
    "closed": 0.03,
    "bypass": 0.1,
    "opens_c": 0.6,
    "ambient_c": 0.02,
}
"""Spread of each parameter by itself where a cause is at work. Assumed."""

SHIFTS: dict[str, tuple[dict[str, float], float, float]] = {
    "airflow_blocked": (
        {
            "heat": -0.051,
            "still": -0.063,
            "fan": -0.213,
            "flow": -0.37,
            "core_mps": -0.014,
            "pace": -0.064,
            "idle_kw": 0.028,
            "lag_s": 0.019,
            "closed": -0.017,
            "bypass": -0.071,
            "opens_c": -2.741,
        },
        0.44,
        0.71,
    ),
    "coolant_flow_low": (
        {
            "still": 0.055,
            "fan": -0.829,
            "flow": -0.107,
            "core_mps": -0.328,
            "pace": -0.047,
            "idle_kw": -0.113,
            "lag_s": 0.133,
            "closed": -0.019,
            "bypass": -0.351,
            "opens_c": -0.018,
        },
        0.27,
        0.7,
    ),
    "heat_input_high": (
        {
            "heat": 0.136,
            "still": 0.122,
            "fan": -0.907,
            "flow": -0.006,
            "core_mps": -0.037,
            "pace": -0.054,
            "idle_kw": -0.03,
            "closed": 0.014,
            "bypass": -0.011,
            "opens_c": 0.412,
        },
        0.26,
        0.6,
    ),
    "fan_fault": (
        {
            "heat": 0.026,
            "still": -0.391,
            "fan": -13.004,
            "flow": 0.005,
            "core_mps": 0.016,
            "pace": -0.037,
            "idle_kw": -0.187,
            "closed": -0.037,
            "bypass": -0.012,
            "opens_c": -1.515,
        },
        0.2,
        0.52,
    ),
    "thermostat_restricted": (
        {
            "heat": 0.194,
            "still": 0.791,
            "fan": -6.617,
            "flow": -0.211,
            "core_mps": -1.066,
            "pace": -0.117,
            "idle_kw": -0.179,
            "lag_s": -0.387,
            "closed": 0.361,
            "bypass": 0.349,
            "opens_c": -2.181,
        },
        0.17,
        2.68,
    ),
    "thermostat_stuck_open": (
        {
            "heat": 0.015,
            "still": -0.228,
            "fan": 0.423,
            "flow": 0.04,
            "core_mps": 0.073,
            "pace": -0.01,
            "idle_kw": -0.139,
            "lag_s": 0.028,
            "closed": 0.343,
            "bypass": 0.995,
            "opens_c": -8.35,
        },
        0.45,
        1.83,
    ),
    "air_in_system": (
        {
            "heat": -0.025,
            "still": 0.064,
            "fan": -5.101,
            "flow": 0.016,
            "core_mps": -0.139,
            "pace": -0.078,
            "idle_kw": -0.029,
            "lag_s": -0.021,
            "closed": 0.03,
            "bypass": 0.172,
            "opens_c": 0.041,
        },
        0.83,
        0.6,
    ),
    "combustion_gas_in_coolant": (
        {
            "heat": -0.005,
            "still": 0.054,
            "fan": -1.392,
            "flow": -0.006,
            "core_mps": -0.151,
            "pace": -0.039,
            "idle_kw": -0.077,
            "lag_s": -0.096,
            "closed": 0.009,
            "bypass": -0.128,
            "opens_c": 0.109,
        },
        0.33,
        0.58,
    ),
}

LEAP_RATES: dict[str, tuple[tuple[float, float], tuple[float, float], tuple[float, float]]] = {
    "healthy": ((0.0364, 0.95), (0.0019, 1.28), (0.0128, 0.5)),
    "combustion_gas_in_coolant": ((0.5526, 5.68), (0.034, 1.1), (0.0196, 1.17)),
    "air_in_system": ((0.5728, 4.78), (0.4363, 1.03), (0.5094, 5.04)),
}

WAYS_OF: dict[str, tuple[tuple[float, ...], tuple[float, ...]]] = {
    "healthy": ((0.059, -0.022, 0.034, 0.043, 0.096), (0.083, 0.041, 0.048, 0.074, 0.155)),
    "airflow_blocked": ((0.094, 0.01, 0.041, 0.004, 0.002), (0.106, 0.117, 0.076, 0.088, 0.213)),
    "coolant_flow_low": ((0.046, -0.03, 0.024, 0.051, 0.043), (0.101, 0.046, 0.054, 0.084, 0.14)),
    "heat_input_high": ((0.049, -0.02, 0.031, 0.03, 0.039), (0.098, 0.049, 0.071, 0.081, 0.115)),
    "fan_fault": ((0.039, -0.037, 0.026, 0.023, 0.037), (0.077, 0.04, 0.06, 0.067, 0.157)),
    "thermostat_restricted": ((-0.029, 0.011, 0.193, -0.013, 0.02), (0.109, 0.075, 0.137, 0.145, 0.129)),
    "thermostat_stuck_open": ((0.038, -0.019, -0.001, 0.033, 0.03), (0.107, 0.056, 0.064, 0.086, 0.133)),
    "combustion_gas_in_coolant": ((0.025, -0.024, 0.061, 0.05, 0.065), (0.072, 0.053, 0.059, 0.076, 0.14)),
    "air_in_system": ((0.043, -0.025, 0.026, 0.037, 0.027), (0.069, 0.053, 0.071, 0.066, 0.099)),
}

SHIFT_WEIGHT, LEAPS_WEIGHT, WAYS_WEIGHT = 0.9, 1.1, 0.1
SHARPNESS = 1.1
"""By greatest chance of the right cause: 1.15 with the three weights as they stand."""
