"""The coolant beside the healthy bike's, and changes over a bike's rides: on rides that the balance itself made, whose
truth is known."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from heat_rides import PLANTS, held, mixed, prior, theta

from ridelog.analysis import diagnosis_table, thermal
from ridelog.analysis.diagnosis_drift import Drift, drift
from ridelog.analysis.diagnosis_patterns import patterns
from ridelog.analysis.diagnosis_shift import Day, apart, healthy
from ridelog.analysis.thermal import FLOW, HEAT, NAMES, Conditions, Plant
from ridelog.analysis.thermal_fit import Prior, fit, window_starts
from ridelog.analysis.thermal_prior import RideFit
from ridelog.results import FloatArray

DAY = diagnosis_table.DAY_TO_DAY
PLAIN, STATTED, FANNED = PLANTS["plain"], PLANTS["thermostat"], PLANTS["fan"]
FIRST = date(2026, 5, 2)


def known(plant: Plant) -> Prior:
    """A healthy bike that is known well: the default one."""
    base = prior(plant)
    return Prior(base.mean - DAY.mean * (np.diag(base.covariance) > 0.0), base.covariance * 1e-3)


def ridden(plant: Plant, parameters: FloatArray, ride: Conditions, start_c: float, seed: int = 1) -> Conditions:
    """The ride with the coolant that these parameters make, and a sensor's noise."""
    windows = thermal.Windows(np.array([0]), ride.t_s.size - 1, np.array([start_c]))
    path = thermal.march(plant, parameters[None], ride, windows)[:, 0, 0]
    return replace(ride, coolant_c=path + np.random.default_rng(seed).normal(0.0, 0.1, path.size))


def fitted(name: str, when: date, **changes: float) -> RideFit:
    """What is kept of a ride on which some parameters had changed by these amounts."""
    moved = theta(PLAIN)
    for key, value in changes.items():
        moved[NAMES.index(key)] += value
    seed = when.toordinal() % 1000
    ride = ridden(PLAIN, moved, mixed(seed), 70.0, seed)
    before = prior(PLAIN)
    best = fit(PLAIN, ride, before, window_starts(ride), 0.1)
    return RideFit(name, best.theta, best.information, before.mean, before.covariance, day=when, air_c=20.0)


def told(flows: list[float], heats: list[float] | None = None, every: int = 7) -> Drift | None:
    """The change over rides a week apart whose cooling on the move (and heat) had these logarithms."""
    heats = heats if heats is not None else [0.0] * len(flows)
    rides = [
        fitted(f"r{n}", FIRST + timedelta(days=every * n), flow=flow, heat=heat)
        for n, (flow, heat) in enumerate(zip(flows, heats, strict=True))
    ]
    return drift(rides[-1], rides[-1].day, rides[:-1], prior(PLAIN), DAY)


def test_cooling_that_goes_little_by_little_is_a_drift() -> None:
    found = told([0.0, -0.1, -0.2, -0.3, -0.4, -0.5])
    assert found is not None
    assert (found.kind, found.what, found.rides, found.days) == ("drift", "cooling", 6, 35)
    assert found.change == pytest.approx(-0.5, abs=2.5 * found.sd)
    # The bike it is held against is the one it was at first.
    assert found.before.mean[FLOW] == pytest.approx(theta(PLAIN)[FLOW], abs=0.12)


def test_a_change_some_rides_ago_is_a_step_and_the_bike_before_it_counts() -> None:
    found = told([0.0, 0.0, 0.0, -0.45, -0.45, -0.45])
    assert found is not None
    assert (found.kind, found.what) == ("step", "cooling")
    assert found.since == FIRST + timedelta(days=21)


def test_heat_that_grows_is_told_as_heat() -> None:
    found = told([0.0] * 6, [0.0, 0.08, 0.16, 0.24, 0.32, 0.4])
    assert found is not None
    assert (found.kind, found.what) == ("drift", "heat")


@pytest.mark.parametrize(
    "flows",
    [
        [0.0] * 6,
        [0.0] * 5 + [-0.5],
        [-0.4, -0.3, -0.2, -0.1, -0.05, 0.0],
        [0.0, -0.4, -0.5],
    ],
    ids=["nothing changed", "at once on this ride", "for the better", "too few rides"],
)
def test_no_change_for_the_worse_before_this_ride_is_no_drift(flows: list[float]) -> None:
    assert told(flows) is None


def test_rides_without_a_date_tell_no_drift() -> None:
    rides = [replace(fitted(f"r{n}", FIRST + timedelta(days=7 * n), flow=-0.1 * n), day=None) for n in range(5)]
    assert drift(rides[-1], FIRST, rides[:-1], prior(PLAIN), DAY) is None
    assert drift(rides[-1], None, rides[:-1], prior(PLAIN), DAY) is None


