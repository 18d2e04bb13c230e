"""Interval algebra, case by case and as properties."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.intervals import (
    Cover,
    Interval,
    clip,
    difference,
    from_mask,
    intersection,
    iou,
    runs,
    tidy,
    to_mask,
    total_s,
    union,
)

_interval = st.tuples(st.integers(0, 60), st.integers(0, 60)).map(lambda pair: Interval(float(pair[0]), float(pair[1])))
_sets = st.lists(_interval, max_size=8)


def _seconds(intervals: list[Interval]) -> set[int]:
    return {second for i in intervals for second in range(int(i.start_s), int(i.end_s))}


@pytest.mark.parametrize(
    ("left", "right", "expected"),
    [
        ([(10, 20)], [(15, 25)], [(10, 15)]),  # overlap on the right
        ([(10, 20)], [(5, 15)], [(15, 20)]),  # overlap on the left
        ([(10, 20)], [(12, 15)], [(10, 12), (15, 20)]),  # inside
        ([(10, 20)], [(5, 25)], []),  # covered
        ([(10, 20)], [(20, 30)], [(10, 20)]),  # touching
        ([(0, 5), (10, 20)], [(4, 11), (19, 30)], [(0, 4), (11, 19)]),
    ],
)
def test_difference(left: list[tuple[float, float]], right: list[tuple[float, float]], expected: object) -> None:
    assert difference([Interval(*i) for i in left], [Interval(*i) for i in right]) == expected


@pytest.mark.parametrize(
    ("left", "right", "expected"),
    [((10, 20), (15, 25), 1 / 3), ((0, 10), (0, 5), 0.5), ((12, 48), (10, 50), 0.9), ((0, 10), (10, 20), 0.0)],
)
def test_iou_worked_values(left: tuple[float, float], right: tuple[float, float], expected: float) -> None:
    """Intersection over union by its definition (Jaccard 1901), worked by hand."""
    assert iou([Interval(*left)], [Interval(*right)]) == pytest.approx(expected)


def test_iou_of_nothing_is_zero() -> None:
    assert iou([], []) == 0.0


@given(_sets, _sets)
def test_algebra_agrees_with_sets_of_seconds(left: list[Interval], right: list[Interval]) -> None:
    a, b = _seconds(left), _seconds(right)
    assert _seconds(union(left, right)) == a | b
    assert _seconds(intersection(left, right)) == a & b
    assert _seconds(difference(left, right)) == a - b
    assert total_s(left) == len(a)


@given(_sets, st.floats(0, 5))
def test_tidy_is_sorted_apart_and_idempotent(intervals: list[Interval], gap_s: float) -> None:
    once = tidy(intervals, gap_s)
    assert once == tidy(once, gap_s)
    assert all(a.end_s + gap_s < b.start_s for a, b in itertools.pairwise(once))


@given(st.lists(st.booleans(), max_size=80))
def test_masks_round_trip(bits: list[bool]) -> None:
    mask = np.array(bits, dtype=np.bool_)
    t_s = np.arange(mask.size) * 0.2
    assert (to_mask(t_s, from_mask(t_s, mask, 0.2)) == mask).all() or np.isclose(
        total_s(from_mask(t_s, mask, 0.2)), mask.sum() * 0.2
    )
    assert sum(b - a for a, b in runs(mask)) == mask.sum()


def test_clip() -> None:
    assert clip([Interval(-5, 5), Interval(8, 20)], 0, 10) == [Interval(0, 5), Interval(8, 10)]


@given(_sets, _interval)
def test_looking_up_covered_time_equals_intersecting(spans: list[Interval], asked: Interval) -> None:
    assert Cover(spans).seconds(*asked) == pytest.approx(total_s(intersection(spans, [asked])), abs=1e-9)
