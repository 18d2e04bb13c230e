"""Time above a temperature."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.analysis.exposure import Trace, above, band, exposures

T = np.array([0.0, 10.0, 20.0, 30.0, 40.0])
Y = np.array([90.0, 110.0, 100.0, 120.0, 80.0])


def joined(t_s: np.ndarray) -> np.ndarray:
    return np.ones(t_s.size - 1, dtype=np.bool_)


def test_every_row_of_the_table(reference: Callable[[str], list[dict[str, float]]]) -> None:
    for row in reference("time_above.csv"):
        found = above(T, Y, joined(T), row["threshold_c"])
        assert found.total_s == row["seconds"]
        assert found.degree_s == pytest.approx(row["degree_s"], abs=1e-12)


def test_touching_is_not_being_above() -> None:
    y = np.array([90.0, 105.0, 90.0, 105.0, 105.0])
    found = above(T, y, joined(T), 105.0)
    assert (found.total_s, found.start_s.size, found.degree_s) == (0.0, 0, 0.0)


def test_coming_down_to_the_threshold_in_a_point_does_not_end_a_stretch() -> None:
    found = above(T, Y, joined(T), 100.0)
    assert found.start_s.size == 1
    assert found.longest_s == 30.0


def test_a_flat_spell_on_the_threshold_does() -> None:
    y = np.array([100.0, 110.0, 105.0, 105.0, 110.0])
    assert above(T, y, joined(T), 105.0).start_s.size == 2


def test_nothing_is_counted_across_a_gap() -> None:
    y = np.full(5, 110.0)
    found = above(T, y, np.array([True, False, True, True]), 105.0)
    assert found.total_s == 30.0
    assert found.start_s.tolist() == [0.0, 20.0]
    assert found.longest_s == 20.0


def test_a_sine_at_two_rates() -> None:
    # 100 + 10 sin(2 pi t / 60) over ten minutes is above 105 for 200 s; on ten-second steps the chords lose 7.7 %.
    for step, expected in ((1.0, 200.0), (10.0, 184.53)):
        t_s = np.arange(0.0, 600.0 + step, step)
        y = 100.0 + 10.0 * np.sin(2.0 * np.pi * t_s / 60.0)
        assert above(t_s, y, joined(t_s), 105.0).total_s == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize("store", [np.floor, np.round])
def test_the_band_holds_the_truth_whether_the_sensor_rounds_or_cuts_off(store: Callable) -> None:
    t_s = np.arange(0.0, 601.0)
    y = store(100.0 + 10.0 * np.sin(2.0 * np.pi * t_s / 60.0))
    limits = band(t_s, y, joined(t_s), 105.0, resolution_c=1.0, held_s=None, covered_s=600.0)
    assert limits.low_s <= 200.0 <= limits.high_s


def test_the_band_of_a_whole_degree_sensor_holds_above_and_at_least() -> None:
    t_s = np.arange(0.0, 100.0)
    y = np.select([t_s < 30.0, t_s < 60.0, t_s < 70.0, t_s < 90.0], [89.0, 90.0, 91.0, 90.0], 89.0)
    limits = band(t_s, y, joined(t_s), 90.0, resolution_c=1.0, held_s=None, covered_s=99.0)
    assert limits.low_s <= 10.0  # seconds whose reading is above 90
    assert limits.high_s >= 60.0  # seconds whose reading is 90 or above


def test_a_repeated_value_widens_the_band_by_its_period() -> None:
    limits = band(T, Y, joined(T), 105.0, resolution_c=None, held_s=2.0, covered_s=40.0)
    exact = above(T, Y, joined(T), 105.0)
    assert limits.low_s == pytest.approx(exact.total_s - 2.0 * exact.start_s.size)
    assert limits.high_s == pytest.approx(exact.total_s + 2.0 * exact.start_s.size)


def test_engine_off_is_the_part_with_no_engine_speed() -> None:
    rpm_t = np.array([0.0, 15.0, 16.0, 40.0])
    rpm = Trace(rpm_t, np.array([5000.0, 1500.0, 0.0, 0.0]), joined(rpm_t))
    (record, _), *_ = exposures(
        Trace(T, np.full(5, 100.0), joined(T)),
        rpm,
        (("warm", 95.0),),
        duration_s=50.0,
        resolution_c=None,
        held_s=None,
    )
    assert record.observed_s == 40.0
    assert record.engine_off_s == pytest.approx(24.0)
    assert record.unknown_s == 10.0
    assert record.peak_c == 100.0


def test_engine_off_is_unknown_without_engine_speed() -> None:
    ((record, _),) = exposures(
        Trace(T, Y, joined(T)), None, (("a", 95.0),), duration_s=40.0, resolution_c=None, held_s=None
    )
    assert record.engine_off_s is None


def test_no_coolant_is_all_unknown() -> None:
    empty = Trace(np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.bool_))
    ((record, _),) = exposures(empty, None, (("a", 95.0),), duration_s=40.0, resolution_c=None, held_s=None)
    assert (record.unknown_s, record.peak_c, record.observed_high_s) == (40.0, None, 0.0)


@st.composite
def traces(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray, np.ndarray, float]:
    steps = draw(st.lists(st.floats(0.05, 20.0), min_size=1, max_size=30))
    t_s = np.concatenate([[0.0], np.cumsum(steps)])
    values = st.one_of(st.floats(60.0, 130.0), st.sampled_from([90.0, 95.0, 105.0]))
    y = np.array(draw(st.lists(values, min_size=t_s.size, max_size=t_s.size)))
    pieces = np.array(draw(st.lists(st.booleans(), min_size=t_s.size - 1, max_size=t_s.size - 1)), dtype=np.bool_)
    return t_s, y, pieces, draw(st.sampled_from([80.0, 90.0, 95.0, 105.0, 111.3]))


@given(traces(), st.data())
def test_points_inserted_on_the_line_change_nothing(trace: tuple, data: st.DataObject) -> None:
    t_s, y, pieces, threshold = trace
    at = data.draw(st.integers(0, t_s.size - 2))
    share = data.draw(st.floats(0.01, 0.99))
    t_new = np.insert(t_s, at + 1, t_s[at] + share * (t_s[at + 1] - t_s[at]))
    y_new = np.insert(y, at + 1, y[at] + share * (y[at + 1] - y[at]))
    before = above(t_s, y, pieces, threshold)
    after = above(t_new, y_new, np.insert(pieces, at, pieces[at]), threshold)
    assert after.total_s == pytest.approx(before.total_s, abs=1e-6)
    assert after.degree_s == pytest.approx(before.degree_s, abs=1e-5)
    assert after.longest_s == pytest.approx(before.longest_s, abs=1e-6)


@given(traces(), st.data())
def test_two_parts_add_up_to_the_whole(trace: tuple, data: st.DataObject) -> None:
    t_s, y, pieces, threshold = trace
    cut = data.draw(st.integers(0, t_s.size - 1))
    whole = above(t_s, y, pieces, threshold)
    left = above(t_s[: cut + 1], y[: cut + 1], pieces[:cut], threshold)
    right = above(t_s[cut:], y[cut:], pieces[cut:], threshold)
    assert left.total_s + right.total_s == pytest.approx(whole.total_s, abs=1e-9)
    assert left.degree_s + right.degree_s == pytest.approx(whole.degree_s, abs=1e-7)


@given(traces())
def test_bounds_hold_the_time_and_the_covered_time_holds_the_bounds(trace: tuple) -> None:
    t_s, y, pieces, threshold = trace
    ((record, over),) = exposures(
        Trace(t_s, y, pieces), None, (("x", threshold),), duration_s=float(t_s[-1]), resolution_c=1.0, held_s=0.5
    )
    covered = float(np.diff(t_s)[pieces].sum())
    assert record.observed_low_s <= record.observed_s <= record.observed_high_s <= covered + 1e-9
    assert record.unknown_s + covered == pytest.approx(t_s[-1])
    assert (over.lengths_s >= 0.0).all()
    assert (over.start_s[1:] >= over.end_s[:-1]).all()
