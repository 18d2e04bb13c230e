"""The blocked search finds the same path as the plain one."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.analysis.viterbi import cheapest_path


def total(cost: np.ndarray, path: np.ndarray, change: float) -> float:
    return float(cost[np.arange(path.size), path].sum() + change * (np.diff(path) != 0).sum())


def plain(cost: np.ndarray, change: float) -> float:
    """Cheapest total by the textbook recursion, one step at a time."""
    value = cost[0].copy()
    for row in cost[1:]:
        value = row + np.minimum(value, value.min() + change)
    return float(value.min())


@given(st.integers(1, 400), st.integers(1, 8), st.floats(0.0, 6.0), st.integers(0, 2**32 - 1))
def test_no_cheaper_path_exists(times: int, states: int, change: float, seed: int) -> None:
    cost = np.random.default_rng(seed).exponential(2.0, (times, states))
    path = cheapest_path(cost, change)
    assert path.shape == (times,)
    assert total(cost, path, change) == pytest.approx(plain(cost, change), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_against_every_path_there_is(seed: int) -> None:
    cost = np.random.default_rng(seed).exponential(2.0, (7, 3))
    best = min(total(cost, np.array(path), 1.5) for path in itertools.product(range(3), repeat=7))
    assert total(cost, cheapest_path(cost, 1.5), 1.5) == pytest.approx(best)


def test_stretches_without_evidence_change_nothing() -> None:
    cost = np.zeros((300, 4))
    cost[:100, [0, 1, 3]] = 5.0
    cost[200:, [0, 1, 3]] = 5.0
    assert (cheapest_path(cost, 3.0) == 2).all()


def test_nothing_in_nothing_out() -> None:
    assert cheapest_path(np.zeros((0, 3)), 1.0).size == 0
