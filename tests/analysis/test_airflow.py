"""Radiator, fan and thermostat over airspeed."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.analysis import airflow
from ridelog.analysis.airflow import airspeed_mps, fan_state, flow_shape, lift

# A worked radiator: core 0.05 m2, air through it at 0.3 of the airspeed, 1.1 kg/m3 and 1007 J/kg K, air side 300 W/K at
# 10 m/s growing with the root of speed, coolant side 900 W/K, coolant 0.25 kg/s of 3600 J/kg K. Heat carried off per
# degree between coolant and air, W/K, from the cross-flow formula below; the assumptions are this project's own.
WORKED_W_PER_K = {1.0: 16.5, 2.0: 32.1, 5.0: 70.7, 10.0: 116.5, 20.0: 173.6}
speeds = st.floats(0.5, 60.0)
cores = st.floats(5.0, 30.0)


def crossflow(ntu: float, ratio: float) -> float:
    """Effectiveness of a cross-flow exchanger by the usual closed form (a heat-transfer textbook's, from memory)."""
    if ratio == 0.0:
        return float(1.0 - np.exp(-ntu))
    return float(1.0 - np.exp(ntu**0.22 / ratio * (np.exp(-ratio * ntu**0.78) - 1.0)))


def worked_w_per_k(speed_mps: float) -> float:
    air_w_per_k = 0.05 * 0.3 * speed_mps * 1.1 * 1007.0
    coolant_w_per_k = 0.25 * 3600.0
    ua = 1.0 / (1.0 / (300.0 * (speed_mps / 10.0) ** 0.5) + 1.0 / 900.0)
    least, most = sorted((air_w_per_k, coolant_w_per_k))
    return crossflow(ua / least, least / most) * least


def test_the_closed_form_is_the_textbooks() -> None:
    # Values of a reference library (ht 1.2.0, the approximate cross-flow form, and one stream far larger).
    assert crossflow(1.0, 0.5) == pytest.approx(0.54476, abs=1e-4)
    assert crossflow(2.0, 0.5) == pytest.approx(0.73876, abs=1e-4)
    assert crossflow(1.0, 1.0) == pytest.approx(0.46854, abs=1e-4)
    assert crossflow(3.0, 0.75) == pytest.approx(0.75531, abs=1e-4)
    assert crossflow(1.0, 0.0) == pytest.approx(0.63212, abs=1e-4)


@pytest.mark.parametrize(("speed_mps", "w_per_k"), WORKED_W_PER_K.items())
def test_the_worked_radiator_is_the_one_written_down(speed_mps: float, w_per_k: float) -> None:
    assert worked_w_per_k(speed_mps) == pytest.approx(w_per_k, rel=0.005)


@pytest.mark.parametrize("core_mps", [12.0, 13.0, 15.0])
@pytest.mark.parametrize("speed_mps", WORKED_W_PER_K)
def test_the_shape_follows_the_worked_radiator(speed_mps: float, core_mps: float) -> None:
    shape = float(flow_shape(np.array(speed_mps), core_mps))
    assert shape == pytest.approx(WORKED_W_PER_K[speed_mps] / WORKED_W_PER_K[10.0], rel=0.05)


@pytest.mark.parametrize("core_mps", [12.0, 13.0, 15.0])
def test_halving_the_airspeed(core_mps: float) -> None:
    # Worked radiator: 16.5 / 32.1 and 116.5 / 173.6. Twice the square-root law's 0.71 is lost at walking pace.
    at = {v: float(flow_shape(np.array(v), core_mps)) for v in (1.0, 2.0, 10.0, 20.0)}
    assert at[1.0] / at[2.0] == pytest.approx(0.51, abs=0.02)
    assert at[10.0] / at[20.0] == pytest.approx(0.67, abs=0.02)


def test_it_holds_the_effectiveness_of_one_large_stream() -> None:
    # e = 1 - exp(-NTU): NTU 1 gives 0.63212, 2 gives 0.86466 (reference library; exact). At the speed v_c, NTU is 1.
    core = 13.0
    carried = {v: float(flow_shape(np.array(v), core)) for v in (1e-3, core)}
    per_speed = {v: carried[v] / v for v in carried}
    assert per_speed[core] / per_speed[1e-3] == pytest.approx(0.63212, abs=1e-4)
    slower = core / 2.0 ** (1.0 / airflow.FLOW_POWER)
    assert float(flow_shape(np.array(slower), core)) / slower / per_speed[1e-3] == pytest.approx(0.86466, abs=1e-4)


def test_the_example_of_the_docstring() -> None:
    told = flow_shape(np.array([1.0, 2.0, 5.0, 10.0, 20.0]), 15.0)
    assert told == pytest.approx([0.136, 0.268, 0.602, 1.0, 1.520], abs=1e-3)


@pytest.mark.parametrize("core_mps", [12.0, 13.0, 15.0])
def test_the_exponent_is_that_of_louvred_fins_when_fast_and_one_when_walking(core_mps: float) -> None:
    # Air side of louvred fins: V^0.51 and V^0.58 in two published correlations, both known at second hand; the air's
    # own capacity, and with it a straight line, at walking pace.
    shape = {v: float(flow_shape(np.array(v), core_mps)) for v in (1.0, 2.0, 10.0, 20.0)}
    assert 0.94 <= np.log2(shape[2.0] / shape[1.0]) <= 1.0
    assert 0.5 <= np.log2(shape[20.0] / shape[10.0]) <= 0.65


@given(a=speeds, b=speeds, core_mps=cores)
def test_more_air_sheds_more_but_less_than_in_step(a: float, b: float, core_mps: float) -> None:
    low, high = sorted((a, b))
    slow, fast = (float(flow_shape(np.array(v), core_mps)) for v in (low, high))
    assert slow <= fast * (1.0 + 1e-12)
    assert fast <= slow * high / low * (1.0 + 1e-9)


@given(speed=st.floats(0.0, 60.0), fan=st.floats(0.0, 100.0), more=st.floats(0.01, 50.0))
def test_a_fan_never_takes_air_away_and_adds_most_at_rest(speed: float, fan: float, more: float) -> None:
    def gain(v: float) -> float:
        return float(airspeed_mps(np.array(v), fan + more) - airspeed_mps(np.array(v), fan))

    assert gain(speed) >= 0.0
    assert gain(speed) <= gain(0.0) + 1e-9
    assert float(airspeed_mps(np.array(speed))) >= speed


def test_no_air_no_flow() -> None:
    assert float(flow_shape(np.array(0.0), 13.0)) == pytest.approx(0.0, abs=1e-6)
    # Still air over a standing bike does not exist: light air keeps a little going.
    assert float(airspeed_mps(np.array(0.0))) == pytest.approx(airflow.LIGHT_AIR_MPS)


def test_a_thermostat_opens_over_its_span() -> None:
    told = lift(np.array([60.0, 65.0, 70.0, 75.0, 90.0]), 65.0)
    assert told == pytest.approx([0.0, 0.0, 0.5, 1.0, 1.0])


def test_a_fan_has_hysteresis() -> None:
    coolant = np.array([90.0, 96.0, 101.0, 102.0, 99.0, 98.5, 98.0, 101.0, 102.5, np.nan, 99.0])
    assert fan_state(coolant, 102.0, 98.0).tolist() == [
        False, False, False, True, True, True, False, False, True, False, False,
    ]  # fmt: skip
    # It starts off: within the band nothing tells that it ran before.
    assert not fan_state(np.array([100.0, 100.0]), 102.0, 98.0).any()


@given(st.lists(st.floats(80.0, 120.0), min_size=1, max_size=60))
def test_the_fan_changes_only_at_its_switch_points(coolant: list[float]) -> None:
    on = fan_state(np.array(coolant), 102.0, 98.0)
    assert all(on[i] for i, c in enumerate(coolant) if c >= 102.0)
    assert not any(on[i] for i, c in enumerate(coolant) if c <= 98.0)
    for (a, b), c in zip(itertools.pairwise(on), coolant[1:], strict=True):
        if 98.0 < c < 102.0:
            assert a == b
