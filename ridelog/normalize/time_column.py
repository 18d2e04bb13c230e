"""Which column tells the time, where several could."""

from __future__ import annotations

import re
from collections.abc import Sequence

import polars as pl

from ridelog.errors import InputRefused
from ridelog.normalize.plan import Plan
from ridelog.ride import RawColumn

_DATED = re.compile(r"\d{4}[-/.]\d|\d[-/.]\d{4}|\d[-/.]\d{1,2}[-/.]\d\d")
_EPOCH_S = (1.0e9, 4.1e9)
"""September 2001 to 2099 in Unix time; only a preference hangs on it."""


def choose_time(columns: Sequence[RawColumn], plan: Plan, where: str) -> None:
    """Order the time columns: the user's own first, then those whose stamps repeat least, of these one with a date."""
    times = [meaning.column for meaning in plan.meanings if meaning.channel == "time"]
    plan.date = next((meaning.column for meaning in plan.meanings if meaning.channel == "date"), None)
    if not times and plan.date is not None and columns[plan.date].values.dtype == pl.String:
        times, plan.date = [plan.date], None
    if not times:
        names = ", ".join(repr(column.name) for column in columns[:12])
        raise InputRefused(
            f"no column is known as the time (the columns are {names}{', ...' if len(columns) > 12 else ''})",
            where=where,
            expected="a column of times",
            to_do="name it: --column 'NAME=time:s' (or ms, us, min)",
        )
    finest = max(_fineness(columns[index].values) for index in times)

    def rank(index: int) -> tuple[bool, bool, bool, int]:
        coarse = _fineness(columns[index].values) < 0.9 * finest
        return index not in plan.chosen | plan.remembered, coarse, not _bears_date(columns[index].values), index

    plan.time = sorted(times, key=rank)


def _bears_date(values: pl.Series) -> bool:
    """Does a time column tell the day by itself: a date in its texts, or seconds (or parts of them) since 1970?"""
    first = values.drop_nulls().head(1).to_list()
    if not first:
        return False
    if isinstance(first[0], str):
        return bool(_DATED.search(first[0]))
    return any(_EPOCH_S[0] <= first[0] * factor <= _EPOCH_S[1] for factor in (1.0, 1e-3, 1e-6))


def _fineness(values: pl.Series) -> float:
    """Share of rows whose stamp differs from the row before: 1 for a clock finer than the rows."""
    head = values.head(20_000)
    if head.len() < 2:
        return 0.0
    changed = (head != head.shift(1)).sum() or 0
    return float(changed) / (head.len() - 1)
