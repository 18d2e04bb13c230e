"""Rides built by hand: arrays in, a normalized ride out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import polars as pl

from ridelog.channels import unit_of
from ridelog.intervals import Interval
from ridelog.ride import ChannelInfo, QualityMark, Ride


def ride(
    t_s: np.ndarray,
    channels: Mapping[str, np.ndarray],
    *,
    resolution: Mapping[str, float] | None = None,
    held_hz: Mapping[str, float] | None = None,
    quality: Sequence[QualityMark] = (),
    gaps: Sequence[tuple[float, float]] = (),
    ambient_c: float | None = None,
) -> Ride:
    """A ride of channels on common times; NaN in a channel means that it has no sample there."""
    frame = pl.DataFrame({"t_s": np.asarray(t_s, dtype=np.float64)}).with_columns(
        [pl.Series(name, np.asarray(values, dtype=np.float64)).fill_nan(None) for name, values in channels.items()]
    )
    rate_hz = 1.0 / float(np.median(np.diff(t_s))) if len(t_s) > 1 else None
    info = {
        name: ChannelInfo(
            name=name,
            unit=unit_of(name),
            rate_hz=(held_hz or {}).get(name, rate_hz),
            resolution=(resolution or {}).get(name),
            coverage=1.0,
            held=name in (held_hz or {}),
            origin="logged",
            source=name,
        )
        for name in channels
    }
    return Ride(
        id="by-hand",
        samples=frame,
        channels=info,
        sources=(),
        gaps=tuple(Interval(*gap) for gap in gaps),
        start_utc=None,
        timezone=None,
        quality=tuple(quality),
        ambient_c=ambient_c,
    )
