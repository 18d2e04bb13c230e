"""Columns of a log -> the samples of a ride: canonical names and units, strictly rising time, nothing made up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

import numpy as np
import polars as pl

from ridelog.channels import CHANNELS, TIME, base_name, is_canonical, unit_of
from ridelog.intervals import Interval
from ridelog.normalize import distance
from ridelog.normalize.convert import Converted
from ridelog.normalize.rates import Rhythm, rhythm
from ridelog.results import BoolArray, FloatArray
from ridelog.ride import ChannelInfo, Note, Recording
from ridelog.words import normalizing

_ORDER = {name: place for place, name in enumerate(CHANNELS)}


@dataclass(frozen=True)
class Normalized:
    """The samples of one ride and what is known of each channel. `breaks` are the steps between recordings of one file,
    which positions do not bridge either."""

    samples: pl.DataFrame
    channels: Mapping[str, ChannelInfo]
    gaps: tuple[Interval, ...]
    breaks: tuple[Interval, ...]
    notes: tuple[Note, ...]


@dataclass(frozen=True)
class Column:
    """A channel's values on the ride's times, where they come from, and whether they were logged or derived."""

    values: pl.Series
    source: str
    origin: Literal["logged", "derived"] = "logged"


def build(converted: list[Converted], recording: Recording, start_utc: datetime | None, source: str) -> Normalized:
    """The ride of one recording.

    `start_utc` is given where the log's own stamps are moments in UTC; the ride then gets a column `time_utc`. `source`
    names the file, for what is derived from it.
    """
    columns: dict[str, Column] = {}
    empty: list[str] = []
    for one in converted:
        values = _gather(one.values, recording)
        if values.null_count() == values.len():
            empty.append(one.name)
        else:
            columns[one.name] = Column(values, one.source)
    notes = []
    if empty:
        names = ", ".join(empty[:8]) + (", ..." if len(empty) > 8 else "")
        notes.append(Note("empty_columns", normalizing.empty(names)))
    if "gps_speed_mps" not in columns and {"lat_deg", "lon_deg"} <= columns.keys():
        derived = _derived_speed(columns["lat_deg"].values, columns["lon_deg"].values, recording)
        if derived is not None:
            columns["gps_speed_mps"] = Column(derived, f"{source}, positions", "derived")
            notes.append(
                Note(
                    "derived_speed",
                    normalizing.derived_speed(distance.WINDOW_S),
                )
            )
    if start_utc is not None:
        columns["time_utc"] = Column(utc_column(recording.t_s, start_utc), source)
    breaks = tuple(Interval(float(recording.t_s[b - 1]), float(recording.t_s[b])) for b in recording.breaks)
    return finish(recording.t_s, columns, recording.gaps, breaks, tuple(notes))


def finish(
    t_s: FloatArray,
    columns: Mapping[str, Column],
    gaps: tuple[Interval, ...],
    breaks: tuple[Interval, ...],
    notes: tuple[Note, ...],
) -> Normalized:
    """Samples in their fixed order of columns, and what is known of each channel."""
    frame = _frame(t_s, {name: column.values for name, column in columns.items()})
    shared_s = _covered_s(t_s, gaps)
    channels = {name: _info(name, columns[name], t_s, gaps, shared_s) for name in frame.columns if name != TIME}
    return Normalized(frame, channels, gaps, breaks, notes)


def _frame(t_s: FloatArray, columns: Mapping[str, pl.Series]) -> pl.DataFrame:
    names = sorted((name for name in columns if is_canonical(name)), key=_place)
    names += [name for name in columns if not is_canonical(name)]
    return pl.DataFrame([pl.Series(TIME, t_s), *(columns[name].rename(name) for name in names)])


def _place(name: str) -> tuple[int, int]:
    tail = name.partition(".")[2]
    return _ORDER[base_name(name)], int(tail) if tail.isdecimal() else 1


def _gather(values: pl.Series, recording: Recording) -> pl.Series:
    if recording.rows is not None:
        values = values.gather(pl.Series(recording.rows))
    if recording.run is None:
        return values
    ends = np.cumsum(recording.run) - 1
    last = values.gather(pl.Series(ends))
    # Rows of one time complete each other: where the last has no value the one before it may have.
    for back in range(1, int(recording.run.max())):
        missing = last.is_null()
        if not missing.any():
            break
        earlier = values.gather(pl.Series(np.maximum(ends - back, 0)))
        within = pl.Series(recording.run > back)
        last = pl.select(pl.when(missing & within).then(earlier).otherwise(last)).to_series()
    return last


def utc_column(t_s: FloatArray, start_utc: datetime) -> pl.Series:
    """Moments in UTC, to the microsecond."""
    start_us = round((start_utc - datetime(1970, 1, 1, tzinfo=start_utc.tzinfo)) / timedelta(microseconds=1))
    us = start_us + np.round(t_s * 1e6).astype(np.int64)
    return pl.Series("time_utc", us).cast(pl.Datetime("us", "UTC"))


def present(values: pl.Series, t_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A channel's own samples: times and values where it has one."""
    if not values.null_count():
        return t_s, values.to_numpy()
    here = values.is_not_null().to_numpy()
    return t_s[here], values.drop_nulls().to_numpy()


