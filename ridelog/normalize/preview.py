"""A column's values in brief, for the question what they are."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from ridelog.errors import AmbiguousColumn, Preview
from ridelog.ride import RawColumn

_EXAMPLES = 3
_LONGEST = 40


def preview(column: RawColumn) -> Preview:
    """Lowest, highest and three examples: from the beginning, the middle and the end of the distinct values."""
    distinct = column.values.drop_nulls().unique(maintain_order=True)
    last = distinct.len() - 1
    places = sorted({round(last * part / (_EXAMPLES - 1)) for part in range(_EXAMPLES)}) if last >= 0 else []
    examples = tuple(_text(distinct[place]) for place in places)
    low, high = column.values.min(), column.values.max()
    if isinstance(low, float) and isinstance(high, float):
        return Preview(low, high, examples)
    return Preview(None, None, examples)


def _text(value: object) -> str:
    return f"{value:.10g}" if isinstance(value, float) else str(value).strip()[:_LONGEST]


@contextmanager
def shown(column: RawColumn) -> Iterator[None]:
    """A question raised inside shows the values of this column, where it shows none yet."""
    try:
        yield
    except AmbiguousColumn as question:
        question.preview = question.preview or preview(column)
        raise
