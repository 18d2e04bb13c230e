"""Irregular channels on a uniform grid."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.channels import unit_of
from ridelog.grid import build, grid_times, make_grid, to_grid, usable
from ridelog.intervals import Interval
from ridelog.ride import ChannelInfo, QualityMark, Ride


def ride(t_s: np.ndarray, gaps: tuple[Interval, ...] = (), quality: tuple[QualityMark, ...] = (), **channels) -> Ride:
    held = {name: rate for name, (_, rate) in channels.items() if rate}
    frame = pl.DataFrame({"t_s": t_s}).with_columns(
        [pl.Series(name, values).fill_nan(None) for name, (values, _) in channels.items()]
    )
    info = {
        name: ChannelInfo(name, unit_of(name), held.get(name), None, 1.0, name in held, "logged", name)
        for name in channels
    }
    return Ride("x", frame, info, (), gaps, None, None, quality=quality)


def mark(start_s: float, end_s: float) -> QualityMark:
    return QualityMark("coolant_c", "spike", start_s, end_s, "excluded", "")


def test_grid_times_are_round_numbers() -> None:
    assert grid_times(1.0).tolist() == [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]
    assert grid_times(0.39).tolist() == [0.0, 0.2]
    assert grid_times(0.0).tolist() == [0.0]


def test_lines_between_samples() -> None:
    grid = make_grid(ride(np.array([0.0, 0.5, 1.0]), coolant_c=(np.array([80.0, 85.0, 80.0]), None)))
    assert grid.channels["coolant_c"] == pytest.approx([80.0, 82.0, 84.0, 84.0, 82.0, 80.0])


def test_a_state_holds_instead() -> None:
    grid = make_grid(ride(np.array([0.0, 0.5, 1.0]), map_slot=(np.array([1.0, 2.0, 1.0]), None)))
    assert grid.channels["map_slot"].tolist() == [1.0, 1.0, 1.0, 2.0, 2.0, 1.0]


def test_a_gap_stays_a_gap_but_its_ends_are_known() -> None:
    t_s = np.concatenate([np.arange(0.0, 5.1, 0.1), np.arange(8.0, 12.1, 0.1)])
    grid = make_grid(ride(t_s, coolant_c=(t_s.copy(), None)))
    values = grid.channels["coolant_c"]
    inside = (grid.t_s > 5.01) & (grid.t_s < 7.99)
    assert np.isnan(values[inside]).all()
    assert values[~inside] == pytest.approx(grid.t_s[~inside])


def test_a_slow_channel_has_its_own_idea_of_a_gap() -> None:
    # 1 Hz beside 20 Hz: a step of 3 s is within five of its own; one of 6 s is not.
    t_s = np.arange(0.0, 60.0, 0.05)
    slow = np.full(t_s.size, np.nan)
    slow[::20] = 90.0
    slow[(t_s > 20.0) & (t_s < 23.0)] = np.nan
    slow[(t_s > 40.0) & (t_s < 46.0)] = np.nan
    grid = make_grid(ride(t_s, coolant_c=(slow, None)))
    values = grid.channels["coolant_c"]
    assert np.isfinite(values[(grid.t_s > 20.0) & (grid.t_s < 23.0)]).all()
    assert np.isnan(values[(grid.t_s > 40.1) & (grid.t_s < 45.9)]).all()


def test_gaps_of_the_ride_cut_every_channel() -> None:
    t_s = np.arange(0.0, 10.0, 0.1)
    grid = make_grid(ride(t_s, (Interval(4.9, 5.0),), coolant_c=(t_s, None)))
    assert np.isfinite(grid.channels["coolant_c"]).all()  # both ends of the break are samples
    samples = usable(ride(t_s, (Interval(4.9, 5.0),), coolant_c=(t_s, None)), "coolant_c")
    assert (~samples.joined).sum() == 1


def test_excluded_stretches_are_left_out_and_not_bridged() -> None:
    t_s = np.arange(0.0, 10.0, 0.1)
    values = np.full(t_s.size, 90.0)
    values[30:34] = 140.0
    samples = usable(ride(t_s, quality=(mark(3.0, 3.4),), coolant_c=(values, None)), "coolant_c")
    assert samples.y.max() == 90.0
    assert samples.covered_s == pytest.approx(9.9 - 0.5)
    grid = make_grid(ride(t_s, quality=(mark(3.0, 3.4),), coolant_c=(values, None)))
    assert np.isnan(grid.channels["coolant_c"][(grid.t_s >= 3.0) & (grid.t_s < 3.4)]).all()


def test_a_mark_without_length_takes_out_its_sample() -> None:
    t_s = np.arange(0.0, 10.0, 0.1)
    values = np.full(t_s.size, 90.0)
    values[30] = 140.0
    samples = usable(ride(t_s, quality=(mark(t_s[30], t_s[30]),), coolant_c=(values, None)), "coolant_c")
    assert samples.y.max() == 90.0


def test_repeats_of_a_held_channel_become_a_line_from_update_to_update() -> None:
    t_s = np.arange(0.0, 10.0, 0.05)
    speed = np.floor(t_s) * 2.0  # 1 Hz, repeated twenty times
    logged = ride(t_s, gps_speed_mps=(speed, 1.0))
    values = make_grid(logged).channels["gps_speed_mps"]
    assert values[:46] == pytest.approx(2.0 * np.arange(46) / 5.0)
    assert usable(logged, "gps_speed_mps").t_s.size == t_s.size


def test_a_held_value_that_does_not_change_is_not_drawn_out() -> None:
    t_s = np.arange(0.0, 100.0, 0.05)
    coolant = np.where(t_s < 90.0, 90.0, 91.0)
    grid = make_grid(ride(t_s, coolant_c=(coolant, 1.0)))
    assert (grid.channels["coolant_c"][grid.t_s <= 88.9] == 90.0).all()


def test_a_channel_without_a_value_is_not_there() -> None:
    grid = make_grid(ride(np.array([0.0, 1.0]), coolant_c=(np.array([np.nan, np.nan]), None)))
    assert grid.get("coolant_c") is None
    assert grid.get("engine_rpm") is None
    assert usable(ride(np.array([0.0, 1.0])), "coolant_c").covered_s == 0.0


def test_one_sample_stands_for_itself_alone() -> None:
    samples = build(np.array([0.4]), np.array([90.0]), excluded=[], gaps=[])
    values = to_grid(samples, grid_times(1.0))
    assert values[2] == 90.0
    assert np.isnan(np.delete(values, 2)).all()


@given(st.lists(st.floats(0.01, 0.9), min_size=2, max_size=80), st.integers(0, 2**32 - 1), st.booleans(), st.booleans())
def test_the_grid_never_leaves_what_was_logged(steps: list[float], seed: int, hold: bool, holes: bool) -> None:
    draw = np.random.default_rng(seed)
    t_s = np.concatenate([[0.0], np.cumsum(steps)])
    y = draw.uniform(-10.0, 10.0, t_s.size)
    gaps = [Interval(float(t_s[1]), float(t_s[-2]))] if holes and t_s.size > 4 else []
    samples = build(t_s, y, excluded=[], gaps=gaps, hold=hold)
    grid_s = grid_times(float(t_s[-1]))
    values = to_grid(samples, grid_s)
    known = np.isfinite(values)
    if not gaps:
        plain = np.interp(grid_s, t_s, y) if not hold else y[np.searchsorted(t_s, grid_s, "right") - 1]
        assert known.all()
        assert values == pytest.approx(plain, abs=1e-9)
    assert (values[known] >= y.min() - 1e-9).all()
    assert (values[known] <= y.max() + 1e-9).all()
