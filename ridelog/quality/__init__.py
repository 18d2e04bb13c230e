"""Stretches in which a channel is not to be trusted. Values are marked, never taken away.

Each rule is a function of one channel's own samples (see `samples.Trace`), small enough to be tested alone.
`find_marks` runs them all and joins what they find. A rule looks for a cheap bound first, so that a healthy channel
costs one pass.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import polars as pl

from ridelog.channels import CHANNELS, TIME, Channel, base_name, is_canonical
from ridelog.intervals import Interval
from ridelog.quality import dropout, jumps, position, ranges, sentinel, stuck
from ridelog.quality.trace import Finding, Trace, to_marks
from ridelog.results import FloatArray
from ridelog.ride import ChannelInfo, QualityMark

__all__ = ["Finding", "Trace", "find_marks"]

_TOLD_MISSING = ("coolant_c", "engine_rpm", "throttle_pct", "gps_speed_mps", "wheel_speed_mps", "lat_deg", "map_slot")
"""Channels whose silence is worth a mark: verdicts rest on them."""

_WORTH_THREADS = 200_000
"""Rows from which on two threads are quicker than one."""


def find_marks(
    samples: pl.DataFrame, channels: Mapping[str, ChannelInfo], gaps: Sequence[Interval]
) -> tuple[QualityMark, ...]:
    """Marks of all canonical channels, in the order of the columns and of time."""
    t_s = samples[TIME].to_numpy()
    shortest_s = float(np.diff(t_s).min()) if t_s.size > 1 else 0.0
    moving = stuck.Movement(samples)

    def one(name: str) -> list[QualityMark]:
        channel = CHANNELS[base_name(name)]
        trace = _trace(name, samples[name], t_s, channels[name], shortest_s)
        marks = _of_channel(trace, channel, moving)
        if samples[name].null_count() and channel.name in _TOLD_MISSING and trace.t_s.size:
            marks.extend(dropout.find(name, trace, t_s, gaps, channels[name].rate_hz))
        return marks

    names = [n for n in samples.columns if n != TIME and is_canonical(n) and samples[n].dtype == pl.Float64]
    if samples.height < _WORTH_THREADS:
        found = [one(name) for name in names]
    else:
        with ThreadPoolExecutor(2) as pool:
            found = list(pool.map(one, names))
    return (*(mark for marks in found for mark in marks), *position.find(samples))


def _of_channel(trace: Trace, channel: Channel, moving: stuck.Movement) -> list[QualityMark]:
    """Marks of one channel. A sample that one rule has named is not looked at by the next."""
    marks: list[QualityMark] = []
    if not trace.t_s.size:
        return marks
    bad = np.zeros(trace.t_s.size, dtype=np.bool_)
    for rule in (sentinel.find, ranges.find, jumps.find):
        for finding in rule(trace, channel, bad):
            bad |= finding.bad
            marks.extend(to_marks(trace, finding))
    if channel.name == "coolant_c":
        for finding in stuck.find(trace, moving):
            marks.extend(to_marks(trace, finding))
    return marks


def _trace(name: str, values: pl.Series, t_s: FloatArray, info: ChannelInfo, shortest_s: float) -> Trace:
    if values.null_count():
        here = values.is_not_null().to_numpy()
        own_t, y = t_s[here], values.drop_nulls().to_numpy()
    else:
        own_t, y = t_s, values.to_numpy()
    hold_s = 1.0 / info.rate_hz if info.held and info.rate_hz else 0.0
    return Trace(name, own_t, y, info.resolution or 0.0, hold_s, shortest_s)
