"""Wilson's interval against published and independent values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from ridelog.analysis.proportion import wilson, witnesses

Z = 1.959963984540054
"""The 97.5 % point of the normal distribution."""


@pytest.mark.parametrize(
    ("hits", "cases", "low", "high", "close"),
    [
        # Computed with scipy.stats.binomtest(...).proportion_ci(method="wilson").
        (0, 10, 0.0, 0.277533, 1e-6),
        (1, 10, 0.017876, 0.404150, 1e-6),
        (5, 10, 0.236593, 0.763407, 1e-6),
        (9, 10, 0.595850, 0.982124, 1e-6),
        (10, 10, 0.722467, 1.0, 1e-6),
        (95, 100, 0.888250, 0.978456, 1e-6),
        # Worked examples of Newcombe 1998 on intervals for a single proportion, method 3 (from memory).
        (81, 263, 0.255289, 0.366210, 1e-6),
        (15, 148, 0.062386, 0.160487, 1e-6),
        (0, 20, 0.0, 0.1611, 1e-4),
        (1, 29, 0.0061, 0.1718, 1e-4),
    ],
)
def test_published_rows(hits: int, cases: int, low: float, high: float, close: float) -> None:
    assert wilson(hits, cases, Z) == pytest.approx((low, high), abs=close)


def test_no_case_tells_nothing() -> None:
    assert wilson(0, 0, Z) is None


@pytest.mark.parametrize(("hits", "cases"), [(-1, 3), (4, 3), (0, -1), (1, 0)])
def test_counts_that_cannot_be(hits: int, cases: int) -> None:
    with pytest.raises(ValueError, match="of"):
        wilson(hits, cases, Z)


@given(st.integers(1, 5000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_against_scipy(case: tuple[int, int]) -> None:
    hits, cases = case
    told = stats.binomtest(hits, cases).proportion_ci(method="wilson")
    found = wilson(hits, cases, Z)
    assert found == pytest.approx((told.low, told.high), abs=1e-9)
    assert found is not None
    assert 0.0 <= found[0] <= hits / cases <= found[1] <= 1.0


@given(st.lists(st.integers(1, 40), min_size=1, max_size=30))
def test_groups_are_worth_between_one_case_and_all_of_them(sizes: list[int]) -> None:
    number = witnesses(sizes)
    assert 1.0 - 1e-9 <= number <= len(sizes) + 1e-9
    assert witnesses([sizes[0]] * len(sizes)) == pytest.approx(len(sizes))
    # A mean over groups, each alike within: its variance by hand over that of one case.
    weight = np.array(sizes) / sum(sizes)
    assert number == pytest.approx(1.0 / float((weight**2).sum()))


def test_no_group_is_no_witness() -> None:
    assert witnesses([]) == 0.0
