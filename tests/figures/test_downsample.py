"""Thinning of traces: extremes survive, holes stay open, nothing is invented."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.figures.downsample import downsample, hole_after_s


@st.composite
def traces(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray]:
    """Samples at 10 Hz with jitter, some holes of 5 s and more, and some values not known."""
    size = draw(st.integers(1, 400))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    steps = rng.uniform(0.08, 0.12, size)
    for at in draw(st.lists(st.integers(0, size - 1), max_size=6)):
        steps[at] += draw(st.floats(5.0, 600.0))
    y = rng.normal(size=size) * 10.0 ** rng.integers(-3, 4, size)
    y[rng.random(size) < draw(st.sampled_from([0.0, 0.02, 0.5]))] = np.nan
    return np.cumsum(steps), y


@given(traces(), st.integers(4, 120))
def test_every_point_is_a_sample_and_time_rises(trace: tuple[np.ndarray, np.ndarray], n_out: int) -> None:
    t, y = trace
    out_t, out_y = downsample(t, y, n_out)
    assert np.all(np.diff(out_t) > 0)
    shown = np.isfinite(out_y)
    known = np.isfinite(y)
    pairs = set(zip(t[known].tolist(), y[known].tolist(), strict=True))
    assert pairs.issuperset(zip(out_t[shown].tolist(), out_y[shown].tolist(), strict=True))
    assert out_t.size <= 6 * n_out


@given(traces(), st.integers(4, 120))
def test_smallest_and_largest_survive(trace: tuple[np.ndarray, np.ndarray], n_out: int) -> None:
    t, y = trace
    _, out_y = downsample(t, y, n_out)
    known = y[np.isfinite(y)]
    if known.size:
        assert np.nanmin(out_y) == known.min()
        assert np.nanmax(out_y) == known.max()
    else:
        assert out_y.size == 0


@given(traces())
def test_no_line_crosses_a_hole(trace: tuple[np.ndarray, np.ndarray]) -> None:
    t, y = trace
    out_t, out_y = downsample(t, y, 8 * t.size + 8)
    hole = hole_after_s(t)
    for left, right in zip(range(out_t.size - 1), range(1, out_t.size), strict=True):
        if np.isfinite(out_y[left]) and np.isfinite(out_y[right]):
            inside = (t > out_t[left]) & (t < out_t[right])
            assert out_t[right] - out_t[left] <= hole
            assert not inside.any()


def test_a_peak_beside_an_unknown_value_survives() -> None:
    # trap of NaN-aware min-max thinning: a peak that shares a bin with a NaN is dropped
    t = np.arange(20_000) * 0.05
    y = np.full(t.size, 90.0)
    y[10_000], y[10_001] = 130.0, np.nan
    _, out_y = downsample(t, y, 200)
    assert np.nanmax(out_y) == 130.0


@pytest.mark.parametrize("size", range(1, 60))
@pytest.mark.parametrize("n_out", [4, 7, 8, 11, 12, 40])
def test_pieces_of_every_length_are_thinned(size: int, n_out: int) -> None:
    # one bin, an odd number of points and a single sample each make the thinning library abort
    t = np.arange(size, dtype=np.float64)
    y = np.sin(t)
    out_t, out_y = downsample(t, y, n_out)
    assert out_t[0] == 0.0
    assert out_t[-1] == size - 1
    assert out_y.max() == y.max()


def test_many_holes_do_not_undo_the_thinning() -> None:
    t = np.arange(200_000) * 0.2
    y = np.sin(t / 50)
    y[::3] = np.nan
    out_t, out_y = downsample(t, y, 400)
    assert out_t.size <= 6 * 400
    assert np.nanmax(out_y) == np.nanmax(y)


def test_a_wide_hole_among_many_narrow_ones_stays_open() -> None:
    t = np.arange(100_000) * 0.2
    y = np.cos(t / 70)
    y[::4] = np.nan
    y[40_000:50_000] = np.nan
    out_t, out_y = downsample(t, y, 400)
    inside = (out_t > t[40_000]) & (out_t < t[49_999])
    assert np.isnan(out_y[inside]).any()
    assert not np.isfinite(out_y[inside]).any()


def test_a_view_takes_one_sample_more_at_each_side() -> None:
    t = np.arange(1000) * 1.0
    out_t, _ = downsample(t, t.copy(), 2000, start_s=100.4, end_s=200.2)
    assert (out_t[0], out_t[-1]) == (100.0, 201.0)


def test_a_view_between_two_samples_still_has_a_line() -> None:
    t = np.arange(10) * 10.0
    out_t, _ = downsample(t, t.copy(), 100, start_s=42.0, end_s=43.0, hole_s=20.0)
    assert out_t.tolist() == [40.0, 50.0]


@pytest.mark.parametrize(
    "t",
    [[3.0, 2.0, 1.0], [0.0, 1.0, 1.0], [0.0, np.nan, 2.0], [0.0, 1.0, np.inf]],
    ids=["falls", "stands", "nan", "inf"],
)
def test_a_time_that_does_not_rise_is_refused(t: list[float]) -> None:
    with pytest.raises(ValueError, match="rise"):
        downsample(np.array(t), np.zeros(3), 8)


def test_lengths_must_agree_and_points_must_be_enough() -> None:
    with pytest.raises(ValueError, match="two equal lengths"):
        downsample(np.arange(3.0), np.zeros(2), 8)
    with pytest.raises(ValueError, match="4 points"):
        downsample(np.arange(3.0), np.zeros(3), 3)


def test_the_caller_s_arrays_stay_as_they_are() -> None:
    t, y = np.arange(5000.0), np.sin(np.arange(5000.0))
    before = y.copy()
    downsample(t, y, 100)
    assert np.array_equal(y, before)
