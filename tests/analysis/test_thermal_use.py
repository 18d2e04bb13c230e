"""What is asked of a fit: settle temperatures, coolant in holes, another map, time above a threshold."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from heat_rides import BOTH, FANNED, PLAIN, PLANTS, Array, heated, held, mixed, prior, theta
from hypothesis import given
from hypothesis import strategies as st

from ridelog.analysis import thermal, thermal_use
from ridelog.analysis.thermal import NAMES, STEP_S, Conditions, Plant
from ridelog.analysis.thermal_use import Drawn, draws, figures, time_above_s

plants = pytest.mark.parametrize("plant", PLANTS.values(), ids=PLANTS.keys())


def spread(plant: Plant, sd: float = 0.05) -> Array:
    """A covariance of that size for all the fit may move."""
    base = prior(plant, map_seen=True)
    covariance = np.zeros((len(NAMES), len(NAMES)))
    covariance[base.free, base.free] = sd**2
    return covariance


def drawn(plant: Plant, ride: Conditions, number: int = 20, **changed: float) -> Drawn:
    return Drawn(plant, ride, draws(theta(plant, **changed), spread(plant), number))


def without(ride: Conditions, first: int, past: int) -> Conditions:
    coolant = ride.coolant_c.copy()
    coolant[first:past] = np.nan
    return replace(ride, coolant_c=coolant)


@plants
def test_draws_are_always_the_same_and_the_best_fit_comes_first(plant: Plant) -> None:
    one, other = (draws(theta(plant), spread(plant)) for _ in range(2))
    assert one.tobytes() == other.tobytes()
    assert one[0].tolist() == theta(plant).tolist()
    assert one.shape == (1 + thermal_use.DRAWS, len(NAMES))
    # Where nothing was free nothing moves, but for rounding; a fan's push is never negative.
    fixed = np.flatnonzero(np.diag(spread(plant)) == 0.0)
    assert np.ptp(one[:, fixed], axis=0) == pytest.approx(np.zeros(fixed.size), abs=1e-6)
    assert (one[:, thermal.FAN] >= 0.0).all()


def test_draws_have_the_spread_that_was_asked_for() -> None:
    covariance = spread(PLAIN, 0.2)
    covariance[thermal.HEAT, thermal.FLOW] = covariance[thermal.FLOW, thermal.HEAT] = 0.9 * 0.04
    rows = draws(theta(PLAIN), covariance, 4000)[1:]
    for index in (thermal.HEAT, thermal.FLOW):
        assert rows[:, index].std() == pytest.approx(np.hypot(0.2, thermal_use.MODEL_SD[index]), rel=0.05)
    assert np.corrcoef(rows[:, thermal.HEAT], rows[:, thermal.FLOW])[0, 1] > 0.7


def test_figures_are_the_contracts() -> None:
    found = figures(theta(FANNED)[None])
    # Heating per kW at the reference load, and conductance over capacity that is still plus flow: at 10 m/s the flow's
    # share is the parameter itself.
    assert found.heat_input[0] == pytest.approx(0.11)
    assert found.cooling_per_s[0, 3] == pytest.approx(0.0010 + 0.0125, rel=0.002)
    assert found.time_constant_s[0] == pytest.approx(1.0 / 0.0135)
    assert (np.diff(found.cooling_per_s[0]) > 0.0).all()
    assert found.fan_step_per_s[0] > 0.0
    assert figures(theta(FANNED, fan=0.0)[None]).fan_step_per_s[0] == pytest.approx(0.0, abs=1e-12)


def test_a_stretch_settles_where_the_closed_solution_says() -> None:
    ride = held(60, power_kw=4.0, turning=0.5, speed_mps=8.0)
    asked = drawn(PLAIN, ride)
    q = thermal.heating_kps(PLAIN, asked.thetas, ride, lagged=False)[:, 0]
    g = (
        thermal.cooling(PLAIN, asked.thetas, ride).fan_off[:, 0]
        + thermal.cooling(PLAIN, asked.thetas, ride).still[:, 0]
    )
    falls, air = q / 710.0, 20.0 + asked.thetas[:, thermal.AMBIENT]
    ends = air + falls * (800.0 - air) / (g + falls)
    assert asked.settle_c(10, 40) == pytest.approx(ends, abs=1e-6)
    # And the limit comes after tau ln((Ts - T0) / (Ts - Tl)).
    limit = float(ends.min()) - 5.0
    after = asked.limit_after_s(10, 40, 40.0, limit)
    assert after == pytest.approx(np.log((ends - 40.0) / (ends - limit)) / (g + falls), rel=0.01, abs=0.3)


@plants
def test_the_limit_is_never_reached_or_passed_already(plant: Plant) -> None:
    asked = drawn(plant, held(60, power_kw=1.0, turning=0.4, speed_mps=15.0))
    assert (asked.limit_after_s(0, 60, 50.0, 130.0) == np.inf).all()
    assert (asked.limit_after_s(0, 60, 131.0, 130.0) == 0.0).all()
    assert (asked.limit_after_s(0, 60, 130.0, 130.0) == 0.0).all()


@plants
def test_a_higher_limit_takes_longer_and_a_warmer_start_less(plant: Plant) -> None:
    asked = drawn(plant, held(60, power_kw=9.0, turning=0.6, speed_mps=3.0))
    times = [asked.limit_after_s(0, 60, 60.0, limit) for limit in (80.0, 90.0, 100.0)]
    for sooner, later in itertools.pairwise(times):
        assert (sooner <= later).all()
    warmer = asked.limit_after_s(0, 60, 75.0, 100.0)
    assert (warmer <= times[-1]).all()


@plants
def test_what_is_not_known_has_no_settle_temperature(plant: Plant) -> None:
    ride = held(60, power_kw=4.0, turning=0.5, speed_mps=8.0)
    speed = ride.speed_mps.copy()
    speed[10:50] = np.nan
    asked = drawn(plant, replace(ride, speed_mps=speed))
    assert asked.settle_c(10, 50) is None
    assert asked.limit_after_s(10, 50, 80.0, 100.0) is None
    assert asked.settle_c(0, 10) is not None
    along = asked.settle_along()
    assert np.isnan(along[:, 10:50]).all()
    assert np.isfinite(along[:, :10]).all()
    off = drawn(plant, replace(ride, running=np.zeros(60, dtype=np.bool_)))
    assert off.settle_c(0, 60) is None
    assert np.isnan(off.settle_along()).all()


@plants
def test_along_a_ride_that_never_changes_it_is_the_stretchs_own(plant: Plant) -> None:
    asked = drawn(plant, held(80, power_kw=5.0, turning=0.5, speed_mps=6.0))
    one = asked.settle_c(0, 80)
    assert one is not None
    assert np.abs(asked.settle_along() - one[:, None]).max() < 0.01


@plants
@pytest.mark.parametrize("seed", [1, 2])
def test_a_hole_is_filled_by_what_was_there(plant: Plant, seed: int) -> None:
    values = theta(plant)
    ride = heated(plant, values, mixed(seed), 70.0)
    holed = without(ride, 200, 260)
    path = Drawn(plant, holed, values[None]).fill(np.array([70.0]))
    assert np.flatnonzero(path.estimated).tolist() == list(range(200, 260))
    # Fan and thermostat start a hole from what is known of them: a degree or two of a cycling fan apart.
    assert np.abs(path.coolant_c[0, 200:260] - ride.coolant_c[200:260]).max() < (4.0 if plant.fan_on_c else 0.01)


@plants
def test_a_fill_joins_the_readings_on_both_sides(plant: Plant) -> None:
    ride = heated(plant, theta(plant), mixed(3), 70.0)
    # A bike that was not quite like its parameters: every draw still meets the readings.
    path = drawn(plant, without(ride, 200, 260), heat=np.log(0.12)).fill(np.full(21, 70.0))
    assert (path.coolant_c[:, :200] == ride.coolant_c[None, :200]).all()
    assert (path.coolant_c[:, 260:] == ride.coolant_c[None, 260:]).all()
    steps = np.abs(np.diff(path.coolant_c, axis=1))
    assert steps[:, 195:265].max() < 3.0 * np.abs(np.diff(ride.coolant_c)).max()


def test_a_fill_does_not_reach_into_what_nobody_knows() -> None:
    ride = heated(PLAIN, theta(PLAIN), mixed(3), 70.0)
    holed = without(ride, 200, 260)
    speed = holed.speed_mps.copy()
    speed[220:240] = np.nan
    path = drawn(PLAIN, replace(holed, speed_mps=speed)).fill(np.full(21, 70.0))
    assert np.flatnonzero(path.estimated).tolist() == list(range(200, 220))
    assert np.isnan(path.coolant_c[:, 220:260]).all()


def test_a_ride_whose_coolant_was_never_logged_runs_from_the_start_given() -> None:
    values = theta(PLAIN)
    ride = heated(PLAIN, values, mixed(5), 55.0)
    blind = replace(ride, coolant_c=np.full(ride.t_s.size, np.nan))
    path = Drawn(PLAIN, blind, np.repeat(values[None], 3, axis=0)).fill(np.array([55.0, 20.0, 80.0]))
    assert path.estimated.all()
    assert path.coolant_c[0] == pytest.approx(ride.coolant_c, abs=1e-6)
    # What it began with is forgotten within some time constants.
    assert path.coolant_c[1, 0] == 20.0
    assert np.ptp(path.coolant_c[:, -1]) < 0.1


def test_nothing_to_fill_changes_nothing() -> None:
    ride = heated(PLAIN, theta(PLAIN), mixed(5), 55.0)
    path = drawn(PLAIN, ride).fill(np.full(21, 60.0))
    assert not path.estimated.any()
    assert (path.coolant_c == ride.coolant_c[None]).all()


@plants
def test_heat_in_less_heat_out_is_what_the_coolant_did(plant: Plant) -> None:
    values = theta(plant)
    ride = heated(plant, values, mixed(6), 70.0)
    heat_in, heat_out = Drawn(plant, ride, values[None]).flows(ride.coolant_c[None])
    g, capacity = thermal.cooling(plant, values[None], ride).at(
        np.arange(ride.t_s.size), ride.coolant_c[None], np.zeros((1, ride.t_s.size))
    )
    assert (heat_in[0] >= 0.0).all()
    rise = np.diff(ride.coolant_c) * (capacity[0, :-1] if np.ndim(capacity) else 1.0)
    # To the first order in a step: four seconds of a time constant of 40 s and more.
    assert ((heat_in - heat_out)[0, :-1] * STEP_S - rise).std() < (0.1 if plant is PLAIN else 0.6)
    assert g.shape == heat_out.shape


@plants
@given(seed=st.integers(0, 30), begin=st.integers(0, 300), length=st.integers(1, 200), kappa=st.floats(0.7, 1.0))
def test_less_heat_never_warms(plant: Plant, seed: int, begin: int, length: int, kappa: float) -> None:
    values = theta(plant, kappa=np.log(kappa))
    ride = heated(plant, values, mixed(seed, 25.0), 70.0)
    advised = np.zeros(ride.t_s.size, dtype=np.bool_)
    advised[begin : begin + length] = True
    change = Drawn(plant, ride, values[None]).switched(ride.coolant_c, advised)
    assert (change <= 0.0).all()
    assert (change[:, : begin + 1] == 0.0).all()
    was, then = (time_above_s(path, 90.0)[0] for path in (ride.coolant_c[None], ride.coolant_c[None] + change))
    assert then <= was + 1e-9


def test_the_other_map_is_the_ride_run_with_it() -> None:
    values = theta(PLAIN, kappa=np.log(0.85))
    ride = heated(PLAIN, values, mixed(8), 70.0)
    advised = np.zeros(ride.t_s.size, dtype=np.bool_)
    advised[100:400] = True
    change = Drawn(PLAIN, ride, values[None]).switched(ride.coolant_c, advised)[0]
    other = heated(PLAIN, values, replace(ride, conservative=advised.astype(np.float64)), 70.0)
    assert ride.coolant_c + change == pytest.approx(other.coolant_c, abs=0.02)
    assert change.min() < -3.0
    # Where the map was conservative already there is nothing to gain.
    there = replace(other, coolant_c=other.coolant_c)
    assert (Drawn(PLAIN, there, values[None]).switched(there.coolant_c, advised) == 0.0).all()


def test_a_ride_nobody_advised_on_stays_as_it_was() -> None:
    ride = heated(BOTH, theta(BOTH), mixed(8), 70.0)
    none = np.zeros(ride.t_s.size, dtype=np.bool_)
    assert (drawn(BOTH, ride).switched(ride.coolant_c, none) == 0.0).all()


# The published worked trace: 0 to 40 s every 10 s, exact seconds above a threshold of straight lines (plain algebra).
TRACE_C = np.array([[90.0, 110.0, 100.0, 120.0, 80.0]])


@pytest.mark.parametrize(
    ("threshold_c", "seconds"),
    [(95.0, 33.75), (100.0, 30.0), (105.0, 18.75), (110.0, 7.5), (115.0, 3.75), (120.0, 0.0)],
)
def test_time_above_is_exact(threshold_c: float, seconds: float) -> None:
    assert time_above_s(TRACE_C, threshold_c, 10.0)[0] == pytest.approx(seconds, abs=1e-9)


@given(
    path=st.lists(st.floats(60.0, 130.0), min_size=3, max_size=40),
    threshold=st.floats(60.0, 130.0),
    data=st.data(),
)
def test_time_above_adds_up_over_parts(path: list[float], threshold: float, data: st.DataObject) -> None:
    rows = np.array([path])
    cut = data.draw(st.integers(1, len(path) - 2))
    whole = time_above_s(rows, threshold)[0]
    parts = time_above_s(rows[:, : cut + 1], threshold)[0] + time_above_s(rows[:, cut:], threshold)[0]
    assert whole == pytest.approx(parts, abs=1e-9)
    assert 0.0 <= whole <= STEP_S * (len(path) - 1) + 1e-9
    assert time_above_s(rows, threshold + 1.0)[0] <= whole + 1e-9


def test_an_unknown_end_counts_nothing() -> None:
    assert time_above_s(np.array([[110.0, np.nan, 110.0, 110.0]]), 100.0, 4.0)[0] == pytest.approx(4.0)
