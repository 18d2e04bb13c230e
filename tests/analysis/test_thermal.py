"""The balance of one lump: worked values, exact solutions, and what has to hold whatever the numbers."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from heat_rides import BOTH, FANNED, PLAIN, PLANTS, STATTED, held, mixed, theta
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from ridelog.analysis import thermal
from ridelog.analysis.airflow import airspeed_mps, flow_shape
from ridelog.analysis.thermal import NAMES, STEP_S, Plant, Windows, march, settle_c, step

CAPACITY = 1.1 * 3600.0 + 3.0 * 900.0
"""J/K of a small engine: coolant and metal that move together. Worked example of this project, values ASSUMED."""


def test_the_worked_capacity() -> None:
    assert pytest.approx(6660.0) == CAPACITY


# Lumped capacitance, C dT/dt = Q - UA (T - Ta), worked with its closed solution (any textbook of heat transfer):
# Q in W, UA in W/K, air and start in C; settle temperature, time constant, seconds to a target.
CASES = (
    (12_000.0, 120.0, 25.0, 85.0, 115.0, 125.0, 55.5, 76.94),
    (12_000.0, 100.0, 30.0, 85.0, 115.0, 150.0, 66.6, 41.23),
    (8_000.0, 60.0, 30.0, 80.0, 110.0, 163.33, 111.0, 49.54),
)


@pytest.mark.parametrize("case", CASES)
def test_lumped_capacitance(case: tuple[float, ...]) -> None:
    q, ua, air, start, target, ends, tau, seconds = case
    per_s, kps = ua / CAPACITY, q / CAPACITY
    assert 1.0 / per_s == pytest.approx(tau, abs=0.05)
    settle = air + kps / per_s
    assert settle == pytest.approx(ends, abs=0.01)
    assert tau * math.log((ends - start) / (ends - target)) == pytest.approx(seconds, rel=2e-3)
    there = step(np.array([start]), np.array([kps]), np.array([per_s]), np.array([air]), seconds)
    assert there[0] == pytest.approx(target, abs=0.005)
    # The same on the balance's own steps: exact, however the time is cut.
    coolant = np.array([start])
    for _ in range(10):
        coolant = step(coolant, np.array([kps]), np.array([per_s]), np.array([air]), seconds / 10.0)
    assert coolant[0] == pytest.approx(there[0], abs=1e-9)


def test_a_bike_that_settles_below_stays_below() -> None:
    # UA 150 W/K: settles at 105, 99.82 C after a minute.
    per_s, kps = np.array([150.0 / CAPACITY]), np.array([12_000.0 / CAPACITY])
    assert step(np.array([85.0]), kps, per_s, np.array([25.0]), 60.0)[0] == pytest.approx(99.82, abs=0.005)
    assert step(np.array([85.0]), kps, per_s, np.array([25.0]), 1e6)[0] == pytest.approx(105.0, abs=0.005)


def test_without_air_it_heats_in_a_straight_line() -> None:
    # 12 kW into 6660 J/K with nothing to carry it off: 1.802 K/s.
    told = step(np.array([85.0]), np.array([12_000.0 / CAPACITY]), np.array([0.0]), np.array([25.0]), 1.0)
    assert told[0] - 85.0 == pytest.approx(1.802, abs=0.001)


def test_a_textbooks_thermocouple() -> None:
    # A sphere of 0.706 mm, h 400 W/m2 K, 8500 kg/m3, 400 J/kg K, in gas of 200 C: time constant 1.0 s, from 25 to 199 C
    # in 5.2 s. Incropera's example 5.1, from memory.
    tau = 8500.0 * 400.0 * 7.06e-4 / 6.0 / 400.0
    assert tau == pytest.approx(1.000, abs=0.001)
    one = np.array([1.0])
    there = step(25.0 * one, 200.0 / tau * one, one / tau, 0.0 * one, 5.165)
    assert there[0] == pytest.approx(199.0, abs=0.01)


def rate(
    plant: Plant, values: np.ndarray, *, power_kw: float, turning: float, speed_mps: float, fan: float = 0.0
) -> tuple[float, float, float]:
    """Heating at a coolant and conductance, written out a second time from the equations of the module."""
    p = dict(zip(NAMES, values, strict=True))
    idle, kw = np.exp(p["idle_kw"]), plant.reference_kw
    load = (power_kw + idle * turning) / (kw + 0.8 * idle)
    q90 = np.exp(p["heat"]) * kw * load ** np.exp(p["exponent"]) * (max(turning, 0.1) / 0.8) ** p["pace"]
    core = np.exp(p["core_mps"])
    air = np.sqrt(speed_mps**2 + 0.45**2 + p["fan"] * fan)

    def shape(v: float) -> float:
        return float(v * (1.0 - np.exp(-((core / v) ** 0.7))))

    flow = np.exp(p["flow"]) * shape(air) / shape(10.0)
    return q90, np.exp(p["still"]), flow


@pytest.mark.parametrize(("power_kw", "turning", "speed_mps"), [(0.0, 0.2, 0.0), (9.0, 0.6, 4.0), (18.0, 0.8, 20.0)])
def test_the_march_is_the_exact_solution(power_kw: float, turning: float, speed_mps: float) -> None:
    values = theta(PLAIN)
    q90, still, flow = rate(PLAIN, values, power_kw=power_kw, turning=turning, speed_mps=speed_mps)
    ride = held(101, power_kw=power_kw, turning=turning, speed_mps=speed_mps, ambient_c=15.0)
    path = march(PLAIN, values[None], ride, Windows(np.array([0]), 100, np.array([40.0])))[:, 0, 0]
    # What the walls take is in step with gas of 800 C less wall, and is stated at 90 C.
    falls = q90 / 710.0
    g = still + flow + falls
    ends = 15.0 + falls * (800.0 - 15.0) / g
    assert path == pytest.approx(ends + (40.0 - ends) * np.exp(-g * np.arange(101) * STEP_S), abs=1e-9)


@pytest.mark.parametrize("plant", PLANTS.values(), ids=PLANTS.keys())
def test_the_march_follows_the_differential_equation(plant: Plant) -> None:
    # A general integrator (scipy's, adaptive) on the same law: thermostat and fan change on the way.
    values = theta(plant, fan=10.0 if plant.fan_on_c else 0.0)
    ride = held(151, power_kw=5.0, turning=0.6, speed_mps=8.0, ambient_c=25.0)
    path = march(plant, values[None], ride, Windows(np.array([0]), 150, np.array([30.0])))[:, 0, 0]
    p = dict(zip(NAMES, values, strict=True))

    def law(_: float, state: np.ndarray, fan: float) -> list[float]:
        q90, still, flow = rate(plant, values, power_kw=5.0, turning=0.6, speed_mps=8.0, fan=fan)
        coolant = float(state[0])
        share = 1.0 if plant.opens_c is None else min(max((coolant - p["opens_c"]) / 10.0, 0.0), 1.0)
        bypass, closed = np.exp(p["bypass"]), np.exp(p["closed"])
        if plant.opens_c is None:
            g, capacity = still + flow, 1.0
        else:
            g, capacity = still + flow * (bypass + (1.0 - bypass) * share), closed + (1.0 - closed) * share
        return [(q90 * (800.0 - coolant) / 710.0 - g * (coolant - 25.0)) / capacity]

    coolant, on, exact = 30.0, 0.0, [30.0]
    for _ in range(150):
        if plant.fan_on_c is not None:
            on = 1.0 if coolant >= plant.fan_on_c else 0.0 if coolant <= plant.fan_on_c - 4.0 else on
        done = solve_ivp(law, (0.0, STEP_S), [coolant], args=(on,), rtol=1e-8, max_step=0.5)
        coolant = float(done.y[0, -1])
        exact.append(coolant)
    # Four-second steps hold the thermostat's opening: a degree at most while it opens, nothing to speak of later.
    off = np.abs(path - exact)
    assert off.max() < (1e-5 if plant.opens_c is None else 1.0)
    assert off[-20:].max() < 0.05


@pytest.mark.parametrize("plant", PLANTS.values(), ids=PLANTS.keys())
def test_a_long_march_ends_at_the_settle_temperature(plant: Plant) -> None:
    values = theta(plant)
    for power_kw, speed_mps in ((2.0, 8.0), (6.0, 3.0), (14.0, 20.0)):
        ride = held(1501, power_kw=power_kw, turning=0.6, speed_mps=speed_mps)
        ends = settled(plant, values, power_kw=power_kw, speed_mps=speed_mps)
        path = march(plant, values[None], ride, Windows(np.array([0]), 1500, np.array([50.0])))[:, 0, 0]
        # A fan that cycles swings about the middle of its band.
        swing = 2.5 if plant.fan_on_c is not None and ends == plant.fan_on_c - 2.0 else 0.05
        assert path[-200:].mean() == pytest.approx(ends, abs=swing)


def settled(plant: Plant, values: np.ndarray, *, power_kw: float, speed_mps: float, ambient_c: float = 20.0) -> float:
    ride = held(1, power_kw=power_kw, turning=0.6, speed_mps=speed_mps, ambient_c=ambient_c)
    q = thermal.heating_kps(plant, values[None], ride)
    return float(settle_c(plant, thermal.cooling(plant, values[None], ride), q, ride.ambient_c[None])[0, 0])


some_plant = st.sampled_from(list(PLANTS.values()))


@given(plant=some_plant, a=st.floats(0.0, 30.0), b=st.floats(0.0, 30.0), speed=st.floats(0.0, 40.0))
def test_more_heat_settles_hotter(plant: Plant, a: float, b: float, speed: float) -> None:
    low, high = sorted((a, b))
    values = theta(plant)
    assert (
        settled(plant, values, power_kw=low, speed_mps=speed)
        <= settled(plant, values, power_kw=high, speed_mps=speed) + 1e-4
    )


@given(plant=some_plant, power=st.floats(0.0, 30.0), a=st.floats(0.0, 40.0), b=st.floats(0.0, 40.0))
def test_more_air_settles_cooler(plant: Plant, power: float, a: float, b: float) -> None:
    low, high = sorted((a, b))
    values = theta(plant)
    assert (
        settled(plant, values, power_kw=power, speed_mps=low)
        >= settled(plant, values, power_kw=power, speed_mps=high) - 1e-4
    )


@given(plant=some_plant, power=st.floats(0.0, 30.0), speed=st.floats(0.0, 40.0), warmer=st.floats(0.0, 30.0))
def test_warmer_air_settles_hotter_but_no_more_than_in_step(
    plant: Plant, power: float, speed: float, warmer: float
) -> None:
    values = theta(plant)
    cool = settled(plant, values, power_kw=power, speed_mps=speed)
    hot = settled(plant, values, power_kw=power, speed_mps=speed, ambient_c=20.0 + warmer)
    # A cycling fan holds its band until it can no more, and goes there at a bound from just below its switch point.
    slack = 4.0 if plant.fan_on_c is not None else 1e-4
    assert cool - slack <= hot <= cool + warmer + slack


def test_an_open_thermostat_is_no_thermostat() -> None:
    values = theta(PLAIN)
    hot = {"power_kw": 14.0, "speed_mps": 5.0}
    assert settled(STATTED, theta(STATTED), **hot) == pytest.approx(settled(PLAIN, values, **hot), abs=1e-3)
    # Cold, it holds back all but its bypass: the coolant settles warmer than without one.
    cold = {"power_kw": 2.0, "speed_mps": 20.0, "ambient_c": 0.0}
    assert settled(STATTED, theta(STATTED), **cold) > settled(PLAIN, values, **cold) + 5.0


def test_a_dead_fan_is_no_fan() -> None:
    crawl = {"power_kw": 7.0, "speed_mps": 0.0}
    dead = settled(FANNED, theta(FANNED, fan=0.0), **crawl)
    assert dead == pytest.approx(settled(PLAIN, theta(PLAIN), **crawl))
    assert settled(FANNED, theta(FANNED), **crawl) < dead


def test_the_reference_load_gives_the_stated_heating() -> None:
    # Half of peak power at 80 % of its speed, coolant at 90 C: A times that power, by definition.
    values = theta(PLAIN)
    ride = held(1, power_kw=18.0, turning=0.8, speed_mps=10.0)
    q = thermal.heating_kps(PLAIN, values[None], ride)[0, 0]
    assert q == pytest.approx(np.exp(values[thermal.HEAT]) * 18.0, rel=1e-12)
    heat, falls = thermal.driven_by(np.array([q]), 20.0)
    assert heat[0] - falls[0] * (90.0 - 20.0) == pytest.approx(q)


def test_the_conservative_map_scales_heat_only_where_it_is_on() -> None:
    values = theta(PLAIN, lag_s=np.log(1e-6))
    ride = replace(held(4, power_kw=10.0, turning=0.6, speed_mps=5.0), conservative=np.array([0.0, 1.0, np.nan, 1.0]))
    q = thermal.heating_kps(PLAIN, values[None], ride)[0]
    assert q[1] / q[0] == pytest.approx(np.exp(values[thermal.KAPPA]))
    assert q[2] == pytest.approx(q[0])
    assert q[3] == pytest.approx(q[1])


def test_a_standing_engine_makes_no_heat_and_sheds_less() -> None:
    values = theta(PLAIN)
    ride = replace(held(50, power_kw=10.0, turning=0.6, speed_mps=0.0), running=np.zeros(50, dtype=np.bool_))
    assert (thermal.heating_kps(PLAIN, values[None], ride) == 0.0).all()
    path = march(PLAIN, values[None], ride, Windows(np.array([0]), 40, np.array([100.0])))[:, 0, 0]
    assert (np.diff(path) < 0.0).all()
    assert path.min() > 20.0


def test_metal_delays_heat_and_keeps_none_of_it() -> None:
    values = theta(PLAIN)
    base = held(200, power_kw=0.0, turning=0.2, speed_mps=5.0)
    power = np.zeros(200)
    power[50:60] = 20.0
    pulse = replace(base, power_kw=power)
    lagged = thermal.heating_kps(PLAIN, values[None], pulse)[0]
    prompt = thermal.heating_kps(PLAIN, values[None], pulse, lagged=False)[0]
    assert lagged.sum() == pytest.approx(prompt.sum(), rel=1e-6)
    assert lagged[50] < prompt[50]
    assert lagged[62] > prompt[62]
    assert (np.abs(thermal.heating_kps(PLAIN, values[None], base)[0] - prompt[0]) < 1e-12).all()


def test_a_logged_fan_is_believed() -> None:
    ride = held(20, power_kw=4.0, turning=0.4, speed_mps=0.0)
    values = theta(FANNED)[None]
    windows = Windows(np.array([0]), 19, np.array([70.0]))
    off = march(FANNED, values, ride, windows)[-1, 0, 0]
    on = march(FANNED, values, replace(ride, fan_logged=np.ones(20)), windows)[-1, 0, 0]
    assert on < off


def test_where_the_fan_was_not_logged_it_follows_the_coolant() -> None:
    """A hole in the fan's log is no fan standing still."""
    ride = held(40, power_kw=4.0, turning=0.4, speed_mps=0.0)
    ride = replace(ride, coolant_c=np.linspace(80.0, 110.0, 40))
    assert FANNED.fan_on_c is not None
    runs = (ride.coolant_c >= FANNED.fan_on_c).astype(np.float64)
    assert 0.0 < runs.mean() < 1.0
    hole = np.where(np.arange(40) < 5, 0.0, np.nan)
    assert (thermal.observed_fan(FANNED, replace(ride, fan_logged=hole)) == runs).all()
    values, windows = theta(FANNED)[None], Windows(np.array([30]), 9, ride.coolant_c[[30]])
    path = {
        name: march(FANNED, values, replace(ride, fan_logged=fan), windows)[-1, 0, 0]
        for name, fan in (("hole", hole), ("on", np.ones(40)), ("off", np.zeros(40)))
    }
    assert path["hole"] == path["on"] < path["off"]


