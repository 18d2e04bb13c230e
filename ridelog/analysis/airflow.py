"""How well the radiator sheds heat at a given airspeed, and what fan and thermostat add or take.

Two things limit a radiator. At walking pace it is the air: what little passes the core leaves as hot as the coolant, so
that the heat carried off grows in step with speed. Fast, it is the passage of heat from fin to air, which grows with
about the 0.5th to 0.6th power. Effectiveness and number of transfer units join the two: with effectiveness
e = 1 - exp(-NTU) (one stream far larger than the other) and NTU = (v_c / v)^p, the heat carried off per degree is in
step with v e. It is in step with v well below the speed v_c, and with v^(1 - p) well above it.

Sources: effectiveness-NTU from any textbook of heat transfer; exponents of 0.51 and 0.58 for louvred fins from two
published correlations known here at second hand. p = 0.7 and v_c of 12 to 15 m/s give a worked radiator (core 0.05 m2,
core speed 0.3 v, air side 300 W/K at 10 m/s, coolant side 900 W/K) within 5 % from 1 to 20 m/s.
"""

from __future__ import annotations

import numpy as np

from ridelog.results import BoolArray, FloatArray

FLOW_POWER = 0.7
"""p above; the apparent exponent of a fast ride is then near 0.5 to 0.6."""

REFERENCE_MPS = 10.0
"""Airspeed at which the flow's share of the conductance is stated."""

FAN_HYSTERESIS_C = 4.0
"""A fan switches off so far below where it switches on. Common practice: 102 on, 98 off is quoted for one car."""

THERMOSTAT_SPAN_C = 10.0
"""Wax thermostats open over about ten degrees from where they start. Common practice."""

LIGHT_AIR_MPS = 0.45
"""Air that moves over a standing bike: wind is not logged, and there is hardly a place without any. Assumed."""


def flow_shape(speed_mps: FloatArray, core_mps: FloatArray | float) -> FloatArray:
    """Conductance at an airspeed over that at 10 m/s, 1; 0 at rest. `core_mps` is v_c. Range 0 to 60 m/s.

    Example: v_c 15 m/s: 0.136 at 1 m/s, 0.268 at 2, 0.602 at 5, 1 at 10, 1.520 at 20.
    """
    return _carried(speed_mps, core_mps) / _carried(np.asarray(REFERENCE_MPS), core_mps)


def _carried(speed_mps: FloatArray, core_mps: FloatArray | float) -> FloatArray:
    speed = np.maximum(speed_mps, 1e-6)
    share = np.asarray(core_mps / speed, dtype=np.float64)
    # In place: over a long ride and many parameter vectors, fresh memory costs more than the arithmetic.
    np.power(share, FLOW_POWER, out=share)
    np.expm1(np.negative(share, out=share), out=share)
    share *= speed
    return np.negative(share, out=share)


def airspeed_mps(speed_mps: FloatArray, fan_mps2: FloatArray | float = 0.0) -> FloatArray:
    """Air through the core: ground speed, light air and a running fan (given as its own airspeed squared, m2/s2),
    joined as the root of their squares. A fan thus adds much at rest and little on the move."""
    return np.asarray(np.sqrt(np.maximum(speed_mps**2 + LIGHT_AIR_MPS**2 + fan_mps2, 1e-6)), dtype=np.float64)


def lift(coolant_c: FloatArray, opens_c: FloatArray | float) -> FloatArray:
    """How far a thermostat is open, 0 to 1."""
    return np.asarray(np.minimum(np.maximum((coolant_c - opens_c) / THERMOSTAT_SPAN_C, 0.0), 1.0), dtype=np.float64)


def fan_state(coolant_c: FloatArray, on_c: float, off_c: float) -> BoolArray:
    """Where a fan with hysteresis runs along a trace; it is off at the start and where the coolant is not known."""
    change = np.where(coolant_c >= on_c, 1, np.where(coolant_c <= off_c, -1, 0))
    change[~np.isfinite(coolant_c)] = -1
    index = np.maximum.accumulate(np.where(change != 0, np.arange(change.size), 0))
    return np.asarray(change[index] > 0, dtype=np.bool_)
