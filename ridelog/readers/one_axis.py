"""Series of samples, each with its own times, onto one axis of times in the order they were recorded.

Nothing is ever sorted over a step back of the clock (a power cycle): samples before it and after it stay apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from ridelog.readers.stamps import DAY_S
from ridelog.results import BoolArray, FloatArray

Ints = npt.NDArray[np.int64]
Numbers = npt.NDArray[np.int16 | np.int64]
"""Numbers of series."""

_LATE_STEPS = 10.0
"""A sample late by more of its series' usual steps than this comes from a clock that began again."""

_COARSE_SHARE = 0.3
"""Where more samples than this share their time with one before of the same series, the times are coarser than the
samples; fewer are samples written twice."""

_MOST_SECTIONS = 10_000
"""More steps back than this are no power cycles; the rows are then left in their order, for the clock to refuse."""


@dataclass(frozen=True)
class Axis:
    """Where every sample goes. `order` puts the samples in the order of the axis (None: they are in it); `group` is
    the place on the axis of each sample so ordered, never falling; `height` is the number of places. `repeated` counts
    samples whose series has another at the same place, `example` is the index of the first (before ordering); `coarse`
    tells that such samples got places of their own, one after the other."""

    order: Ints | None
    group: Ints
    height: int
    repeated: int
    example: int | None
    coarse: bool


def usual_step(key: FloatArray) -> float:
    """The median step forward of a series, 0 where it has none."""
    steps = np.diff(key)
    forward = steps[steps > 0]
    return float(np.median(forward)) if forward.size else 0.0


def falls(key: FloatArray) -> bool:
    """Does time ever run back, from one sample to the next? Samples without a time (NaN) are passed over."""
    finite = key[np.isfinite(key)]
    return bool(finite.size > 1 and (np.diff(finite) < 0).any())


def filled(key: FloatArray) -> FloatArray:
    """Keys with that of the sample before where a sample has no time."""
    if np.isfinite(key).all():
        return key
    series = pl.Series(key).fill_nan(None).fill_null(strategy="forward").fill_null(strategy="backward")
    return np.asarray(series.fill_null(0.0).to_numpy(), dtype=np.float64)


def recordings_of(key: FloatArray, forced: Sequence[int] = ()) -> Ints:
    """Number of the recording (from 0) each sample of one series belongs to: another begins where its clock begins
    again and at the positions `forced`. Samples that are only a little late begin none."""
    edges = np.zeros(key.size, dtype=np.int64)
    known = sorted(place for place in forced if 0 <= place < key.size)
    np.add.at(edges, np.asarray(known, dtype=np.int64), 1)
    usual = usual_step(key)
    start = passed = 0
    for at in np.flatnonzero(np.diff(key) < 0).tolist():
        place = at + 1
        while passed < len(known) and known[passed] <= place:
            start = max(start, known[passed])
            passed += 1
        if place > start and _begins_again(key[at], key[place], key[start], usual, place - start):
            edges[place] += 1
            start = place
    return np.cumsum(edges)


def _begins_again(before: float, after: float, first: float, usual: float, samples: int) -> bool:
    return before - after > _LATE_STEPS * usual or (after <= first + usual and samples > 2)


def over_midnight(key: FloatArray, blocks: Sequence[slice]) -> FloatArray:
    """Times of day counted on over midnight, block by block; a block that begins after it is put there by the others
    that run over it."""
    key = key.copy()
    crossing: list[float] = []
    rest: list[slice] = []
    for block in blocks:
        turns = np.concatenate(([0.0], np.cumsum(np.diff(key[block]) < -DAY_S / 2)))
        if turns[-1]:
            crossing.append(float(key[block][0]))
            key[block] += DAY_S * turns
        else:
            rest.append(block)
    for block in rest:
        if crossing and float(key[block][-1]) < min(crossing):
            key[block] += DAY_S
    return key


