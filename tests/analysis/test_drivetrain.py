"""Gears from engine speed over ground speed."""

from __future__ import annotations

import numpy as np
import pytest

from ridelog.analysis.drivetrain import check_gearing, find_gears, learn_ratios, per_gear, steady_log_ratio, unloaded
from ridelog.bike import parse_bike

STEP_S = 0.2
RATIOS = parse_bike('schema = 1\nid = "x"\n', "x").rpm_per_mps


def ridden(seed: int = 0, *, slip: float = 0.0, off: float = 1.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Gear, rpm and ground speed of a ride through all gears, spells of 6 to 14 s with the clutch in between."""
    draw = np.random.default_rng(seed)
    gear, speed = [], []
    for _ in range(60):
        one = int(draw.integers(1, 7))
        n = int(draw.uniform(6.0, 14.0) / STEP_S)
        middle = 5500.0 / RATIOS[one - 1]
        gear += [one] * n + [0] * 3
        speed += (middle * (1.0 + 0.15 * np.sin(np.linspace(0.0, 4.0, n)))).tolist() + [middle] * 3
    gears, ground = np.array(gear), np.array(speed)
    table = np.array([0.0, *RATIOS]) * off
    rpm = np.where(gears > 0, table[gears] * ground / (1.0 - slip), 2000.0)
    return gears, rpm + draw.normal(0.0, 25.0, rpm.size), np.maximum(ground + draw.normal(0.0, 0.1, rpm.size), 0.0)


@pytest.mark.parametrize("slip", [0.0, 0.05])
def test_the_gear_is_found(slip: float) -> None:
    gears, rpm, speed = ridden(slip=slip)
    found = find_gears(rpm, speed, RATIOS, "bike file", gripping=False).gear
    driving = gears > 0
    assert (found[driving] == gears[driving]).mean() > 0.97


def test_the_clutch_pulled_for_long_is_no_gear() -> None:
    _, rpm, speed = ridden()
    rpm[500:540] = 1900.0
    speed[500:540] = 12.0
    found = find_gears(rpm, speed, RATIOS, "bike file", gripping=True).gear
    assert (found[505:535] == 0).all()


def test_a_hole_is_not_a_gear() -> None:
    _, rpm, speed = ridden()
    rpm[100:200] = np.nan
    found = find_gears(rpm, speed, RATIOS, "bike file", gripping=True).gear
    assert np.isnan(found[100:200]).all()
    assert np.isfinite(found[:100]).all()


def test_standing_still_is_no_gear() -> None:
    found = find_gears(np.full(100, 1800.0), np.zeros(100), RATIOS, "bike file", gripping=True).gear
    assert (found == 0).all()


def test_ratios_are_learned_within_two_percent() -> None:
    _, rpm, speed = ridden(3)
    learned = learn_ratios(steady_log_ratio(rpm, speed, STEP_S), STEP_S)
    assert len(learned) == len(RATIOS)
    assert np.array(learned) == pytest.approx(np.array(RATIOS), rel=0.02)


def test_nothing_is_learned_from_a_ratio_that_wanders() -> None:
    draw = np.random.default_rng(5)
    rpm = draw.uniform(1500.0, 9000.0, 3000)
    assert learn_ratios(steady_log_ratio(rpm, np.full(3000, 10.0), STEP_S), STEP_S) == ()


@pytest.mark.parametrize("off", [50 / 46, 46 / 50, 1.12])
def test_a_wrong_sprocket_is_noticed(off: float) -> None:
    _, rpm, speed = ridden(2, off=off)
    check = check_gearing(steady_log_ratio(rpm, speed, STEP_S), RATIOS, STEP_S)
    assert check is not None
    assert not check.agrees
    assert check.factor == pytest.approx(off, rel=0.015)


@pytest.mark.parametrize(("off", "slip"), [(1.0, 0.0), (1.03, 0.0), (0.97, 0.0), (1.0, 0.03)])
def test_wear_and_a_little_slip_are_not_a_wrong_sprocket(off: float, slip: float) -> None:
    _, rpm, speed = ridden(2, off=off, slip=slip)
    check = check_gearing(steady_log_ratio(rpm, speed, STEP_S), RATIOS, STEP_S)
    assert check is not None
    assert check.agrees


def test_one_gear_alone_does_not_accuse_the_bike_file() -> None:
    # In a single gear a ratio 15 % off is the next gear; nothing can be concluded.
    rpm = np.full(1500, 6000.0) + np.random.default_rng(1).normal(0.0, 20.0, 1500)
    check = check_gearing(steady_log_ratio(rpm, rpm / RATIOS[2], STEP_S), RATIOS, STEP_S)
    assert check is not None
    assert check.agrees


def test_too_little_riding_is_not_compared() -> None:
    assert check_gearing(np.full(40, np.log(RATIOS[0])), RATIOS, STEP_S) is None


def test_values_per_gear() -> None:
    found = per_gear(np.array([1.0, 2.0, 0.0, np.nan, 9.0]), (5.0, 6.0))
    assert found[:2].tolist() == [5.0, 6.0]
    assert np.isnan(found[2:]).all()


def test_a_jump_is_no_load_on_the_engine() -> None:
    # 100 (1/min)/(m/s) in gear, 5 Hz: two seconds at 10 m/s, a flare to 16 m/s of wheel speed in the air, and landing.
    wheel = np.concatenate([np.full(10, 10.0), [16.0, 16.0], np.full(10, 10.0)])
    found = unloaded(100.0 * wheel, np.full(wheel.size, 100.0), 0.2)
    assert found[7:15].all()
    assert not found[:7].any()
    assert not found[16:].any()
    # Full throttle on grip, 0.8 g, is load; so is a gear that is not known.
    assert not unloaded(100.0 * np.arange(0.0, 16.0, 1.6), np.full(10, 100.0), 0.2).any()
    assert not unloaded(100.0 * wheel, np.full(wheel.size, np.nan), 0.2).any()
