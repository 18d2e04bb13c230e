"""How well found stretches match true ones: by event, one to one, and by second.

Seconds reward the long ones, events can be fooled by pieces: both are told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from ridelog.intervals import Interval, intersection, iou, total_s


@dataclass(frozen=True)
class Score:
    """Counts of stretches, or seconds: found and true, found alone, true alone."""

    both: float
    found_alone: float
    true_alone: float

    @property
    def precision(self) -> float:
        return self.both / (self.both + self.found_alone)

    @property
    def recall(self) -> float:
        return self.both / (self.both + self.true_alone)

    @property
    def f1(self) -> float:
        return 2.0 * self.both / (2.0 * self.both + self.found_alone + self.true_alone)

    def __add__(self, other: Score) -> Score:
        return Score(self.both + other.both, self.found_alone + other.found_alone, self.true_alone + other.true_alone)


NONE = Score(0.0, 0.0, 0.0)


def by_event(found: Sequence[Interval], true: Sequence[Interval], least: float = 0.5) -> Score:
    """Stretches matched one to one where intersection over union is `least` or more, as many as can be."""
    if not found or not true:
        return Score(0.0, len(found), len(true))
    overlap = np.array([[iou([a], [b]) for b in true] for a in found])
    rows, columns = linear_sum_assignment(np.where(overlap >= least, 1.0 + overlap, 0.0), maximize=True)
    matched = int(np.count_nonzero(overlap[rows, columns] >= least))
    return Score(matched, len(found) - matched, len(true) - matched)


def by_second(found: Sequence[Interval], true: Sequence[Interval]) -> Score:
    """Seconds in both, in what was found alone, in what is true alone."""
    both = total_s(intersection(list(found), list(true)))
    return Score(both, total_s(list(found)) - both, total_s(list(true)) - both)