def test_the_days_air_is_taken_off_on_both_sides() -> None:
    still = np.zeros(len(NAMES))
    slope = still.copy()
    slope[HEAT] = 0.05
    day = Day(still, DAY.covariance, slope)
    cool, warm = replace(fitted("cool", FIRST), air_c=10.0), replace(fitted("warm", FIRST), air_c=30.0)
    base = prior(PLAIN)
    means = [healthy([one], base, day).mean[HEAT] for one in (cool, warm)]
    # The same heat on a warm day means a bike that makes less: by up to 0.1 over twenty degrees, less what the ride
    # leaves open.
    assert 0.03 < means[0] - means[1] < 0.1
    # A day of unknown air is held to be any.
    assert day.at(None).covariance[HEAT, HEAT] > day.covariance[HEAT, HEAT]
    assert day.at(30.0).mean[HEAT] == pytest.approx(0.05)
    ride = fitted("this", FIRST)
    apart_on = [apart(ride, healthy([], base, day), day.at(air_c)).shift[HEAT] for air_c in (10.0, 30.0)]
    assert apart_on[0] > apart_on[1]


def test_more_heat_shows_as_warmer_where_it_works_hard_most_of_all() -> None:
    ride = mixed(11)
    hot = theta(PLAIN)
    hot[HEAT] += 0.25
    seen = patterns(PLAIN, ridden(PLAIN, hot, ride, 70.0), known(PLAIN), DAY.at(20.0), 0.0).warmer
    assert seen["loaded"].mean_c > 2.0 * seen["easy"].mean_c > 0.0
    same = patterns(PLAIN, ridden(PLAIN, theta(PLAIN), ride, 70.0), known(PLAIN), DAY.at(20.0), 0.0).warmer
    assert all(abs(one.mean_c) < max(0.3, 1.96 * one.sd_c) for one in same.values())


def test_a_working_fan_makes_a_saw_tooth_and_a_dead_one_a_straight_climb() -> None:
    ride = held(300, power_kw=0.1, turning=0.25, speed_mps=0.0)
    dead = theta(FANNED)
    dead[thermal.FAN] = 0.0
    # Idling just hard enough to call for the fan.
    for parameters, works in ((theta(FANNED), True), (dead, False)):
        parameters[thermal.IDLE] -= 0.5
        seen = patterns(FANNED, ridden(FANNED, parameters, ride, 85.0), known(FANNED), DAY.at(20.0), 0.0).fan
        assert seen is not None
        assert (seen.turns >= 2) is works
        assert (seen.climb_s > 0.0) is not works
    assert patterns(PLAIN, ridden(PLAIN, theta(PLAIN), ride, 85.0), known(PLAIN), DAY.at(20.0), 0.0).fan is None


def test_a_reading_that_falls_while_it_should_rise_is_counted() -> None:
    ride = held(300, power_kw=14.0, turning=0.7, speed_mps=2.0)
    climbs = ridden(PLAIN, theta(PLAIN), ride, 60.0)
    assert patterns(PLAIN, climbs, known(PLAIN), DAY.at(20.0), 0.0).falls == 0
    in_steam = climbs.coolant_c.copy()
    in_steam[10:20] -= np.linspace(0.0, 90.0, 10)
    seen = patterns(PLAIN, replace(climbs, coolant_c=in_steam), known(PLAIN), DAY.at(20.0), 0.0)
    assert seen.falls >= 1


def test_the_warm_up_shows_a_thermostat_that_stays_open() -> None:
    ride = mixed(12)
    opens = theta(STATTED)
    opens[thermal.OPENS] -= 45.0
    for parameters, slow in ((theta(STATTED), False), (opens, True)):
        seen = patterns(STATTED, ridden(STATTED, parameters, ride, 20.0), known(STATTED), DAY.at(20.0), 0.0).warm_up
        assert seen is not None
        assert seen.taken_s is not None
        assert seen.healthy_s is not None
        assert (seen.taken_s > seen.healthy_s[1]) is slow
    warm = ridden(STATTED, theta(STATTED), ride, 70.0)
    assert patterns(STATTED, warm, known(STATTED), DAY.at(20.0), 0.0).warm_up is None


def test_a_ride_of_a_minute_has_no_pattern() -> None:
    short = ridden(PLAIN, theta(PLAIN), mixed(3, minutes=1.0), 70.0)
    seen = patterns(PLAIN, short, known(PLAIN), DAY.at(20.0), 0.0)
    assert (seen.warmer, seen.falls, seen.fan, seen.warm_up) == ({}, 0, None, None)
