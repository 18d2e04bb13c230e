"""The simulator against published values, its own balances, and itself at half the step."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from plant import BIKES, Estimands, machine_of, simulate
from plant.air import density, pressure_pa
from plant.bikes import Machine
from plant.common_rides import SEEDS, ride
from plant.drive import DT
from plant.engine import CP_GAS, STOICH, Engine, orifice
from plant.radiator import core_w_per_k, effectiveness
from plant.thermal import Drives, integrate, matrix
from plant.truth import RHO_REF, settle

HELD = {"rpm": 4500.0, "airspeed": 5.0, "density": 1.15, "air_c": 20.0, "wall_a": 6000.0, "wall_b": 0.0, "case_w": 0.0}


def held(seconds: float, dt: float, **values: float) -> Drives:
    """Inputs that do not change: HELD with `values` over it."""
    n = round(seconds / dt)
    return Drives(dt, **{k: np.full(n, v) for k, v in (HELD | values).items()}, engine_on=np.ones(n, dtype=np.bool_))


def settled(machine: Machine, **values: float) -> float:
    """Settle temperature under the same inputs, C."""
    return settle(machine, **(HELD | values)).coolant_c


@pytest.mark.parametrize(
    ("h", "p", "rho"), [(0, 101325.00, 1.22500), (1000, 89874.56, 1.11164), (3000, 70108.53, 0.90912)]
)
def test_standard_atmosphere(h: float, p: float, rho: float) -> None:
    """ISO 2533 at geopotential heights, as computed with a reference library."""
    assert pressure_pa(h) == pytest.approx(p, rel=2e-4)
    assert density(h, 15.0 - 0.0065 * h) == pytest.approx(rho, rel=2e-4)


@pytest.mark.parametrize(
    ("ntu", "ratio", "expected"),
    [(1.0, 0.5, 0.54476), (1.0, 1e-12, 0.63212), (2.0, 0.0, 0.86466)],
)
def test_crossflow_effectiveness(ntu: float, ratio: float, expected: float) -> None:
    """Incropera's closed form and its limit for a still capacity rate."""
    assert effectiveness(ntu, ratio) == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize(
    ("ntu", "ratio", "exact", "approximate"),
    [
        (0.5, 0.5, 0.35783, 0.35195),
        (1.0, 1.0, 0.47622, 0.46854),
        (2.0, 0.5, 0.73241, 0.73876),
        (3.0, 0.75, 0.74941, 0.75531),
    ],
)
def test_crossflow_close_to_the_exact_solution(ntu: float, ratio: float, exact: float, approximate: float) -> None:
    """Within 2 % of the exact both-unmixed solution of a heat-exchanger library (its exact column)."""
    assert effectiveness(ntu, ratio) == pytest.approx(exact, rel=0.02)
    assert abs(effectiveness(ntu, ratio) - approximate) < 0.015


def test_orifice_chokes() -> None:
    """Flow function: 0.6847 below the critical ratio 0.5283 of air, 0 at equal pressures (textbook, from memory)."""
    values = orifice(np.array([0.1, 0.5282, 0.8, 1.0]))
    assert values[0] == values[1] == pytest.approx(0.6847, abs=1e-4)
    assert values[3] == 0.0
    assert values[2] < values[1]


@pytest.mark.parametrize("bike", BIKES)
def test_wide_open_is_the_bike_files_curve(bike: str) -> None:
    """The one thing the plant shares with the project."""
    engine = Engine(machine_of(bike))
    profile = engine.machine.bike
    rpm = np.asarray(profile.power_curve_rpm)
    torque = engine.indicated_nm(rpm, np.ones_like(rpm)) - engine.friction_nm(rpm)
    assert torque * rpm * math.pi / 30.0 / 1000.0 == pytest.approx(np.asarray(profile.power_curve_kw), rel=0.005)


