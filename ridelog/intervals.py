"""Stretches of time as half-open intervals, and their algebra.

Everything that speaks of "from here to there" (gaps, quality marks, flagged stretches, excursions) uses these
functions, so that touching, nesting and empty cases are decided once. A list of intervals is *tidy* when it is sorted,
free of overlap and of empty members; every function here returns tidy lists.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt


class Interval(NamedTuple):
    """`start_s <= t < end_s`, seconds from the ride's first sample."""

    start_s: float
    end_s: float

    @property
    def length_s(self) -> float:
        """Seconds; 0 for an empty or reversed interval."""
        return max(0.0, self.end_s - self.start_s)


def tidy(intervals: Iterable[Interval], join_gap_s: float = 0.0) -> list[Interval]:
    """Sort, drop empty ones, and join those that overlap, touch, or lie no more than `join_gap_s` apart."""
    result: list[Interval] = []
    for start, end in sorted(i for i in intervals if i.end_s > i.start_s):
        if result and start - result[-1].end_s <= join_gap_s:
            result[-1] = Interval(result[-1].start_s, max(result[-1].end_s, end))
        else:
            result.append(Interval(start, end))
    return result


def union(*sets: Iterable[Interval]) -> list[Interval]:
    """All time that any of the sets covers."""
    return tidy(i for one in sets for i in one)


def intersection(left: Iterable[Interval], right: Iterable[Interval]) -> list[Interval]:
    """All time that both cover."""
    a, b = tidy(left), tidy(right)
    result: list[Interval] = []
    i = j = 0
    while i < len(a) and j < len(b):
        start, end = max(a[i].start_s, b[j].start_s), min(a[i].end_s, b[j].end_s)
        if end > start:
            result.append(Interval(start, end))
        if a[i].end_s <= b[j].end_s:
            i += 1
        else:
            j += 1
    return result


def difference(left: Iterable[Interval], right: Iterable[Interval]) -> list[Interval]:
    """All time that `left` covers and `right` does not."""
    a, b = tidy(left), tidy(right)
    result: list[Interval] = []
    j = 0
    for start, end in a:
        at = start
        while j < len(b) and b[j].end_s <= at:
            j += 1
        k = j
        while k < len(b) and b[k].start_s < end:
            if b[k].start_s > at:
                result.append(Interval(at, b[k].start_s))
            at = max(at, b[k].end_s)
            k += 1
        if at < end:
            result.append(Interval(at, end))
    return result


def total_s(intervals: Iterable[Interval]) -> float:
    """Seconds covered, overlaps counted once."""
    return float(sum(i.length_s for i in tidy(intervals)))


def clip(intervals: Iterable[Interval], start_s: float, end_s: float) -> list[Interval]:
    """The part inside `start_s`..`end_s`."""
    return intersection(intervals, [Interval(start_s, end_s)])


def iou(left: Iterable[Interval], right: Iterable[Interval]) -> float:
    """Intersection over union, 0..1; 0 where both are empty."""
    a, b = list(left), list(right)
    together = total_s([*a, *b])
    return total_s(intersection(a, b)) / together if together > 0 else 0.0


class Cover:
    """Seconds that a set of intervals covers within any stretch, looked up instead of intersected.

    For many stretches against many intervals: each question costs a binary search.
    """

    def __init__(self, intervals: Iterable[Interval]) -> None:
        spans = tidy(intervals)
        self._edges = np.array([edge for span in spans for edge in span], dtype=np.float64)
        lengths = [part for span in spans for part in (0.0, span.length_s)]
        self._so_far = np.cumsum(np.array(lengths, dtype=np.float64))

    def seconds(self, start_s: float, end_s: float) -> float:
        """Seconds covered between two times; 0 where the stretch is empty."""
        if self._edges.size == 0 or end_s <= start_s:
            return 0.0
        before, after = np.interp([start_s, end_s], self._edges, self._so_far)
        return float(after - before)


def runs(mask: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Index ranges `[first, past_last)` where a boolean array is true."""
    padded = np.zeros(mask.size + 2, dtype=np.int8)
    padded[1:-1] = mask
    edges = np.flatnonzero(np.diff(padded))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def from_mask(t_s: npt.NDArray[np.float64], mask: npt.NDArray[np.bool_], step_s: float) -> list[Interval]:
    """Intervals of a uniform grid where `mask` is true; each grid point stands for `step_s` from its time on."""
    return [Interval(float(t_s[a]), float(t_s[b - 1]) + step_s) for a, b in runs(mask)]


def to_mask(t_s: npt.NDArray[np.float64], intervals: Iterable[Interval]) -> npt.NDArray[np.bool_]:
    """True at the times that lie inside one of the intervals (start included, end not)."""
    mask = np.zeros(t_s.size, dtype=np.bool_)
    for start, end in tidy(intervals):
        mask[np.searchsorted(t_s, start, side="left") : np.searchsorted(t_s, end, side="left")] = True
    return mask
