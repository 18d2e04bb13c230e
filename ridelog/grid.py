"""Irregular channels on one uniform grid, where gaps stay gaps.

A channel's *usable samples* are what is left of it after nulls and stretches marked as excluded are taken out, with a
flag for every step from one sample to the next that says whether a line may be drawn across it. Exposure is counted on
the usable samples themselves; everything else works on the grid.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.channels import CHANNELS, TIME, base_name, is_canonical
from ridelog.intervals import Interval, tidy
from ridelog.results import BoolArray, FloatArray
from ridelog.ride import Ride

STEP_S = 0.2
"""Grid step: 5 Hz resolves a throttle hand (bursts of half a second) and keeps ten hours at 180,000 points."""

GAP_FLOOR_S = 1.0
GAP_MEDIAN_STEPS = 5.0
"""A step over max(1 s, 5 x the channel's median step) is a gap."""


@dataclass(frozen=True)
class Samples:
    """Usable samples of one channel.

    `t_s` rises strictly; `joined[i]` is true where sample i and i + 1 belong to one unbroken piece (length one less
    than `t_s`, 0 for an empty channel). `hold` is true where a value stands until the next one instead of a line.
    """

    t_s: FloatArray
    y: FloatArray
    joined: BoolArray
    hold: bool = False

    @property
    def covered_s(self) -> float:
        """Seconds the channel speaks of: the sum of the joined steps."""
        return float(np.diff(self.t_s)[self.joined].sum()) if self.t_s.size > 1 else 0.0


def overlaps(start_s: FloatArray, end_s: FloatArray, intervals: list[Interval]) -> BoolArray:
    """For each stretch `start_s[i]..end_s[i]`: does it share time with one of the intervals?"""
    spans = tidy(intervals)
    if not spans or start_s.size == 0:
        return np.zeros(start_s.size, dtype=np.bool_)
    starts = np.array([span.start_s for span in spans])
    ends = np.array([span.end_s for span in spans])
    return np.asarray(np.searchsorted(starts, end_s, "left") > np.searchsorted(ends, start_s, "right"), dtype=np.bool_)


def gap_limit_s(t_s: FloatArray) -> float:
    """The longest step between samples that is not a gap, s."""
    return max(GAP_FLOOR_S, GAP_MEDIAN_STEPS * float(np.median(np.diff(t_s)))) if t_s.size > 1 else GAP_FLOOR_S


def build(
    t_s: FloatArray,
    y: FloatArray,
    *,
    excluded: list[Interval],
    gaps: list[Interval],
    hold: bool = False,
    repeat_s: float | None = None,
    limit_s: float | None = None,
) -> Samples:
    """Usable samples from all samples of a channel (finite, times rising strictly).

    `repeat_s`: the sensor's own period where a logger repeats its values at a higher rate; only the updates are then
    kept, so that the line runs from update to update instead of in steps. `limit_s`: the longest step that is not a
    gap, where the caller knows it already for these times.
    """
    all_samples = t_s.size
    if excluded:
        inside = np.zeros(t_s.size, dtype=np.bool_)
        for start, end in excluded:
            first = np.searchsorted(t_s, start, "left")
            # A mark of no length names one sample.
            last = np.searchsorted(t_s, end, "left") if end > start else np.searchsorted(t_s, start, "right")
            inside[first:last] = True
        t_s, y = t_s[~inside], y[~inside]
    if repeat_s is not None and t_s.size > 1:
        keep = _updates(t_s, y, repeat_s)
        t_s, y = t_s[keep], y[keep]
    if t_s.size < 2:
        return Samples(t_s, y, np.zeros(0, dtype=np.bool_), hold)
    known = limit_s if t_s.size == all_samples else None
    joined = np.diff(t_s) <= (gap_limit_s(t_s) if known is None else known)
    joined &= ~overlaps(t_s[:-1], t_s[1:], [*excluded, *gaps])
    return Samples(t_s, y, joined, hold)


def _updates(t_s: FloatArray, y: FloatArray, period_s: float) -> BoolArray:
    """Samples at which a repeated value was renewed: every change, and within a run of equals once a period.

    The last sample stays, so that the trace ends where the channel ends.
    """
    changed = np.empty(t_s.size, dtype=np.bool_)
    changed[0] = True
    np.not_equal(y[1:], y[:-1], out=changed[1:])
    run_start = t_s[np.maximum.accumulate(np.where(changed, np.arange(t_s.size), 0))]
    turn = np.floor((t_s - run_start) / period_s + 1e-6)
    keep = changed.copy()
    keep[1:] |= turn[1:] != turn[:-1]
    keep[-1] = True
    return keep


def usable(ride: Ride, name: str, *, updates_only: bool = False, full_limit_s: float | None = None) -> Samples:
    """Usable samples of one channel of a ride; empty where the ride does not have it.

    `updates_only` leaves out the repeats of a held channel (see `build`); `full_limit_s` is the gap limit of a channel
    with a sample in every row, where the caller knows it already.
    """
    limit_s = None
    empty = np.zeros(0)
    if name not in ride.samples.columns:
        return Samples(empty, empty, np.zeros(0, dtype=np.bool_))
    column = ride.samples[name]
    t_s = ride.samples[TIME].to_numpy()
    if column.null_count():
        present = column.is_not_null().to_numpy()
        t_s, y = t_s[present], column.drop_nulls().to_numpy()
    else:
        y, limit_s = column.to_numpy(), full_limit_s
    info = ride.channels.get(name)
    channel = CHANNELS.get(base_name(name))
    hold = channel is not None and channel.kind == "state"
    repeat_s = None
    if updates_only and not hold and info is not None and info.held and info.rate_hz:
        repeat_s = 1.0 / info.rate_hz
    return build(
        t_s,
        y.astype(np.float64, copy=False),
        excluded=ride.excluded(name),
        gaps=list(ride.gaps),
        hold=hold,
        repeat_s=repeat_s,
        limit_s=limit_s,
    )


def grid_times(duration_s: float, step_s: float = STEP_S) -> FloatArray:
    """Times 0, step, 2 step ... up to the ride's last sample."""
    # Divided, not multiplied: 0.6 then is 0.6 and not 0.6000000000000001.
    return np.arange(int(np.floor(duration_s / step_s + 1e-9)) + 1, dtype=np.float64) / (1.0 / step_s)


def place(t_s: FloatArray, grid_s: FloatArray) -> tuple[npt_int, FloatArray]:
    """For each grid time: the index of the last sample at or before it (-1: none), and how far on to the next
    (0..1)."""
    index = np.searchsorted(t_s, grid_s, "right") - 1
    left = np.clip(index, 0, max(t_s.size - 2, 0))
    span = t_s[left + 1] - t_s[left] if t_s.size > 1 else np.ones(grid_s.size)
    return index, np.clip((grid_s - t_s[left]) / span, 0.0, 1.0)


npt_int = np.ndarray[tuple[int], np.dtype[np.int64]]


def to_grid(samples: Samples, grid_s: FloatArray, placed: tuple[npt_int, FloatArray] | None = None) -> FloatArray:
    """The channel at the grid's times, NaN in gaps and outside its samples.

    Linear between samples of one piece; the last value where the channel holds. `placed` may carry `place()`'s answer
    for the same times, so that channels logged together look it up once.
    """
    result = np.full(grid_s.size, np.nan)
    if samples.t_s.size == 0:
        return result
    if samples.t_s.size == 1:
        result[np.abs(grid_s - samples.t_s[0]) < 1e-9] = samples.y[0]
        return result
    index, share = placed if placed is not None else place(samples.t_s, grid_s)
    left = np.clip(index, 0, samples.t_s.size - 2)
    known = (index >= 0) & (grid_s <= samples.t_s[-1] + 1e-9)
    on_sample = (share == 0.0) | (share == 1.0)
    known &= samples.joined[left] | on_sample
    y0 = samples.y[left]
    y1 = samples.y[left + 1]
    values = np.where(share >= 1.0, y1, y0) if samples.hold else y0 + (y1 - y0) * share
    result[known] = values[known]
    return result


@dataclass(frozen=True)
class Grid:
    """A ride on a uniform grid: `t_s`, `step_s`, and one array a channel, NaN where nothing is known."""

    t_s: FloatArray
    step_s: float
    channels: dict[str, FloatArray]

    def get(self, name: str) -> FloatArray | None:
        """A channel, or None where the ride does not have it or not one usable value of it."""
        values = self.channels.get(name)
        return values if values is not None and bool(np.isfinite(values).any()) else None


def make_grid(ride: Ride, step_s: float = STEP_S) -> Grid:
    """Every canonical channel of a ride on the grid."""
    grid_s = grid_times(ride.duration_s, step_s)
    channels: dict[str, FloatArray] = {}
    shared: tuple[FloatArray, tuple[npt_int, FloatArray]] | None = None
    full_limit_s = gap_limit_s(ride.samples[TIME].to_numpy())
    for name in ride.samples.columns:
        if name == TIME or not is_canonical(name) or CHANNELS[base_name(name)].kind == "time":
            continue
        if not ride.samples[name].dtype.is_numeric():
            continue
        samples = usable(ride, name, updates_only=True, full_limit_s=full_limit_s)
        placed = None
        if samples.t_s.size > 1:
            if shared is None or not (shared[0] is samples.t_s or np.array_equal(shared[0], samples.t_s)):
                shared = (samples.t_s, place(samples.t_s, grid_s))
            placed = shared[1]
        channels[name] = to_grid(samples, grid_s, placed)
    return Grid(grid_s, step_s, channels)
