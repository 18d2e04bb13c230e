"""What causes do to the heat balance and to the coolant's trace: figures learned on simulated rides.

Learned on 1,584 simulated cases (four invented bikes, 132 machines, five healthy rides each) of an independent
simulator, machines that no test is scored on; see the tests. Shifts: mean by cause in the measure of the balance's
parameters; their spreads stand in `diagnosis_spreads`. Leaps: negative binomial rates, (mean a minute, shape) under
load, without, and down. Ways: mean and spread by cause. Weights and sharpness: by greatest chance of the right cause
with every third of the machines left out of learning in turn.

They are figures of a simulator. Real bikes differ more; the spread between healthy rides is not taken below what is
assumed for weather, wind and fuel.
"""

from __future__ import annotations

DAY_MEAN: dict[str, float] = {
    "heat": -0.006,
    "still": -0.027,
    "fan": 0.708,
    "flow": -0.011,
    "core_mps": 0.03,
    "exponent": 0.01,
    "pace": -0.036,
    "idle_kw": -0.023,
    "lag_s": -0.029,
    "kappa": 0.001,
    "closed": 0.0,
    "bypass": -0.021,
    "opens_c": -0.112,
    "ambient_c": -0.044,
}
"""Healthy rides beside what others of the bike tell: a fit from the bike's prior against fits from the default one."""

DAY_PER_10_C: dict[str, float] = {
    "heat": 0.032,
    "still": -0.072,
    "fan": 0.373,
    "flow": -0.001,
    "core_mps": 0.007,
    "exponent": 0.003,
    "pace": -0.006,
    "idle_kw": -0.031,
    "lag_s": 0.019,
    "kappa": 0.001,
    "closed": 0.001,
    "bypass": 0.018,
    "opens_c": -0.449,
    "ambient_c": 0.006,
}
"""The same, by ten degrees of warmer air."""

SHIFTS: dict[str, dict[str, float]] = {
    "airflow_blocked": {
        "heat": -0.023,
        "still": -0.233,
        "fan": -0.761,
        "flow": -0.368,
        "core_mps": -0.012,
        "exponent": -0.002,
        "pace": -0.034,
        "idle_kw": -0.009,
        "lag_s": 0.012,
        "kappa": -0.002,
        "closed": 0.026,
        "bypass": 0.019,
        "opens_c": -0.83,
        "ambient_c": 0.0,
    },
    "coolant_flow_low": {
        "heat": -0.016,
        "still": 0.065,
        "fan": 0.059,
        "flow": -0.12,
        "core_mps": -0.106,
        "exponent": 0.012,
        "pace": -0.01,
        "idle_kw": -0.002,
        "lag_s": 0.073,
        "kappa": -0.003,
        "closed": -0.035,
        "bypass": -0.085,
        "opens_c": 0.059,
        "ambient_c": 0.0,
    },
    "heat_input_high": {
        "heat": 0.147,
        "still": 0.075,
        "fan": 0.407,
        "flow": -0.013,
        "core_mps": -0.007,
        "exponent": 0.0,
        "pace": -0.03,
        "idle_kw": -0.009,
        "lag_s": -0.018,
        "kappa": 0.0,
        "closed": -0.009,
        "bypass": 0.007,
        "opens_c": -0.142,
        "ambient_c": -0.001,
    },
    "fan_fault": {
        "heat": 0.022,
        "still": -0.17,
        "fan": -12.352,
        "flow": 0.0,
        "core_mps": 0.068,
        "exponent": 0.012,
        "pace": -0.028,
        "idle_kw": -0.042,
        "lag_s": -0.018,
        "kappa": 0.006,
        "closed": -0.013,
        "bypass": -0.012,
        "opens_c": -0.463,
        "ambient_c": -0.004,
    },
    "thermostat_restricted": {
        "heat": 0.168,
        "still": 0.781,
        "fan": -0.322,
        "flow": -0.315,
        "core_mps": -0.404,
        "exponent": 0.05,
        "pace": -0.127,
        "idle_kw": -0.068,
        "lag_s": -0.383,
        "kappa": -0.002,
        "closed": 0.273,
        "bypass": 0.371,
        "opens_c": -2.985,
        "ambient_c": 0.001,
    },
    "thermostat_stuck_open": {
        "heat": 0.018,
        "still": -0.182,
        "fan": 0.39,
        "flow": 0.039,
        "core_mps": 0.094,
        "exponent": 0.033,
        "pace": -0.071,
        "idle_kw": -0.098,
        "lag_s": 0.018,
        "kappa": 0.005,
        "closed": 0.364,
        "bypass": 0.723,
        "opens_c": -9.331,
        "ambient_c": -0.011,
    },
    "combustion_gas_in_coolant": {
        "heat": 0.01,
        "still": 0.044,
        "fan": -0.25,
        "flow": -0.005,
        "core_mps": -0.02,
        "exponent": 0.005,
        "pace": -0.014,
        "idle_kw": -0.009,
        "lag_s": -0.055,
        "kappa": -0.004,
        "closed": -0.011,
        "bypass": -0.028,
        "opens_c": 0.081,
        "ambient_c": -0.001,
    },
    "air_in_system": {
        "heat": -0.023,
        "still": 0.016,
        "fan": -2.244,
        "flow": -0.002,
        "core_mps": -0.013,
        "exponent": 0.001,
        "pace": -0.025,
        "idle_kw": 0.001,
        "lag_s": -0.007,
        "kappa": 0.0,
        "closed": 0.002,
        "bypass": -0.002,
        "opens_c": 0.475,
        "ambient_c": 0.0,
    },
}

