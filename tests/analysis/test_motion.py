"""Speed, acceleration, distance and grade."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.analysis.motion import GRADE_SHORTEST_M, grade, grade_sigma, motion, speed_along

STEP_S = 0.2


def test_constant_acceleration() -> None:
    t_s = np.arange(0.0, 10.0, STEP_S)
    moved = motion(5.0 + 1.5 * t_s, STEP_S)
    assert moved.acceleration_mps2 == pytest.approx(np.full(t_s.size, 1.5))
    assert moved.total_m == pytest.approx(5.0 * t_s[-1] + 0.75 * t_s[-1] ** 2)
    assert moved.moving.all()


def test_a_noisy_receiver_at_rest_does_not_move() -> None:
    speed = np.abs(np.random.default_rng(4).normal(0.0, 0.2, 5 * 600))
    moved = motion(speed, STEP_S)
    assert not moved.moving.any()
    assert moved.total_m == 0.0


def test_a_hole_adds_no_way_and_no_slope() -> None:
    speed = np.concatenate([np.full(50, 10.0), np.full(100, np.nan), np.full(50, 20.0)])
    moved = motion(speed, STEP_S)
    assert moved.total_m == pytest.approx(49 * STEP_S * 10.0 + 49 * STEP_S * 20.0)
    assert np.nanmax(np.abs(moved.acceleration_mps2)) < 1e-9
    assert np.isnan(moved.acceleration_mps2[50:150]).all()


def test_a_steady_ramp_with_a_noisy_altimeter() -> None:
    # A tenth with 1 m of independent noise at 1 Hz and 8 m/s; least squares over 100 m then errs by about 1 %.
    t_s = np.arange(0.0, 200.0, STEP_S)
    moved = motion(np.full(t_s.size, 8.0), STEP_S)
    seconds = np.arange(0.0, 201.0)
    noisy = 0.10 * 8.0 * seconds + np.random.default_rng(2).normal(0.0, 1.0, seconds.size)
    found = grade(np.interp(t_s, seconds, noisy), moved)
    inside = found.grade[50:-50]
    assert np.median(inside) == pytest.approx(0.10, abs=0.005)
    assert np.std(inside) < 0.02


def test_the_error_of_a_slope() -> None:
    # Ordinary least squares, 11 points 10 m apart, 1 m of noise: 0.953 %.
    assert grade_sigma(1.0, 11, 10.0) == pytest.approx(0.00953, abs=1e-5)


def test_grade_does_not_depend_on_how_fast_a_hill_is_ridden() -> None:
    t_s = np.arange(0.0, 120.0, STEP_S)
    speed = 6.0 + 4.0 * np.sin(t_s / 5.0)
    moved = motion(speed, STEP_S)
    found = grade(100.0 + 0.15 * moved.distance_m, moved).grade
    assert found[np.isfinite(found)] == pytest.approx(0.15, abs=0.002)


def test_standing_and_short_stretches_have_no_grade() -> None:
    t_s = np.arange(0.0, 60.0, STEP_S)
    creeping = motion(np.where(t_s < 4.0, 8.0, 0.0), STEP_S)
    assert creeping.total_m < GRADE_SHORTEST_M
    assert np.isnan(grade(t_s.copy(), creeping).grade).all()
    stopped = motion(np.where(t_s < 30.0, 8.0, 0.0), STEP_S)
    found = grade(0.1 * stopped.distance_m, stopped).grade
    assert np.isfinite(found[10:140]).all()
    assert np.isnan(found[170:]).all()


def test_speed_from_the_way_covered() -> None:
    path = np.concatenate([10.0 * np.arange(20) * STEP_S, [np.nan], 5.0 * np.arange(20) * STEP_S])
    speed = speed_along(path, STEP_S)
    assert speed[:20] == pytest.approx(10.0)
    assert np.isnan(speed[20])
    assert speed[21:] == pytest.approx(5.0)


@given(st.integers(3, 200), st.integers(0, 2**32 - 1))
def test_distance_never_falls(points: int, seed: int) -> None:
    draw = np.random.default_rng(seed)
    speed = draw.uniform(0.0, 30.0, points)
    speed[draw.random(points) < 0.2] = np.nan
    moved = motion(speed, STEP_S)
    assert (np.diff(moved.distance_m) >= 0.0).all()
    assert moved.total_m <= 30.0 * STEP_S * points