def sections(key: FloatArray, series: Numbers, forced: Sequence[int]) -> Ints:
    """Number of the recording (from 0) of each sample, of several series written in turns.

    Another begins where the samples of one series run back, or rather at the last place before it at which time runs
    back at all: series that are rarely written don't show it at once.
    """
    frame = pl.DataFrame({"key": key, "series": series, "row": np.arange(key.size)})
    frame = frame.with_columns(
        before=pl.col("key").shift(1).over("series"),
        row_before=pl.col("row").shift(1).over("series"),
        nth=pl.int_range(pl.len()).over("series"),
    )
    step = pl.col("key") - pl.col("before")
    usual = dict(frame.filter(step > 0).group_by("series").agg(step.median()).iter_rows())
    back = frame.filter(step < 0).sort("row")
    edges = np.zeros(key.size, dtype=np.int64)
    cuts = [0, *sorted({place for place in forced if 0 < place < key.size})]
    edges[cuts[1:]] = 1
    if back.height > _MOST_SECTIONS:
        return np.cumsum(edges)
    turns = np.flatnonzero(np.diff(key) < 0) + 1
    starts = np.asarray(cuts)
    last = 0
    for here, one, row, before, row_before, _ in back.iter_rows():
        start = max(last, int(starts[np.searchsorted(starts, row, "right") - 1]))
        if row_before < start:
            continue
        first = float(key[start])
        if not _begins_again(before, here, first, usual.get(one, 0.0), row - start):
            continue
        at = int(np.searchsorted(turns, row, "right")) - 1
        last = int(turns[at]) if at >= 0 and turns[at] > max(start, row_before) else row
        edges[last] = 1
    return np.cumsum(edges)


def as_written(new: BoolArray, series: Numbers) -> Axis:
    """The axis of samples that are in its order; `new` is true where a sample has another time than the one before."""
    group = np.cumsum(new) - 1
    return _placed(None, group, series)


def by_time(segment: Ints, key: FloatArray, series: Numbers, apart: BoolArray | None = None) -> Axis:
    """The axis of samples put in order of recording and time. Samples of one recording and time share a place, but for
    those `apart`, which share none."""
    order = np.lexsort((np.arange(key.size), key, segment))
    key, segment = key[order], segment[order]
    new = np.ones(key.size, dtype=np.bool_)
    new[1:] = (key[1:] != key[:-1]) | (segment[1:] != segment[:-1])
    if apart is not None:
        lonely = apart[order]
        new |= lonely
        new[1:] |= lonely[:-1]
    return _placed(order, np.cumsum(new) - 1, series)


def _placed(order: Ints | None, group: Ints, series: Numbers) -> Axis:
    height = int(group[-1]) + 1 if group.size else 0
    if not group.size:
        return Axis(order, group, 0, 0, None, coarse=False)
    ordered = series if order is None else series[order]
    by_series = np.argsort(ordered, kind="stable")
    g, s = group[by_series], ordered[by_series]
    again = np.zeros(group.size, dtype=np.bool_)
    again[1:] = (g[1:] == g[:-1]) & (s[1:] == s[:-1])
    repeated = int(again.sum())
    if not repeated:
        return Axis(order, group, height, 0, None, coarse=False)
    first = int(by_series[again].min())
    example = first if order is None else int(order[first])
    if repeated <= _COARSE_SHARE * group.size:
        return Axis(order, group, height, repeated, example, coarse=False)
    within_group = _places_within(group, by_series, again)
    most = np.zeros(height, dtype=np.int64)
    np.maximum.at(most, group, within_group)
    starts = np.concatenate(([0], np.cumsum(most + 1)))
    spread = starts[group] + within_group
    within = np.argsort(spread, kind="stable")
    order = within if order is None else order[within]
    return Axis(order, spread[within], int(starts[-1]), repeated, example, coarse=True)


def _places_within(group: Ints, by_series: Ints, again: BoolArray) -> Ints:
    """The place of each sample among those of its group: the samples of each series are spread evenly over as many
    places as the series has that is written most often."""
    at = np.arange(group.size)
    first = np.flatnonzero(~again)
    counts = np.diff(np.append(first, group.size))
    nth, count = np.empty(group.size, dtype=np.int64), np.empty(group.size, dtype=np.int64)
    nth[by_series] = at - np.repeat(first, counts)
    count[by_series] = np.repeat(counts, counts)
    most = np.zeros(int(group[-1]) + 1, dtype=np.int64)
    np.maximum.at(most, group, count)
    return nth * most[group] // count