LEAP_RATES: dict[str, tuple[tuple[float, float], tuple[float, float], tuple[float, float]]] = {
    "healthy": ((0.0409, 0.77), (0.0021, 0.61), (0.0147, 0.5)),
    "combustion_gas_in_coolant": ((0.5815, 9.36), (0.0316, 1.49), (0.02, 1.14)),
    "air_in_system": ((0.5991, 10.27), (0.5126, 1.03), (0.5759, 6.56)),
}

WAYS_OF: dict[str, tuple[tuple[float, ...], tuple[float, ...]]] = {
    "healthy": ((0.04, -0.028, 0.028, 0.031, 0.071), (0.081, 0.052, 0.051, 0.076, 0.155)),
    "airflow_blocked": ((0.068, 0.019, 0.049, 0.018, -0.005), (0.109, 0.126, 0.071, 0.097, 0.184)),
    "coolant_flow_low": ((0.021, -0.032, 0.012, 0.036, 0.03), (0.094, 0.071, 0.056, 0.095, 0.141)),
    "heat_input_high": ((0.04, -0.022, 0.032, 0.019, 0.029), (0.092, 0.043, 0.059, 0.106, 0.128)),
    "fan_fault": ((0.031, -0.041, 0.023, 0.03, 0.016), (0.072, 0.04, 0.058, 0.065, 0.133)),
    "thermostat_restricted": ((-0.049, 0.025, 0.214, -0.003, -0.001), (0.134, 0.079, 0.128, 0.136, 0.139)),
    "thermostat_stuck_open": ((0.037, -0.018, 0.004, 0.028, 0.04), (0.105, 0.052, 0.077, 0.085, 0.134)),
    "combustion_gas_in_coolant": ((0.023, -0.026, 0.053, 0.044, 0.078), (0.077, 0.051, 0.05, 0.075, 0.149)),
    "air_in_system": ((0.029, -0.025, 0.026, 0.031, 0.023), (0.066, 0.048, 0.073, 0.063, 0.111)),
}

SHIFT_WEIGHT, LEAPS_WEIGHT, WAYS_WEIGHT = 1.0, 1.1, 0.2
SHARPNESS = 1.15
"""By greatest chance of the right cause, and by how often the causes said with a likelihood were right."""
