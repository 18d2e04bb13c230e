"""In which order the rows of a table in long format were recorded: as they stand, in blocks by channel, or mixed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
import polars as pl

from ridelog.errors import InputRefused
from ridelog.readers import one_axis
from ridelog.readers.one_axis import Axis, Ints
from ridelog.readers.stamps import DAY_S, Keys
from ridelog.results import FloatArray
from ridelog.ride import Note


def axis_of(
    keys: Keys | None, series: Ints, breaks: Sequence[int], texts: Sequence[pl.Series]
) -> tuple[Axis, tuple[int, ...], list[Note]]:
    """One row a time, in the order of recording; the rows (of the pivoted table) at which a new recording begins."""
    if keys is None or not one_axis.falls(keys.values):
        new = np.zeros(series.size, dtype=np.bool_)
        new[[0, *breaks]] = True
        for text in texts:
            new[1:] |= ~text.slice(1).eq_missing(text.slice(0, max(0, text.len() - 1))).to_numpy()
        if keys is not None:
            new[1:] |= ~np.isfinite(keys.values[1:])
        axis = one_axis.as_written(new, series)
        return axis, starts(axis, breaks), []
    key, apart = one_axis.filled(keys.values), ~np.isfinite(keys.values)
    turns = np.flatnonzero(np.diff(series) != 0) + 1
    blocks = [slice(a, b) for a, b in zip((0, *turns.tolist()), (*turns.tolist(), series.size), strict=True)]
    distinct = int(series.max()) + 1
    notes: list[Note] = []
    if len(blocks) == distinct and distinct > 1:
        key = _over_midnight(key, blocks) if keys.clock else key
        segment, begun = _blocks(key, blocks, breaks)
        notes.append(_moved(segment, key, series))
    else:
        segment, begun = one_axis.sections(key, series, breaks), [b for b in breaks if b]
        within = np.diff(key) < 0
        moved = int((within & (np.diff(segment) == 0)).sum())
        if not moved:
            # Only the clock began again: nothing is out of its place.
            new = np.ones(series.size, dtype=np.bool_)
            new[1:] = (key[1:] != key[:-1]) | (segment[1:] != segment[:-1]) | apart[1:] | apart[:-1]
            axis = one_axis.as_written(new, series)
            return axis, starts(axis, begun), []
        notes.append(_moved(segment, key, series))
    axis = one_axis.by_time(segment, key, series, apart)
    return axis, starts(axis, begun), notes


def _moved(segment: Ints, key: FloatArray, series: Ints) -> Note:
    """Why rows are put in another order: some are late, or one channel is written after the other."""
    by_series = np.argsort(series, kind="stable")
    same = np.diff(series[by_series]) == 0
    same &= np.diff(segment[by_series]) == 0
    late = int((same & (np.diff(key[by_series]) < 0)).sum())
    if late:
        return Note("out_of_order", "rows written out of order were put in the order of their times", rows=late)
    return Note("channel_by_channel", "the rows run channel by channel, or in blocks; they were joined by their times")


def starts(axis: Axis, breaks: Sequence[int]) -> tuple[int, ...]:
    """Rows of the pivoted table that hold the given rows of the file."""
    if not breaks:
        return ()
    place = axis.group
    if axis.order is not None:
        place = np.empty(axis.group.size, dtype=np.int64)
        place[axis.order] = axis.group
    return tuple(sorted({int(place[row]) for row in breaks if row < place.size} - {0}))


def _over_midnight(key: FloatArray, blocks: Sequence[slice]) -> FloatArray:
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


def _blocks(key: FloatArray, blocks: Sequence[slice], breaks: Sequence[int]) -> tuple[Ints, list[int]]:
    """Number of the recording of each row where every channel is one block of rows, and the rows at which a recording
    begins by a repeated header. Raises InputRefused where the blocks hold different numbers of recordings."""
    segment = np.zeros(key.size, dtype=np.int64)
    begun: list[int] = []
    counts: Counter[int] = Counter()
    for block in blocks:
        forced = [row - block.start for row in breaks if block.start < row < block.stop]
        segment[block] = one_axis.recordings_of(key[block], forced)
        begun.extend(row + block.start for row in forced)
        counts[int(segment[block][-1]) + 1] += 1
    if len(counts) > 1:
        raise InputRefused(
            "the rows run channel by channel, and the clock begins again "
            + " or ".join(
                f"{recordings - 1} times in {blocks} channels" for recordings, blocks in sorted(counts.items())
            ),
            expected="channels that all show each new start of the clock, or dates with the times",
            to_do="export each recording to a file of its own, or the rows in the order they were recorded",
        )
    return segment, begun
