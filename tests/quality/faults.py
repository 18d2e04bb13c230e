"""Helpers of the tests of quality rules: rides with a channel replaced, and what the marks on them cover."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import polars as pl

from ridelog.channels import CHANNELS, TIME, base_name
from ridelog.intervals import Interval, to_mask
from ridelog.normalize.rates import rhythm
from ridelog.quality import find_marks
from ridelog.results import BoolArray, FloatArray
from ridelog.ride import ChannelInfo, QualityMark, Ride
from ridelog.words.terms import QUALITY_WORDS


def times(ride: Ride) -> FloatArray:
    return ride.samples[TIME].to_numpy()


def values(ride: Ride, name: str) -> FloatArray:
    """A channel, NaN where it has no sample."""
    return ride.samples[name].fill_null(np.nan).to_numpy().copy()


def with_channel(ride: Ride, name: str, y: FloatArray) -> Ride:
    """The ride with a channel replaced or added (NaN: no sample), its rate and resolution found as the import does."""
    series = pl.Series(name, y).fill_nan(None)
    here = series.is_not_null().to_numpy()
    found = rhythm(times(ride)[here], y[here])
    info = ChannelInfo(
        name,
        CHANNELS[base_name(name)].unit,
        found.rate_hz,
        found.resolution,
        float(here.mean()),
        found.held,
        "logged",
        "test",
    )
    return replace(ride, samples=ride.samples.with_columns(series), channels={**ride.channels, name: info})


def ride_of(**channels: object) -> Ride:
    """A ride of nothing but these channels (`t_s` among them), all logged."""
    frame = pl.DataFrame({name: np.asarray(y, dtype=np.float64) for name, y in channels.items()})
    ride = Ride("test", frame.select(TIME), {}, (), (), None, None)
    for name in frame.columns:
        if name != TIME:
            ride = with_channel(ride, name, frame[name].to_numpy())
    return ride


def marks_of(ride: Ride, kind: str | None = None, channel: str | None = None) -> list[QualityMark]:
    marks = find_marks(ride.samples, ride.channels, ride.gaps)
    # Whatever is shown to a rider has words of its own.
    assert {mark.kind for mark in marks} <= QUALITY_WORDS.keys()
    return [mark for mark in marks if kind in (None, mark.kind) and channel in (None, mark.channel)]


def covered(ride: Ride, marks: list[QualityMark]) -> BoolArray:
    """Rows inside one of the marks."""
    return to_mask(times(ride), [Interval(mark.start_s, mark.end_s) for mark in marks])


def kinds(marks: list[QualityMark]) -> set[str]:
    return {mark.kind for mark in marks}


def held(y: FloatArray, t_s: FloatArray, period_s: float, step: float) -> FloatArray:
    """A smooth trace as a slow sensor with whole steps gives it."""
    update = np.searchsorted(t_s, np.floor(t_s / period_s) * period_s)
    return np.asarray(np.round(y[update] / step) * step, dtype=np.float64)


Rides = Mapping[str, Ride]
