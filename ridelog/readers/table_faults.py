"""Two faults of a whole table: every row written again, and an end where a spreadsheet cut the rest off."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl

from ridelog.ride import Note, RawLog
from ridelog.words import reading

_SPREAD_FROM_SHARE = 0.3
"""Below this share of repeated times the rows are merged by the clock, which copies come through unharmed."""

_ROW_LIMITS = (65_536, 1_048_576)
"""The last rows that the old and the new kind of spreadsheet hold."""


def without_copies(log: RawLog, time: int) -> RawLog:
    """The table without rows that are the row before in every cell, where all rows that share a time are such copies.

    Rows that share a time but differ are measurements under a coarse clock, and stay. `time` is the index of the time
    column.
    """
    column = log.columns[time].values
    same = (column == column.shift(1)).fill_null(value=False)
    repeated = int(same.sum())
    if repeated <= _SPREAD_FROM_SHARE * log.height:
        return log
    for other in log.columns:
        same &= other.values.eq_missing(other.values.shift(1))
        if int(same.sum()) < repeated:
            return log
    kept = np.flatnonzero(~same.to_numpy()).astype(np.int64)
    lines = log.row_lines[kept] if log.row_lines is not None else (kept + log.first_row if log.first_row else None)
    taken = pl.Series(kept)
    return replace(
        log,
        columns=tuple(replace(other, values=other.values.gather(taken)) for other in log.columns),
        breaks=tuple(sorted({int(np.searchsorted(kept, row)) for row in log.breaks} - {0, kept.size})),
        row_lines=lines,
        notes=(
            *log.notes,
            Note("left_out_copies", reading.COPIES, rows=repeated),
        ),
    )


def with_spreadsheet_end(log: RawLog) -> RawLog:
    """The table with a note where it ends in the very row in which spreadsheets end."""
    if not log.height or (not log.first_row and log.row_lines is None):
        return log
    last = int(log.row_lines[-1]) if log.row_lines is not None else log.first_row + log.height - 1
    if last not in _ROW_LIMITS:
        return log
    text = reading.spreadsheet_end(last)
    return replace(log, notes=(*log.notes, Note("spreadsheet_end", text)))
