"""The closed form of a held stretch against the balance run in small steps, and against a handbook's exponential."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridelog.analysis.thermal import GAS_C, REFERENCE_C, Cooling, Plant, driven_by, fan_now, settle_c, step
from ridelog.analysis.thermal_held import reach_s
from ridelog.results import FloatArray

AIR_C = 22.0


def sheds(
    still: float, off: float, on: float, opens_c: float | None, *, closed: float = 0.75, bypass: float = 0.2
) -> Cooling:
    """One vector, one stretch."""
    one = np.ones((1, 1))
    opens = None if opens_c is None else np.array([opens_c])
    return Cooling(still * one, off * one, on * one, opens, np.array([closed]), np.array([bypass]))


def run(plant: Plant, cooling: Cooling, q: float, start_c: float, target_c: float, *, step_s: float = 0.05) -> float:
    """Seconds to the target by the balance in small steps; infinite where half an hour is not enough."""
    coolant, on = np.array([[start_c]]), np.zeros((1, 1))
    heat, falls = driven_by(np.array([[q]]), AIR_C)
    for k in range(round(1800.0 / step_s)):
        if coolant[0, 0] >= target_c:
            return k * step_s
        on = fan_now(plant, coolant, on)
        g, capacity = cooling.at(0, coolant[:, 0], on[:, 0])
        coolant = step(coolant, heat / capacity, (g[:, None] + falls) / capacity, np.full((1, 1), AIR_C), step_s)
    return float("inf")


def reach(plant: Plant, cooling: Cooling, q: float, start_c: float, target_c: float) -> float:
    one = np.ones((1, 1))
    return float(reach_s(plant, (cooling, q * one, AIR_C * one), np.array([start_c]), target_c)[0, 0])


def plain(fan_on_c: float | None = None, opens_c: float | None = None) -> Plant:
    return Plant(35.0, 8500.0, fan_on_c, opens_c)


@settings(max_examples=25, deadline=None)
@given(
    q=st.floats(0.1, 1.2),
    off=st.floats(0.0005, 0.02),
    fan=st.floats(0.0, 0.01),
    start_c=st.floats(30.0, 104.0),
    fan_on_c=st.one_of(st.none(), st.floats(85.0, 108.0)),
    opens_c=st.one_of(st.none(), st.floats(60.0, 98.0)),
    bypass=st.floats(0.02, 0.98),
)
def test_it_agrees_with_small_steps(
    *,
    q: float,
    off: float,
    fan: float,
    start_c: float,
    fan_on_c: float | None,
    opens_c: float | None,
    bypass: float,
) -> None:
    plant, cooling = plain(fan_on_c, opens_c), sheds(0.001, off, off + fan, opens_c, bypass=bypass)
    told = reach(plant, cooling, q, start_c, 106.0)
    seen = run(plant, cooling, q, start_c, 106.0, step_s=0.1)
    if np.isfinite(seen):
        # Fan and thermostat answer a step late in the run, and near the settle temperature every hundredth counts.
        assert told == pytest.approx(seen, rel=0.02, abs=0.5)
    else:
        assert told > 1700.0


def test_a_plain_exponential() -> None:
    """tau ln((Ts - T0) / (Ts - Tt)), the handbook's charging curve: 66.6 s ln(65 / 35) = 41.23 s."""
    whole = 1.0 / 66.6
    q = whole * (150.0 - AIR_C) / ((GAS_C - AIR_C) / (GAS_C - REFERENCE_C))
    cooling = sheds(whole - q / (GAS_C - REFERENCE_C), 0.0, 0.0, None)
    assert reach(plain(), cooling, q, 85.0, 115.0) == pytest.approx(41.23, abs=0.01)


def test_a_fan_that_holds_it_keeps_it_from_ever_getting_there() -> None:
    cooling = sheds(0.001, 0.002, 0.02, None)
    assert np.isfinite(reach(plain(), cooling, 0.6, 80.0, 110.0))
    assert reach(plain(102.0), cooling, 0.6, 80.0, 110.0) == np.inf


@given(start_c=st.floats(20.0, 140.0), target_c=st.floats(50.0, 130.0), opens_c=st.one_of(st.none(), st.just(85.0)))
def test_there_already_is_no_time_and_longer_ways_take_longer(
    start_c: float, target_c: float, opens_c: float | None
) -> None:
    cooling = sheds(0.001, 0.004, 0.006, opens_c)
    told = reach(plain(opens_c=opens_c), cooling, 0.9, start_c, target_c)
    assert told == 0.0 if start_c >= target_c else told > 0.0
    assert reach(plain(opens_c=opens_c), cooling, 0.9, start_c - 1.0, target_c) >= told


@given(
    q=st.floats(0.0, 2.0),
    off=st.floats(0.0, 0.03),
    opens_c=st.floats(40.0, 110.0),
    bypass=st.floats(0.0, 1.0),
)
def test_the_settle_temperature_behind_a_thermostat_is_where_in_and_out_balance(
    q: float, off: float, opens_c: float, bypass: float
) -> None:
    cooling, one = sheds(0.001, off, off, opens_c, bypass=bypass), np.ones((1, 1))
    settles: FloatArray = settle_c(plain(opens_c=opens_c), cooling, q * one, AIR_C * one)
    heat, falls = driven_by(q * one, AIR_C)
    g, _ = cooling.at(np.array([0]), settles, np.zeros((1, 1)))
    out = (g + falls) * (settles - AIR_C)
    if settles[0, 0] < 399.0:
        assert out[0, 0] == pytest.approx(heat[0, 0], rel=1e-6, abs=1e-9)
    else:
        assert out[0, 0] <= heat[0, 0] + 1e-9
