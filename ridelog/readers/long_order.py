"""In which order the rows of a table in long format were recorded: as they stand, in blocks by channel, or mixed."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence

import numpy as np
import polars as pl

from ridelog.errors import InputRefused
from ridelog.readers import one_axis
from ridelog.readers.one_axis import Axis, Ints, Numbers
from ridelog.readers.stamps import Keys
from ridelog.results import FloatArray
from ridelog.ride import Note
from ridelog.words import reading


def axis_of(
    keys: Keys | None, series: Numbers, breaks: Sequence[int], texts: Sequence[pl.Series]
) -> tuple[Axis, tuple[int, ...], list[Note]]:
    """The axis of the rows, its places at which a recording begins that the file itself sets apart, and notes.

    `keys` are those of the rows' times (None where they can't be read), `series` the numbers of their channels,
    `breaks` the rows under a repeated header, `texts` the cells of all columns of times and dates.
    """
    if keys is None or not one_axis.falls(keys.values):
        new = np.zeros(series.size, dtype=np.bool_)
        new[[0, *breaks]] = True
        for text in texts:
            new[1:] |= ~text.slice(1).eq_missing(text.slice(0, max(0, text.len() - 1))).to_numpy()
        if keys is not None:
            new[1:] |= ~np.isfinite(keys.values[1:])
        axis = one_axis.as_written(new, series)
        return axis, _places(axis, np.cumsum(np.bincount(breaks, minlength=series.size)) if breaks else None), []
    key, apart = one_axis.filled(keys.values), ~np.isfinite(keys.values)
    turns = np.flatnonzero(np.diff(series) != 0) + 1
    in_blocks = turns.size == int(series.max()) > 0
    if in_blocks and keys.clock:
        edges = [0, *turns.tolist(), series.size]
        key = one_axis.over_midnight(key, [slice(a, b) for a, b in itertools.pairwise(edges)])
    segment, begun = _recordings(key, series, breaks, in_blocks=in_blocks)
    forced = np.isin(segment, sorted(begun)) * segment if begun else None
    if not (np.diff(segment) < 0).any() and not ((np.diff(segment) == 0) & (np.diff(key) < 0)).any():
        # Only the clock began again: nothing is out of its place.
        new = np.ones(series.size, dtype=np.bool_)
        new[1:] = (key[1:] != key[:-1]) | (segment[1:] != segment[:-1]) | apart[1:] | apart[:-1]
        axis = one_axis.as_written(new, series)
        return axis, _places(axis, forced), []
    axis = one_axis.by_time(segment, key, series, apart)
    return axis, _places(axis, forced), [_moved(segment, key, series)]


def _recordings(key: FloatArray, series: Numbers, breaks: Sequence[int], *, in_blocks: bool) -> tuple[Ints, set[int]]:
    """Number of the recording of each row, and the numbers of those under a repeated header.

    Where the clock of every channel begins again equally often, each channel's own steps back tell. Otherwise some
    channel has no value in some recording: then the order of the rows tells, unless each channel is one block of them.
    """
    by_series = np.argsort(series, kind="stable")
    ends = np.searchsorted(series[by_series], np.arange(int(series.max()) + 2))
    segment = np.zeros(key.size, dtype=np.int64)
    begun: set[int] = set()
    counts: Counter[int] = Counter()
    for a, b in itertools.pairwise(ends.tolist()):
        rows = by_series[a:b]
        # A header between two blocks begins a channel, one inside a block a recording.
        inside = [row for row in breaks if not in_blocks or rows[0] < row <= rows[-1]]
        forced = np.searchsorted(rows, inside).tolist()
        segment[rows] = one_axis.recordings_of(key[rows], forced)
        within = [place for place in forced if place < rows.size]
        begun |= {int(segment[rows[place]]) for place in within}
        counts[int(segment[rows[-1]]) + len(forced) - len(within)] += 1
    if len(counts) == 1:
        return segment, begun
    if in_blocks:
        told = " or ".join(f"{again} times in {channels} channels" for again, channels in sorted(counts.items()))
        raise InputRefused(
            f"the rows run channel by channel, and the clock begins again {told}",
            expected="channels that all show each new start of the clock, or dates with the times",
            to_do="export each recording to a file of its own, or the rows in the order they were recorded",
        )
    segment = one_axis.sections(key, series, breaks)
    return segment, {int(segment[row]) for row in breaks if row < segment.size}


def _places(axis: Axis, number: Ints | None) -> tuple[int, ...]:
    """Places of the axis at which the number given to each row changes (0 is no number of its own)."""
    if number is None:
        return ()
    ordered = number if axis.order is None else number[axis.order]
    changed = np.flatnonzero(np.diff(ordered) != 0) + 1
    return tuple(sorted({int(axis.group[row]) for row in changed if ordered[row]} - {0}))


def _moved(segment: Ints, key: FloatArray, series: Numbers) -> Note:
    """Why rows are put in another order: some are late, or one channel is written after the other."""
    by_series = np.argsort(series, kind="stable")
    same = np.diff(series[by_series]) == 0
    same &= np.diff(segment[by_series]) == 0
    late = int((same & (np.diff(key[by_series]) < 0)).sum())
    if late:
        return Note("out_of_order", reading.OUT_OF_ORDER, rows=late)
    return Note("channel_by_channel", reading.CHANNEL_BY_CHANNEL)