def _derived_speed(lat: pl.Series, lon: pl.Series, recording: Recording) -> pl.Series | None:
    here = (lat.is_not_null() & lon.is_not_null() & ~((lat == 0.0) & (lon == 0.0))).to_numpy()
    if int(here.sum()) < 2:
        return None
    t_s = recording.t_s[here]
    speed = distance.speed_from_positions(t_s, lat.to_numpy()[here], lon.to_numpy()[here], recording.gaps)
    result = np.full(recording.t_s.size, np.nan)
    result[here] = speed
    series = pl.Series("gps_speed_mps", result).fill_nan(None)
    return series if series.null_count() < series.len() else None


def _covered_s(t_s: FloatArray, gaps: Sequence[Interval]) -> float:
    return max(0.0, float(t_s[-1]) - sum(gap.length_s for gap in gaps)) if t_s.size else 0.0


def _info(name: str, column: Column, t_s: FloatArray, gaps: Sequence[Interval], shared_s: float) -> ChannelInfo:
    values = column.values
    duration = float(t_s[-1]) if t_s.size else 0.0
    numeric = values.dtype == pl.Float64
    full = not values.null_count()
    if full:
        own_t, covered = t_s, shared_s
    else:
        own_t = t_s[values.is_not_null().to_numpy()]
        covered = _own_covered_s(own_t, gaps)
    state = is_canonical(name) and CHANNELS[base_name(name)].kind != "continuous"
    found = Rhythm(None, held=False, resolution=None)
    if numeric and not state:
        found = rhythm(own_t, values.to_numpy() if full else values.drop_nulls().to_numpy())
    elif own_t.size > 1:
        found = Rhythm(
            1.0 / float(np.median(np.diff(own_t[:100_000]))), held=False, resolution=1.0 if numeric else None
        )
    coverage = min(1.0, covered / duration) if duration > 0 else 0.0
    return ChannelInfo(
        name, unit_of(name), found.rate_hz, found.resolution, coverage, found.held, column.origin, column.source
    )


def _own_covered_s(own_t: FloatArray, gaps: Sequence[Interval]) -> float:
    """Seconds a channel with samples of its own speaks of."""
    if own_t.size < 2:
        return 0.0
    steps = np.diff(own_t)
    good = steps <= max(1.0, 5.0 * float(np.median(steps)))
    good &= distance.inside(own_t, gaps)
    return float(steps[good].sum())


def ridden_m(normalized: Normalized, excluded: Mapping[str, Sequence[Interval]]) -> float | None:
    """Distance, m: from logged speed (the satellites' unless the wheel's covers much more), else from the positions;
    None where nothing tells. `excluded` are stretches of a channel that are not to be trusted."""
    channels, samples = normalized.channels, normalized.samples
    logged = [n for n in ("gps_speed_mps", "wheel_speed_mps") if n in channels and channels[n].origin == "logged"]
    if logged:
        name = logged[0]
        if len(logged) == 2 and channels[logged[1]].coverage > 1.25 * channels[name].coverage:
            name = logged[1]
        t_s, speed = present(samples[name], samples[TIME].to_numpy())
        t_s, speed = _without(t_s, speed, excluded.get(name, ()))
        return distance.from_speed(t_s, speed, normalized.gaps)
    if not {"lat_deg", "lon_deg"} <= channels.keys():
        return None
    both = samples.select(TIME, "lat_deg", "lon_deg").drop_nulls()
    t_s = both[TIME].to_numpy()
    lat, lon = both["lat_deg"].to_numpy(), both["lon_deg"].to_numpy()
    stretches = excluded.get("lat_deg", ())
    t_kept, lat = _without(t_s, lat, stretches)
    _, lon = _without(t_s, lon, stretches)
    return distance.from_positions(t_kept, lat, lon, normalized.breaks)


def _without(t_s: FloatArray, y: FloatArray, stretches: Sequence[Interval]) -> tuple[FloatArray, FloatArray]:
    if not stretches:
        return t_s, y
    keep = ~marked(t_s, stretches)
    return t_s[keep], y[keep]


def marked(t_s: FloatArray, stretches: Sequence[Interval]) -> BoolArray:
    """True at the times inside a stretch; a stretch of no length names one sample."""
    mask = np.zeros(t_s.size, dtype=np.bool_)
    for start_s, end_s in stretches:
        first = int(np.searchsorted(t_s, start_s, "left"))
        last = int(np.searchsorted(t_s, end_s, "left" if end_s > start_s else "right"))
        mask[first:last] = True
    return mask
