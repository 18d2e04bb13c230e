"""Stretches in which a channel is not to be trusted. Values are marked, never taken away.

Each rule is a function of one channel's own samples (see `samples.Trace`), small enough to be tested alone. `find_marks`
runs them all and joins what they find. A rule looks for a cheap bound first, so that a healthy channel costs one pass.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import polars as pl

from ridelog.channels import CHANNELS, TIME, base_name, is_canonical
from ridelog.intervals import Interval
from ridelog.quality import dropout, jumps, position, ranges, sentinel, stuck
from ridelog.quality.trace import Finding, Trace, to_marks
from ridelog.ride import ChannelInfo, QualityMark

__all__ = ["Finding", "Trace", "find_marks"]

_TOLD_MISSING = ("coolant_c", "engine_rpm", "throttle_pct", "gps_speed_mps", "wheel_speed_mps", "lat_deg", "map_slot")
"""Channels whose silence is worth a mark: verdicts rest on them."""


def find_marks(
    samples: pl.DataFrame, channels: Mapping[str, ChannelInfo], gaps: Sequence[Interval]
) -> tuple[QualityMark, ...]:
    """Marks of all canonical channels, in the order of the columns and of time."""
    t_s = samples[TIME].to_numpy()
    marks: list[QualityMark] = []
    moving = stuck.Movement(samples)
    for name in samples.columns:
        channel = CHANNELS.get(base_name(name)) if is_canonical(name) else None
        if channel is None or channel.kind == "time" or samples[name].dtype != pl.Float64:
            continue
        trace = _trace(name, samples[name], t_s, channels[name])
        if not trace.t_s.size:
            continue
        bad = np.zeros(trace.t_s.size, dtype=np.bool_)
        for rule in (sentinel.find, ranges.find, jumps.find):
            for finding in rule(trace, channel, bad):
                bad |= finding.bad
                marks.extend(to_marks(trace, finding))
        if base_name(name) == "coolant_c":
            for finding in stuck.find(trace, moving):
                marks.extend(to_marks(trace, finding))
        if samples[name].null_count() and base_name(name) in _TOLD_MISSING:
            marks.extend(dropout.find(name, trace, t_s, gaps, channels[name].rate_hz))
    marks.extend(position.find(samples))
    return tuple(marks)


def _trace(name: str, values: pl.Series, t_s: np.ndarray, info: ChannelInfo) -> Trace:  # type: ignore[type-arg]
    if values.null_count():
        here = values.is_not_null().to_numpy()
        own_t, y = t_s[here], values.drop_nulls().to_numpy()
    else:
        own_t, y = t_s, values.to_numpy()
    return Trace(name, own_t, y, info.resolution or 0.0, 1.0 / info.rate_hz if info.held and info.rate_hz else 0.0)