@pytest.mark.parametrize("bike", BIKES)
def test_engine_energy(bike: str) -> None:
    """Torque rises with throttle; fuel covers work and wall heat; shares stay in band.

    Brake 15-22 % of fuel from two-stroke fuel use of 380-550 g/kWh (from memory; injected engines do better, to 26 %);
    coolant about 0.5 to 1.2 of brake power (heat balances of spark-ignition engines, Heywood table 12.1, from memory).
    """
    engine = Engine(machine_of(bike))
    rpm = np.full(40, 0.8 * engine.peak_rpm)
    throttle = np.linspace(0.02, 1.0, 40)
    yes = np.ones(40, dtype=np.bool_)
    burn = engine.burn(rpm, throttle, pressure_pa=101325.0, air_c=15.0, conservative=~yes, firing=yes)
    assert np.all(np.diff(burn.brake_w) > 0)
    wall = burn.wall_a - 115.0 * burn.wall_b
    assert np.all(burn.fuel_w > burn.indicated_w + wall - burn.friction_w)
    assert 0.15 < burn.brake_w[-1] / burn.fuel_w[-1] < 0.26
    half = int(np.argmin(np.abs(burn.brake_w - 500.0 * engine.machine.bike.peak_power_kw)))
    assert 0.5 < wall[half] / burn.brake_w[half] < 1.1
    exhaust_k = (burn.released_w - burn.indicated_w - wall)[half] / (
        burn.released_w[half] / (43e6 / STOICH * 0.88) * 1.23 * CP_GAS
    )
    assert 500.0 < exhaust_k < 1200.0


@pytest.mark.parametrize("bike", BIKES)
def test_conservative_map_makes_less_heat_and_less_power(bike: str) -> None:
    """At the same throttle both fall; at the same power the heat still falls, but less."""
    true = Estimands(machine_of(bike))
    assert 0.8 < true.heat_ratio(same="throttle") < true.heat_ratio() < 0.99
    engine = true.engine
    rpm, open_ = np.array([engine.peak_rpm]), np.array([1.0])
    ratio = engine.indicated_nm(rpm, open_, True) / engine.indicated_nm(rpm, open_)
    assert 0.9 < float(ratio[0]) < 0.995


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("bike", ["heron-300", "stoat-200"])
def test_heat_balance_closes(seed: int, bike: str) -> None:
    """Heat in = heat out + heat stored, to rounding."""
    nodes = ride(seed, bike).truth.nodes
    assert nodes.in_j > 1e6
    assert nodes.in_j - nodes.out_j == pytest.approx(nodes.stored_j, abs=1e-6 * nodes.in_j)


