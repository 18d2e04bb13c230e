"""Drawing whole clusters: against another library's bootstrap, and against what cluster samples are known to do."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from ridelog.analysis.bootstrap import drawn_sums, middle_95
from ridelog.results import FloatArray


def rides(seed: int, count: int) -> FloatArray:
    """Seconds on the map and seconds in all of so many rides: long and short ones, each with its own habit."""
    rng = np.random.default_rng(seed)
    seconds = rng.lognormal(4.0, 0.8, count)
    return np.stack([seconds * rng.beta(1.2, 0.8, count), seconds], axis=1)


@pytest.mark.parametrize("count", [12, 60, 700])
def test_a_ratio_over_rides_against_scipy(count: int) -> None:
    values = rides(count, count)

    def ratio(part: FloatArray, whole: FloatArray, axis: int = -1) -> FloatArray:
        return np.asarray(part.sum(axis=axis) / whole.sum(axis=axis))

    told = stats.bootstrap(
        (values[:, 0], values[:, 1]), ratio, paired=True, vectorized=True, n_resamples=8000, batch=500,
        method="percentile", rng=np.random.default_rng(1),
    )  # fmt: skip
    sums = drawn_sums(values, 8000, np.random.default_rng(2))
    found = middle_95(sums[:, 0] / sums[:, 1])
    # Each end is off by the chance of 8,000 draws: 3 % of a standard error.
    close = 4 * 0.03 * float(told.standard_error) * math.sqrt(2.0)
    assert found == pytest.approx(tuple(told.confidence_interval), abs=close)


def test_the_design_effect_of_clusters() -> None:
    """1 + (m - 1) r = 10.8 for clusters of 50 that agree by 0.2 (Kish's design effect): so much wider in variance than
    if each sample were a case of its own."""
    rng = np.random.default_rng(3)
    clusters, m, r = 4000, 50, 0.2
    samples = math.sqrt(r) * rng.normal(size=(clusters, 1)) + math.sqrt(1.0 - r) * rng.normal(size=(clusters, m))
    means = drawn_sums(samples.mean(axis=1, keepdims=True), 4000, rng)[:, 0] / clusters
    alone = samples.var() / samples.size
    assert means.var() / alone == pytest.approx(1 + (m - 1) * r, rel=0.12)
    assert 1 + (m - 1) * r == pytest.approx(10.8)


@pytest.mark.parametrize(("clusters", "most"), [(5, 126), (3, 10)])
def test_few_clusters_can_be_drawn_in_few_ways(clusters: int, most: int) -> None:
    """C(2n - 1, n) different draws: 126 of five clusters, so that a band of them would be made of few values."""
    assert math.comb(2 * clusters - 1, clusters) == most
    # Powers of a base no count reaches tell every draw apart by its sum.
    values = np.power(16.0, np.arange(clusters))[:, None]
    sums = drawn_sums(values, 40_000, np.random.default_rng(4))
    assert np.unique(sums).size == most


def test_the_same_seed_gives_the_same_digits_whatever_is_drawn_beside() -> None:
    values = rides(5, 300)
    one = drawn_sums(values, 1000, np.random.default_rng(9))
    assert np.array_equal(one, drawn_sums(values, 1000, np.random.default_rng(9)))
    assert one.shape == (1000, 2)
    assert one[:, 1].mean() == pytest.approx(values[:, 1].sum(), rel=0.01)


def test_many_clusters_are_drawn_piece_by_piece() -> None:
    values = np.ones((200_000, 1))
    assert drawn_sums(values, 3, np.random.default_rng(0)).ravel().tolist() == [200_000.0] * 3


def test_nothing_drawn_tells_nothing() -> None:
    assert middle_95(np.full(5, np.nan)) is None
    assert drawn_sums(np.zeros((0, 2)), 4, np.random.default_rng(0)).tolist() == [[0.0, 0.0]] * 4
