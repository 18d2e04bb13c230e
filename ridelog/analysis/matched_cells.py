"""Two sets of readings brought to the same mix of cells: direct standardization.

Two rides are never ridden alike. Readings (of whatever kind) are therefore sorted into cells, a mean is taken in each
cell on each side, and both sides' means are averaged with the same weights. The weight of a cell is n1 n2 / (n1 + n2),
n1 and n2 its readings on either side: cells that only one side has count nothing, and the difference of two means of
equal spread is then told as sharply as it can be.

Sources: direct standardization as handbooks of epidemiology teach it (a standard population's weights on the rates of
both groups), these weights for differences after Mantel and Haenszel; both from memory, with an example worked by hand
in the tests.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ridelog.results import BoolArray, FloatArray

IndexArray = npt.NDArray[np.int64]

RESAMPLES = 300
SEED = 3

ENOUGH_RIDES = 10
"""From so many rides a side on, whole rides are resampled; below, stretches of the rides, and what rides differ by from
day to day has to come from elsewhere."""


@dataclass(frozen=True)
class Readings:
    """Readings of one side: value, cell (0.., -1 for none), the ride and the block of some minutes each belongs to,
    arrays (n,)."""

    value: FloatArray
    cell: IndexArray
    ride: IndexArray
    block: IndexArray

    @property
    def rides(self) -> int:
        """Number of rides with readings."""
        return int(np.unique(self.ride[self.cell >= 0]).size)


@dataclass(frozen=True)
class Common:
    """Cells that both sides have: weights (cells,) that sum to 1, 0 in the rest; `share`: of each side's readings in
    them; `count`: those readings."""

    weight: FloatArray
    share: tuple[float, float]
    count: tuple[int, int]


def common(first: Readings, others: Readings, cells: int, least: int) -> Common | None:
    """The common cells, `least` readings or more on each side; None where there is none."""
    n1, n2 = (np.bincount(one.cell[one.cell >= 0], minlength=cells).astype(np.float64) for one in (first, others))
    both = (n1 >= least) & (n2 >= least)
    if not both.any():
        return None
    weight = np.where(both, n1 * n2 / np.maximum(n1 + n2, 1.0), 0.0)
    count = (int(n1[both].sum()), int(n2[both].sum()))
    share = (float(count[0] / max(n1.sum(), 1.0)), float(count[1] / max(n2.sum(), 1.0)))
    return Common(weight / weight.sum(), share, count)


def standardized(value: FloatArray, cell: IndexArray, weight: FloatArray) -> FloatArray:
    """Means of the cells averaged with the weights. `value` (n,) or (K, n); gives () or (K,)."""
    used = cell >= 0
    used[used] = weight[cell[used]] > 0.0
    number = np.bincount(cell[used], minlength=weight.size)
    each = weight[cell[used]] / number[cell[used]]
    return np.asarray(value[..., used] @ each)


NORMAL = 1.959963984540054
"""97.5 % of a normal distribution."""


def spread(readings: Readings, weight: FloatArray) -> float:
    """Standard error of a side's standardized mean, by resampling its blocks within each ride, or whole rides where
    there are enough of them. Few blocks know their own spread badly: the error is widened by Student's t over the
    normal for that many, so that 1.96 of it still reach 95 %. Infinite for a single block."""
    used: BoolArray = readings.cell >= 0
    used[used] = weight[readings.cell[used]] > 0.0
    value, cell = readings.value[used], readings.cell[used]
    whole = readings.rides >= ENOUGH_RIDES
    labels = readings.ride[used] if whole else readings.block[used]
    names, at = np.unique(labels, return_inverse=True)
    if names.size < 2:
        return float("inf")
    sums, counts = (np.zeros((names.size, weight.size)) for _ in range(2))
    np.add.at(sums, (at, cell), value)
    np.add.at(counts, (at, cell), 1.0)
    home = np.zeros(names.size, dtype=np.int64)
    home[at] = 0 if whole else readings.ride[used]
    rng = np.random.default_rng(SEED)
    drawn = np.zeros((RESAMPLES, names.size))
    for ride in np.unique(home):
        here = np.flatnonzero(home == ride)
        drawn[:, here] = rng.multinomial(here.size, np.full(here.size, 1.0 / here.size), size=RESAMPLES)
    number = drawn @ counts
    with np.errstate(invalid="ignore", divide="ignore"):
        means = np.where(number > 0.0, (drawn @ sums) / number, 0.0)
    present = (number > 0.0) * weight
    total = present.sum(axis=1)
    fine = total > 0.0
    found = (means[fine] * present[fine]).sum(axis=1) / total[fine]
    from scipy.special import stdtrit

    blocks = names.size
    few = float(stdtrit(blocks - 1, 0.975)) / NORMAL * float(np.sqrt(blocks / (blocks - 1)))
    return few * float(found.std())