def test_half_the_step_changes_nothing() -> None:
    """The same ride at 0.08 and 0.04 s heat steps, away from the fan's switching (no fan on this bike)."""
    coarse = simulate(3, "otter-250", duration_s=1500.0, every=2).truth.trace
    fine = simulate(3, "otter-250", duration_s=1500.0, every=1).truth.trace
    n = min(len(coarse.t_s), len(fine.t_s) // 2)
    assert np.max(np.abs(coarse.coolant_c[:n] - fine.coolant_c[: 2 * n : 2])) < 0.05


def test_drive_energy() -> None:
    """Wheel work covers what the machine gained and what the ground, air and brakes took (5 %: gear-change inertia)."""
    found = ride(4)
    d, m = found.truth.drive, found.truth.machine
    moving = d.ground >= 0
    engine = Engine(m)
    rho = np.array([density(z, 20.0 - 0.0065 * (z - 400.0)) for z in d.elevation_m])
    nm = engine.indicated_nm(np.maximum(d.rpm, 500.0), d.throttle) * rho / 1.225 - engine.friction_nm(d.rpm)
    ratio = np.array([0.0, *(m.bike.primary * g * m.bike.final for g in m.bike.gears)])[d.gear]
    force = nm * ratio * m.efficiency * 2.0 * math.pi / m.circumference_m
    resist = m.mass_kg * 9.80665 * (d.drag + d.grade_sine) + 0.5 * rho * m.drag_area_m2 * d.air_mps**2
    gripping = moving & (d.rpm > 3800.0) & (d.throttle > 0.12)
    made, taken = float(np.sum((force * d.v_mps)[gripping])), float(np.sum(((resist + d.brake_n) * d.v_mps)[gripping]))
    gained = m.mass_kg * 1.1 * float(np.sum((np.gradient(d.v_mps, DT) * d.v_mps)[gripping]))
    assert made == pytest.approx(taken + gained, rel=0.08)


def test_speed_and_engine_speed_agree() -> None:
    """Away from clutch and gear changes rpm = speed x (1 + slip) x ratio (geometry)."""
    d = ride(7).truth.drive
    m = ride(7).truth.machine
    ratio = np.array([0.0, *(60.0 * m.bike.primary * g * m.bike.final / m.circumference_m for g in m.bike.gears)])[
        d.gear
    ]
    expected = d.v_mps * (1.0 + d.slip) * ratio
    steady = (expected > 4500.0) & (np.abs(np.gradient(d.rpm, DT)) < 1500.0)
    assert np.sum(steady) > 1000
    assert float(np.median(np.abs(d.rpm - expected)[steady] / expected[steady])) < 0.02


def test_same_seed_same_ride() -> None:
    """Deterministic; another seed rides elsewhere; another machine seed is another machine."""
    one, two = (simulate(5, "marten-300", duration_s=300.0) for _ in range(2))
    assert one.ride.samples.equals(two.ride.samples)
    assert not one.ride.samples.equals(simulate(6, "marten-300", duration_s=300.0).ride.samples)
    assert machine_of("marten-300", 1) != machine_of("marten-300", 2)


@pytest.mark.parametrize("bike", BIKES)
def test_steady_states_are_ordered(bike: str) -> None:
    """Hotter with more power, with warmer air, with less air flow; faults push the way their names say."""
    m = machine_of(bike)
    true = Estimands(m)
    rpm = 0.7 * true.engine.peak_rpm
    by_power = [true.steady_c(p, rpm, 8.0, 20.0).off_c for p in (2000.0, 5000.0, 8000.0, 11000.0)]
    by_speed = [true.steady_c(6000.0, rpm, v, 20.0).off_c for v in (1.0, 3.0, 6.0, 12.0, 20.0)]
    by_air = [true.steady_c(6000.0, rpm, 5.0, t).off_c for t in (0.0, 15.0, 30.0, 40.0)]
    assert by_power == sorted(by_power)
    assert by_speed == sorted(by_speed, reverse=True)
    assert by_air == sorted(by_air)
    plain = true.steady_c(6000.0, rpm, 3.0, 25.0).off_c
    for fault in ("fins_blocked", "heat_high", "flow_low"):
        assert Estimands(m.with_fault(fault)).steady_c(6000.0, rpm, 3.0, 25.0).off_c > plain + 1.0


@pytest.mark.parametrize("bike", BIKES)
def test_conductance_and_capacity_foretell_the_plant(bike: str) -> None:
    """Slow heating obeys C dT/dt = q - G (T - T_air): a slow ramp of heat, against the nodes themselves."""
    m = replace(machine_of(bike), fan_on_c=None, thermostat_stuck=1.0, metal_to_case=0.0, draught_mps=0.0)
    true = Estimands(m)
    rpm = true.reference_rpm
    ramp = 2.0  # W/s
    n, dt = 20000, 0.1
    drives = held(n * dt, dt, rpm=rpm, airspeed=5.0, density=RHO_REF)
    drives = replace(drives, wall_a=np.asarray(3000.0 + ramp * dt * np.arange(n), dtype=np.float64))
    start = settled(m, wall_a=3000.0, rpm=rpm)
    nodes = integrate(replace(m, boil_c=500.0), drives, (start, start, start, start, 20.0))
    coolant = nodes.temperatures[:-1, 1]
    late = slice(int(0.6 * n), n - 1)
    slope = np.gradient(coolant, dt)[late]
    left = (drives.wall_a[late] - true.conductance_w_per_k(5.0) * (coolant[late] - 20.0)) / slope
    assert float(np.median(left)) == pytest.approx(true.capacity_j_per_k, rel=0.01)


@pytest.mark.parametrize("bike", BIKES)
def test_settle_is_where_the_nodes_go(bike: str) -> None:
    """A settle temperature is reached by integrating the same held inputs for three hours."""
    m = replace(machine_of(bike), fan_on_c=None, boil_c=500.0)
    drives = held(10800.0, 0.2, airspeed=4.0, wall_a=5500.0, wall_b=8.0, case_w=300.0)
    nodes = integrate(m, drives, (60.0, 60.0, 60.0, 60.0, 40.0))
    expected = settled(m, airspeed=4.0, wall_a=5500.0, wall_b=8.0, case_w=300.0)
    # The integrator takes the rise for the draught in whole kelvins.
    assert nodes.temperatures[-1, 1] == pytest.approx(expected, abs=0.1)


def test_fan_saw_tooth() -> None:
    """At idle on a warm day the fan holds the coolant within its band; with the fan dead it goes far above."""
    m = machine_of("heron-300")
    engine = Engine(m)
    yes = np.array([True])
    burn = engine.burn(
        np.array([1700.0]),
        np.array([engine.idle_throttle]),
        pressure_pa=101325.0,
        air_c=30.0,
        conservative=~yes,
        firing=yes,
    )
    values = {
        "rpm": 1700.0,
        "airspeed": 0.0,
        "density": 1.1,
        "air_c": 30.0,
        "wall_a": float(burn.wall_a[0]),
        "wall_b": float(burn.wall_b[0]),
    }
    drives = held(2400.0, 0.1, **values)
    alive = integrate(m, drives, (85.0,) * 5)
    late = alive.temperatures[12000:, 1]
    assert m.fan_on_c is not None
    assert m.fan_on_c - m.fan_band_k - 2.0 < late.min() < late.max() < m.fan_on_c + 3.0
    assert np.sum(np.diff(alive.fan.astype(int)) == 1) >= 3
    dead = integrate(m.with_fault("fan_off"), drives, (85.0,) * 5)
    assert dead.temperatures[-1, 1] > m.fan_on_c + 8.0


def test_heat_soak_after_stopping() -> None:
    """With the pump at rest the metal warms the coolant by the sensor first, then it cools."""
    m = machine_of("otter-250")
    hot = integrate(m, held(600.0, 0.1, wall_a=8000.0, airspeed=8.0), (80.0,) * 5)
    row = hot.temperatures[-1]
    still = replace(held(1800.0, 0.1, rpm=0.0, airspeed=0.0, wall_a=0.0), engine_on=np.zeros(18000, dtype=np.bool_))
    soak = integrate(m, still, (row[0], row[1], row[2], row[3], row[4])).temperatures[:, 1]
    assert 2.0 < soak.max() - soak[0] < 25.0
    assert soak[-1] < soak[0]


def test_radiator_loses_half_at_half_the_walking_pace() -> None:
    """At walking pace the air's capacity limits: 1 to 2 m/s nearly doubles the heat, 10 to 20 does not.

    Ratios 0.51 and 0.67 from a worked effectiveness-NTU example of another core.
    """
    m = replace(machine_of("otter-250"), draught_mps=0.0, recirculation=0.0)
    at = {v: core_w_per_k(m, airspeed=float(v), flow=0.25, density=1.1, fan=False, rise_k=0.0) for v in (1, 2, 10, 20)}
    assert at[1] / at[2] == pytest.approx(0.51, abs=0.04)
    assert at[10] / at[20] == pytest.approx(0.67, abs=0.06)


def test_matrix_balances() -> None:
    """With all nodes at one temperature above the air, only losses remain (coolant flow cancels)."""
    m = machine_of("marten-300")
    k = matrix(m, rpm=4000.0, airspeed=6.0, density=1.15, fan=False, opening=1.0, rise_k=60.0)
    leaving = k @ np.ones(5)
    assert leaving[1] == pytest.approx(0.0, abs=1e-9)
    assert np.all(leaving >= -1e-9)


@pytest.mark.parametrize("bike", BIKES)
def test_estimands_are_in_order(bike: str) -> None:
    """Conductance rises with airspeed, ever less per m/s beyond 5; a fault moves its own figure only."""
    m = machine_of(bike)
    true = Estimands(m)
    g = [true.conductance_per_s(v) for v in (0.0, 2.0, 5.0, 10.0, 20.0)]
    assert g == sorted(g)
    assert (g[3] - g[2]) / 5.0 > (g[4] - g[3]) / 10.0
    blocked, hot = Estimands(m.with_fault("fins_blocked")), Estimands(m.with_fault("heat_high"))
    assert 0.55 < blocked.conductance_per_s(5.0) / g[2] < 0.85
    assert blocked.heat_input == pytest.approx(true.heat_input, rel=0.03)
    assert hot.conductance_per_s(5.0) == g[2]
    assert 1.2 < hot.heat_input / true.heat_input < 1.26
    assert (true.fan_step_per_s > 0.0) == (m.fan_on_c is not None)
