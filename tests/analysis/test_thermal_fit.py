"""The fit: what the balance made is found again, and what is said of its certainty."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from heat_rides import BOTH, FANNED, PLAIN, PLANTS, STATTED, Array, heated, held, mixed, prior, theta, whole_degrees

from ridelog.analysis import thermal, thermal_fit, thermal_use
from ridelog.analysis.thermal import NAMES, Conditions, Plant
from ridelog.analysis.thermal_fit import EVERY_STEPS, WINDOW_STEPS, Fitted, correlation_windows, thinned, window_starts

RESOLUTION_C = 0.1
LIKE_A_BIKE = {"heat": np.log(0.085), "still": np.log(0.0013), "flow": np.log(0.0155), "core_mps": np.log(14.5)}
"""Off the default by a fifth to a third."""


def fitted(plant: Plant, ride: Conditions, resolution_c: float = RESOLUTION_C) -> Fitted:
    return thermal_fit.fit(plant, ride, prior(plant), window_starts(ride), resolution_c)


def made(plant: Plant, seed: int, minutes: float = 60.0, **changed: float) -> tuple[Conditions, Array]:
    values = theta(plant, **(LIKE_A_BIKE | changed))
    return heated(plant, values, mixed(seed, minutes)), values


def share(found: Array, true: Array, index: int) -> float:
    return float(np.exp(found[index] - true[index]))


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("plant", PLANTS.values(), ids=PLANTS.keys())
def test_what_the_balance_made_is_found_again(plant: Plant, seed: int) -> None:
    ride, true = made(plant, seed)
    found = thermal_use.figures(np.stack([fitted(plant, ride).theta, true]))
    assert found.time_constant_s[0] == pytest.approx(found.time_constant_s[1], rel=0.05)
    assert found.heat_input[0] == pytest.approx(found.heat_input[1], rel=0.05)
    for speed, told, known in zip(thermal_use.SPEEDS_MPS, *found.cooling_per_s, strict=True):
        # At rest the fan, where there is one, runs most of the time: what is left of still air is less well known.
        assert told == pytest.approx(known, rel=0.05 if speed >= 2.0 else 0.15), speed


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_sensor_of_whole_degrees_hardly_matters(seed: int) -> None:
    ride, true = made(PLAIN, seed)
    found = thermal_use.figures(np.stack([fitted(PLAIN, whole_degrees(ride), 1.0).theta, true]))
    assert found.time_constant_s[0] == pytest.approx(found.time_constant_s[1], rel=0.05)
    assert found.cooling_per_s[0][2:] == pytest.approx(found.cooling_per_s[1][2:], rel=0.05)


def test_a_dead_fan_is_seen() -> None:
    # So hot a bike that its fan is called: with it working or dead.
    hot = {"heat": np.log(0.14), "flow": np.log(0.0125)}
    working, _ = made(FANNED, 5, **hot)
    dead, _ = made(FANNED, 5, fan=0.0, **hot)
    assert thermal.observed_fan(FANNED, working).sum() * thermal.STEP_S > 120.0
    steps = [thermal_use.figures(fitted(FANNED, one).theta[None]).fan_step_per_s[0] for one in (working, dead)]
    assert steps[1] < 0.1 * steps[0]


def test_air_told_wrongly_is_seen_in_part() -> None:
    ride, _ = made(PLAIN, 7)
    warmer = replace(ride, ambient_c=ride.ambient_c - 2.0)
    moved = fitted(PLAIN, warmer).theta[thermal.AMBIENT] - fitted(PLAIN, ride).theta[thermal.AMBIENT]
    assert 0.0 < moved <= 2.0


def test_intervals_hold_the_truth_on_the_models_own_rides() -> None:
    # Noise of a whole-degree sensor only: bands from curvature hold the truth on most rides, and are not slack.
    inside, width = [], []
    for seed in range(12):
        ride, true = made(PLAIN, seed, 30.0)
        found = fitted(PLAIN, whole_degrees(ride), 1.0)
        for index in (thermal.HEAT, thermal.FLOW):
            sd = float(np.sqrt(found.covariance[index, index]))
            inside.append(abs(found.theta[index] - true[index]) <= 1.96 * sd)
            width.append(sd)
    assert np.mean(inside) >= 0.9
    assert np.median(width) < 0.1


def test_a_longer_ride_tells_more() -> None:
    sd = []
    for minutes in (8.0, 20.0, 60.0):
        ride, _ = made(PLAIN, 3, minutes)
        sd.append(float(np.sqrt(fitted(PLAIN, whole_degrees(ride), 1.0).covariance[thermal.FLOW, thermal.FLOW])))
    assert sd[0] > sd[1] > sd[2]


def test_a_splash_of_water_does_not_bend_the_rest() -> None:
    ride, true = made(PLAIN, 4)
    coolant = ride.coolant_c.copy()
    for first in (150, 480, 700):
        coolant[first : first + 20] -= 8.0 * np.exp(-np.arange(20) / 8.0)
    figures = thermal_use.figures(np.stack([fitted(PLAIN, replace(ride, coolant_c=coolant)).theta, true]))
    assert figures.heat_input[0] == pytest.approx(figures.heat_input[1], rel=0.10)
    assert figures.cooling_per_s[0][2:] == pytest.approx(figures.cooling_per_s[1][2:], rel=0.10)


def test_the_same_ride_gives_the_same_digits() -> None:
    ride, _ = made(BOTH, 9, 30.0)
    one, other = fitted(BOTH, ride), fitted(BOTH, ride)
    assert one.theta.tobytes() == other.theta.tobytes()
    assert one.covariance.tobytes() == other.covariance.tobytes()


def test_a_fit_leaves_alone_what_it_may_not_touch() -> None:
    ride, _ = made(STATTED, 2, 20.0)
    base = prior(STATTED)
    found = fitted(STATTED, ride)
    fixed = [n for n in range(len(NAMES)) if n not in base.free]
    assert found.theta[fixed].tolist() == base.mean[fixed].tolist()
    assert (found.covariance[fixed] == 0.0).all()
    assert (found.information[fixed] == 0.0).all()
    # What the ride tells and what was known add up to what is known now.
    grid = np.ix_(base.free, base.free)
    assert np.linalg.inv(found.covariance[grid]) == pytest.approx(found.information[grid] + base.precision, rel=1e-5)
    assert (np.diag(found.covariance)[base.free] <= np.diag(base.covariance)[base.free] * (1.0 + 1e-9)).all()


def test_windows_reach_over_no_hole_and_no_stop() -> None:
    ride = replace(held(200, power_kw=5.0, turning=0.5, speed_mps=5.0), coolant_c=np.full(200, 80.0))
    every = window_starts(ride)
    assert np.diff(every).tolist() == [EVERY_STEPS] * (every.size - 1)
    for name in ("coolant_c", "power_kw", "speed_mps", "ambient_c"):
        values = getattr(ride, name).copy()
        values[100] = np.nan
        left = window_starts(replace(ride, **{name: values}))
        assert not any(start <= 100 <= start + WINDOW_STEPS for start in left)
        assert {int(n) for n in every} - {int(n) for n in left} == {
            int(n) for n in every if n <= 100 <= n + WINDOW_STEPS
        }
    stopped = ride.running.copy()
    stopped[100] = False
    assert not any(start <= 100 <= start + WINDOW_STEPS for start in window_starts(replace(ride, running=stopped)))
    assert window_starts(held(200, power_kw=5.0, turning=0.5, speed_mps=5.0)).size == 0
    assert window_starts(held(5, power_kw=5.0, turning=0.5, speed_mps=5.0)).size == 0


def test_a_long_ride_is_thinned_evenly() -> None:
    starts = np.arange(0, 9000, EVERY_STEPS)
    few = thinned(starts)
    assert few.size == thermal_fit.MOST_WINDOWS
    assert (few[0], few[-1]) == (starts[0], starts[-1])
    assert np.diff(few).max() - np.diff(few).min() <= EVERY_STEPS
    assert thinned(starts[:10]).tolist() == starts[:10].tolist()


def test_errors_that_hang_together_count_once() -> None:
    draw = np.random.default_rng(0)
    starts = np.arange(400) * EVERY_STEPS
    white = draw.standard_normal(400)
    slow = np.convolve(draw.standard_normal(430), np.ones(31) / 31.0, mode="valid")
    overlap = WINDOW_STEPS / EVERY_STEPS
    assert correlation_windows(white, starts) == overlap
    # A mean over 31 in a row has an autocorrelation that falls in a straight line: sum 31.
    assert correlation_windows(slow, starts) == pytest.approx(31.0, rel=0.5)
    assert correlation_windows(np.zeros(50), starts[:50]) == overlap
