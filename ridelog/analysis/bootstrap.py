"""Bands by drawing whole clusters anew: what another set of rides like these might have given.

Samples of one ride are alike, so counting each as a case of its own would make a band far too narrow: with m samples a
ride that agree by a correlation r, the variance is 1 + (m - 1) r times larger (the design effect of cluster samples).
Rides are drawn instead, each whole. A library for this draws one statistic at a time; a review asks for hundreds.
"""

from __future__ import annotations

import numpy as np

from ridelog.results import FloatArray


def drawn_sums(values: FloatArray, draws: int, rng: np.random.Generator) -> FloatArray:
    """Sums of each column of `values` (clusters, k) over as many clusters drawn with replacement, (draws, k)."""
    clusters = values.shape[0]
    sums = np.zeros((draws, values.shape[1]))
    if clusters == 0:
        return sums
    columns = np.ascontiguousarray(values.T)
    # In pieces that stay near the processor.
    step = max(1, (1 << 14) // clusters)
    for first in range(0, draws, step):
        rows = min(step, draws - first)
        picked = rng.integers(0, clusters, (rows, clusters), dtype=np.int64)
        if rows > 1:
            picked += clusters * np.arange(rows)[:, None]
        times = np.bincount(picked.ravel(), minlength=rows * clusters).reshape(rows, clusters)
        # No matrix product: libraries share so small a one out among threads, and lose tenfold on a busy machine.
        sums[first : first + rows] = np.einsum("rc,kc->rk", times.astype(np.float64), columns)
    return sums


def middle_95(drawn: FloatArray) -> tuple[float, float] | None:
    """The 2.5 % and 97.5 % points of what was drawn; draws in which the figure can't be told (NaN) are left out. None
    where none tells."""
    told = drawn[np.isfinite(drawn)]
    if told.size == 0:
        return None
    low, high = np.quantile(told, (0.025, 0.975))
    return float(low), float(high)
