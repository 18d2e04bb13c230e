"""Direct standardization: an example by hand, and what must hold of any."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.analysis.matched_cells import Readings, common, spread, standardized


def side(values: list[float], cells: list[int], *, ride: list[int] | None = None) -> Readings:
    """Readings of one side, every reading a block of its own."""
    number = len(values)
    return Readings(
        np.array(values, dtype=np.float64),
        np.array(cells, dtype=np.int64),
        np.array(ride if ride is not None else [0] * number, dtype=np.int64),
        np.arange(number, dtype=np.int64),
    )


def test_worked_by_hand() -> None:
    """Two strata, as handbooks of epidemiology standardize rates (numbers made up and worked by hand).

    Stratum 0: first 4 readings of mean 2, others 12 of mean 1: weight 4 x 12 / 16 = 3.
    Stratum 1: first 6 readings of mean 10, others 2 of mean 9: weight 6 x 2 / 8 = 1.5.
    First (3 x 2 + 1.5 x 10) / 4.5 = 4.667, others (3 x 1 + 1.5 x 9) / 4.5 = 3.667: a difference of 1 in either stratum
    is a difference of 1, while the crude means, 6.8 and 2.143, differ by 4.657.
    """
    first = side([2.0] * 4 + [10.0] * 6, [0] * 4 + [1] * 6)
    others = side([1.0] * 12 + [9.0] * 2, [0] * 12 + [1] * 2)
    found = common(first, others, cells=3, least=2)
    assert found is not None
    assert found.weight == pytest.approx([3.0 / 4.5, 1.5 / 4.5, 0.0])
    means = [float(standardized(one.value, one.cell, found.weight)) for one in (first, others)]
    assert means == pytest.approx([14.0 / 3.0, 11.0 / 3.0])
    assert first.value.mean() - others.value.mean() == pytest.approx(6.8 - 15.0 / 7.0)
    assert found.count == (10, 14)
    assert found.share == (1.0, 1.0)


def test_cells_of_one_side_count_nothing() -> None:
    first = side([1.0, 1.0, 50.0, 50.0], [0, 0, 1, 1])
    others = side([2.0, 2.0, -9.0, -9.0, 3.0], [0, 0, 2, 2, 1])
    found = common(first, others, cells=3, least=2)
    assert found is not None
    assert float(standardized(first.value, first.cell, found.weight)) == 1.0
    assert float(standardized(others.value, others.cell, found.weight)) == 2.0
    assert found.share == (0.5, pytest.approx(0.4))


def test_nothing_in_common() -> None:
    assert common(side([1.0], [0]), side([1.0], [1]), cells=2, least=1) is None
    assert common(side([1.0, 1.0], [0, -1]), side([1.0, 1.0], [0, 0]), cells=2, least=2) is None


@given(
    st.lists(st.tuples(st.integers(0, 3), st.floats(-5, 5)), min_size=8, max_size=40),
    st.lists(st.tuples(st.integers(0, 3), st.floats(-5, 5)), min_size=8, max_size=40),
    st.lists(st.floats(-20, 20), min_size=4, max_size=4),
    st.floats(-3, 3),
)
def test_what_a_cell_adds_drops_out(
    one: list[tuple[int, float]], two: list[tuple[int, float]], level: list[float], shift: float
) -> None:
    """However the sides are mixed: levels of the cells leave the difference as it is, a shift of one side moves it."""
    first = side([v for _, v in one], [c for c, _ in one])
    others = side([v for _, v in two], [c for c, _ in two])
    found = common(first, others, cells=4, least=1)
    if found is None:
        return
    levels = np.array(level)

    def apart(extra: float) -> float:
        return float(
            standardized(first.value + extra, first.cell, found.weight)
            - standardized(others.value, others.cell, found.weight)
        )

    mixed = float(
        standardized(first.value + levels[first.cell], first.cell, found.weight)
        - standardized(others.value + levels[others.cell], others.cell, found.weight)
    )
    assert mixed == pytest.approx(apart(0.0), abs=1e-9)
    assert apart(shift) == pytest.approx(apart(0.0) + shift, abs=1e-9)


def test_the_spread_of_many_blocks_is_that_of_the_mean() -> None:
    """Two hundred independent blocks of one cell: the standard error of a mean, from any handbook of statistics."""
    values = np.random.default_rng(8).normal(3.0, 2.0, 200)
    readings = side(values.tolist(), [0] * 200)
    assert spread(readings, np.array([1.0])) == pytest.approx(values.std(ddof=1) / np.sqrt(200.0), rel=0.12)


def test_few_blocks_widen_it_and_one_tells_nothing() -> None:
    readings = side([1.0, 2.0], [0, 0])
    assert spread(readings, np.array([1.0])) > 2.0 * 0.5
    assert spread(side([1.0], [0]), np.array([1.0])) == float("inf")


def test_ten_rides_are_resampled_whole() -> None:
    """Readings within a ride that hang together: resampled one by one they would look ten times as sure."""
    rides = np.repeat(np.arange(12), 25)
    values = np.random.default_rng(4).normal(0.0, 1.0, 12)[rides]
    readings = Readings(values, np.zeros(300, dtype=np.int64), rides, np.arange(300))
    means = values.reshape(12, 25).mean(axis=1)
    assert spread(readings, np.array([1.0])) == pytest.approx(means.std(ddof=1) / np.sqrt(12.0), rel=0.3)
