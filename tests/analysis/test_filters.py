"""Windows that know about holes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.analysis.filters import (
    block_mean,
    long_runs,
    matched_mean,
    moving_mean,
    moving_median,
    near,
    odd,
    smooth_and_slope,
)

sparse = st.lists(st.one_of(st.floats(-50.0, 50.0), st.just(float("nan"))), min_size=1, max_size=60).map(np.array)


@pytest.mark.parametrize(("points", "expected"), [(1.0, 3), (4.9, 5), (11.0, 11), (12.2, 13), (21.0, 21)])
def test_odd_windows(points: float, expected: int) -> None:
    assert odd(points) == expected


def test_the_five_point_parabola() -> None:
    # Savitzky and Golay 1964: smoothing (-3, 12, 17, 12, -3) / 35, slope (-2, -1, 0, 1, 2) / 10.
    y = np.zeros(9)
    y[4] = 1.0
    smooth, slope = smooth_and_slope(y, 5, 1.0)
    assert smooth[2:7] == pytest.approx(np.array([-3.0, 12.0, 17.0, 12.0, -3.0]) / 35.0)
    assert slope[2:7] == pytest.approx(np.array([2.0, 1.0, 0.0, -1.0, -2.0]) / 10.0)


def test_a_slope_never_reaches_across_a_hole() -> None:
    y = np.concatenate([np.zeros(20), [np.nan], np.full(20, 30.0)])
    smooth, slope = smooth_and_slope(y, 11, 0.2)
    assert np.nanmax(np.abs(slope)) < 1e-9
    assert np.isnan(smooth[20])
    assert np.isnan(slope[20])


def test_power_and_acceleration_are_averaged_alike() -> None:
    # The slope of the speed equals the matched mean of the true acceleration: bursts are not read as losses.
    draw = np.random.default_rng(3)
    acceleration = draw.normal(0.0, 2.0, 400)
    step = 0.2
    fine = np.repeat(acceleration, 20)
    speed = np.concatenate([[0.0], np.cumsum(fine) * step / 20.0])[10::20][:400]
    _, slope = smooth_and_slope(speed, 11, step)
    middle = slice(10, -10)
    apart = slope[middle] - matched_mean(acceleration, 11)[middle]
    assert np.sqrt(np.mean(apart**2)) < 0.12 * np.sqrt(np.mean(slope[middle] ** 2))


@given(sparse, st.sampled_from([3, 5, 21]), st.integers(1, 4))
def test_moving_median_against_the_plain_one(values: np.ndarray, window: int, at_least: int) -> None:
    found = moving_median(values, window, at_least)
    half = window // 2
    for i in range(values.size):
        near_by = values[max(0, i - half) : i + half + 1]
        near_by = near_by[np.isfinite(near_by)]
        if near_by.size < at_least:
            assert np.isnan(found[i])
        else:
            assert found[i] == pytest.approx(np.median(near_by))


@given(sparse, st.sampled_from([3, 7]))
def test_moving_mean_against_the_plain_one(values: np.ndarray, window: int) -> None:
    found = moving_mean(values, window)
    half = window // 2
    for i in range(values.size):
        near_by = values[max(0, i - half) : i + half + 1]
        near_by = near_by[np.isfinite(near_by)]
        assert (np.isnan(found[i]) and near_by.size == 0) or found[i] == pytest.approx(near_by.mean(), abs=1e-9)


def test_block_means_leave_out_what_is_not_known() -> None:
    values = np.array([1.0, np.nan, 3.0, np.nan, np.nan, np.nan, 7.0])
    assert block_mean(values, 3, 2)[[0]].tolist() == [2.0]
    assert np.isnan(block_mean(values, 3, 2)[1:]).all()
    assert block_mean(values, 3, 1)[2] == 7.0


def test_near_and_long_runs() -> None:
    mask = np.array([0, 1, 0, 0, 1, 1, 1, 0, 0, 0], dtype=np.bool_)
    assert long_runs(mask, 3).astype(int).tolist() == [0, 0, 0, 0, 1, 1, 1, 0, 0, 0]
    assert near(long_runs(mask, 3), 1).astype(int).tolist() == [0, 0, 0, 1, 1, 1, 1, 1, 0, 0]
