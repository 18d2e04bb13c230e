"""Time above a temperature, exactly, on the line drawn through the samples.

Between two samples the trace is a straight line; only touching the threshold is not being above it. Nothing is counted
across a gap.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.results import BoolArray, Exposure, FloatArray


@dataclass(frozen=True)
class Above:
    """Every stretch above a threshold, in order: start and end in seconds. `degree_s` is the area between trace and
    threshold over all of them, K s."""

    start_s: FloatArray
    end_s: FloatArray
    degree_s: float

    @property
    def lengths_s(self) -> FloatArray:
        """Seconds of each stretch."""
        return self.end_s - self.start_s

    @property
    def total_s(self) -> float:
        """Seconds of all of them."""
        return float(self.lengths_s.sum())

    @property
    def longest_s(self) -> float:
        """Seconds of the longest one; 0 where there is none."""
        return float(self.lengths_s.max()) if self.start_s.size else 0.0


def above(t_s: FloatArray, y_c: FloatArray, joined: BoolArray, threshold_c: float) -> Above:
    """Stretches above `threshold_c`. `joined[i]`: a line may be drawn from sample i to i + 1.

    Coming down to the threshold in a single point and rising again does not end a stretch.
    """
    high = y_c > threshold_c
    pieces = np.flatnonzero(joined & (high[:-1] | high[1:])) if t_s.size > 1 else np.zeros(0, dtype=np.int64)
    if pieces.size == 0:
        return Above(np.zeros(0), np.zeros(0), 0.0)
    t0, t1 = t_s[pieces], t_s[pieces + 1]
    a, b = y_c[pieces] - threshold_c, y_c[pieces + 1] - threshold_c
    span = t1 - t0
    both = (a > 0.0) & (b > 0.0)
    rising, falling = ~both & (b > 0.0), ~both & (a > 0.0)
    slope = np.where(both, 1.0, np.abs(b - a))
    share = np.where(both, 1.0, np.where(rising, b, a) / slope)
    start = np.where(rising, t1 - span * share, t0)
    end = np.where(falling, t0 + span * share, t1)
    degree_s = float((span * share * np.where(both, 0.5 * (a + b), 0.5 * np.where(rising, b, a))).sum())
    continues = (np.diff(pieces) == 1) & (b[:-1] >= 0.0) & (a[1:] >= 0.0)
    first = np.concatenate([[True], ~continues])
    last = np.concatenate([~continues, [True]])
    return Above(start[first], end[last], degree_s)


@dataclass(frozen=True)
class Band:
    """What the sensor allows `total_s` to be."""

    low_s: float
    high_s: float


def band(
    t_s: FloatArray,
    y_c: FloatArray,
    joined: BoolArray,
    threshold_c: float,
    *,
    resolution_c: float | None,
    held_s: float | None,
    covered_s: float,
) -> Band:
    """Least and most time above the threshold, given the sensor's step and how long it repeats a value.

    A logger may round or cut off to whole steps: a reading y stands for y - r/2 .. y + r. A value repeated for `held_s`
    shows each crossing up to that much late, so every stretch may be that much shorter or longer.
    """
    step = resolution_c or 0.0
    late = held_s or 0.0
    least = above(t_s, y_c - 0.5 * step, joined, threshold_c)
    most = above(t_s, y_c + step, joined, threshold_c)
    return Band(
        float(np.maximum(least.lengths_s - late, 0.0).sum()),
        min(float((most.lengths_s + late).sum()), covered_s),
    )


def shared_s(stretches: Above, t_s: FloatArray, piece_on: BoolArray) -> float:
    """Seconds of `stretches` that fall into pieces `t_s[i]..t_s[i + 1]` marked true."""
    if t_s.size < 2 or stretches.start_s.size == 0:
        return 0.0
    so_far = np.concatenate([[0.0], np.cumsum(np.where(piece_on, np.diff(t_s), 0.0))])
    return float((np.interp(stretches.end_s, t_s, so_far) - np.interp(stretches.start_s, t_s, so_far)).sum())


@dataclass(frozen=True)
class Trace:
    """Samples of a channel: `joined[i]` where a line may be drawn from i to i + 1."""

    t_s: FloatArray
    y: FloatArray
    joined: BoolArray

    @property
    def covered_s(self) -> float:
        """Seconds of all joined steps."""
        return float(np.diff(self.t_s)[self.joined].sum()) if self.t_s.size > 1 else 0.0


def exposures(
    coolant: Trace,
    rpm: Trace | None,
    thresholds: tuple[tuple[str, float], ...],
    *,
    duration_s: float,
    resolution_c: float | None,
    held_s: float | None,
) -> tuple[tuple[Exposure, Above], ...]:
    """One record for each threshold (name, C), lowest first, with the stretches it counts.

    `rpm`: engine speed, None where it was not logged; a piece with 0 at both ends is the engine off.
    """
    covered_s = coolant.covered_s
    peak = float(coolant.y.max()) if coolant.y.size else None
    off = None
    if rpm is not None and rpm.t_s.size > 1:
        off = rpm.joined & (rpm.y[:-1] == 0.0) & (rpm.y[1:] == 0.0)
    found = []
    for name, threshold_c in sorted(thresholds, key=lambda item: item[1]):
        over = above(coolant.t_s, coolant.y, coolant.joined, threshold_c)
        limits = band(
            coolant.t_s,
            coolant.y,
            coolant.joined,
            threshold_c,
            resolution_c=resolution_c,
            held_s=held_s,
            covered_s=covered_s,
        )
        record = Exposure(
            threshold_c=threshold_c,
            name=name,
            observed_s=over.total_s,
            observed_low_s=min(limits.low_s, over.total_s),
            observed_high_s=max(limits.high_s, over.total_s),
            estimated_s=None,
            estimated_low_s=None,
            estimated_high_s=None,
            unknown_s=max(0.0, duration_s - covered_s),
            engine_off_s=shared_s(over, rpm.t_s, off) if rpm is not None and off is not None else None,
            excursions=int(over.start_s.size),
            longest_s=over.longest_s,
            degree_s=over.degree_s,
            peak_c=peak,
        )
        found.append((record, over))
    return tuple(found)