def test_many_vectors_and_windows_are_what_each_gives_alone() -> None:
    draw = np.random.default_rng(3)
    rows = theta(BOTH) + draw.normal(0.0, 0.1, (5, len(NAMES)))
    rows[:, thermal.FAN] = np.abs(rows[:, thermal.FAN])
    ride = mixed(4)
    starts, begin = np.array([0, 100, 333]), np.array([60.0, 80.0, 97.0])
    together = march(BOTH, rows, ride, Windows(starts, 30, begin))
    for k in range(5):
        for w in range(3):
            alone = march(BOTH, rows[[k]], ride, Windows(starts[[w]], 30, begin[[w]]))
            assert together[:, k, w] == pytest.approx(alone[:, 0, 0], abs=1e-9)


def test_the_flow_at_ten_metres_a_second_is_the_parameter() -> None:
    ride = held(1, power_kw=0.0, turning=0.2, speed_mps=10.0)
    sheds = thermal.cooling(PLAIN, theta(PLAIN)[None], ride)
    expected = 0.0125 * float(flow_shape(airspeed_mps(np.array(10.0)), 13.0))
    assert sheds.fan_off[0, 0] == pytest.approx(expected)
    # Light air hardly counts there.
    assert expected == pytest.approx(0.0125, rel=0.001)


def test_a_fan_cycles_between_its_switch_points() -> None:
    # On at 95 C, off again 4 C lower (one car's figures are 102 and 98: common practice, no source).
    values = theta(FANNED)
    load = {"power_kw": 1.0, "speed_mps": 5.0}
    assert settled(PLAIN, theta(PLAIN), **load) > 95.5
    assert settled(FANNED, values, **load) == 93.0
    ride = held(1500, turning=0.6, **load)
    path = march(FANNED, values[None], ride, Windows(np.array([0]), 1499, np.array([60.0])))[:, 0, 0]
    cycling = path[int(np.argmax(path >= 95.0)) :]
    # It may run over by what one step of four seconds gains.
    stride = float(np.abs(np.diff(cycling)).max())
    assert stride < 1.5
    assert 95.0 <= cycling.max() <= 95.0 + stride
    assert 91.0 - stride <= cycling.min() <= 91.0
