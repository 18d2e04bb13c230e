"""Numbers that no quantity on a motorcycle can reach count as no value, before anything is computed from them."""

from __future__ import annotations

import polars as pl

from ridelog.channels import RAW_PREFIX
from ridelog.ride import Meaning, Note, RawColumn
from ridelog.words import normalizing

MOST = 1e12
"""Whatever the unit: pressures in pascal, speeds in mm/h and positions in nanodegrees stay below."""

MOST_RAW = 1e30
"""For columns of unknown meaning, which may count nanoseconds since 1970 (2e18); beyond it squares overflow."""


def within_reason(columns: list[RawColumn | None], meanings: list[Meaning], skip: frozenset[int]) -> list[Note]:
    """Take out what is beyond reason, in place, but in the columns of `skip`. Returns what to tell."""
    notes: list[Note] = []
    for meaning in meanings:
        column = columns[meaning.column]
        if column is None or meaning.column in skip or column.values.dtype != pl.Float64:
            continue
        most = MOST_RAW if meaning.channel.startswith(RAW_PREFIX) or meaning.channel in ("time", "date") else MOST
        low, high = column.values.min(), column.values.max()
        if not isinstance(low, float) or not isinstance(high, float) or (-most <= low and high <= most):
            continue
        wild = column.values.abs() > most
        example = f"{column.values.filter(wild)[0]:g}"
        kept = pl.select(pl.when(~wild).then(column.values)).to_series().rename(column.values.name)
        columns[meaning.column] = RawColumn(column.name, column.unit, kept)
        notes.append(
            Note(
                "absurd_values",
                normalizing.beyond(column.name, most),
                rows=int(wild.sum() or 0),
                example=example,
            )
        )
    return notes
