"""What to tell of columns that no table of names knows."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from ridelog.channels import RAW_PREFIX
from ridelog.errors import column_option
from ridelog.ride import Note, RawColumn
from ridelog.units import parse_unit
from ridelog.words import normalizing

_MOST_NAMED = 8
_ONLY_CHANNEL = {"1/min": "engine_rpm", "%": "throttle_pct"}
"""Units that hardly anything but one channel has."""


def note(columns: Sequence[RawColumn]) -> list[Note]:
    """One note on all of them, with the option that would give the first a meaning; none where none holds a value."""
    columns = [c for c in columns if c.values.null_count() < c.values.len() and not c.name.startswith(RAW_PREFIX)]
    if not columns:
        return []
    first = columns[0]
    stated = parse_unit(first.unit) if first.unit else None
    guess = _ONLY_CHANNEL.get(stated.canonical if stated else "")
    option = f"{guess or 'CHANNEL'}:{first.unit if stated and first.unit else 'UNIT'}"
    named = ", ".join(f"{c.name[:40]!r} ({_values_like(c.values)})" for c in columns[:_MOST_NAMED])
    more = f" and {len(columns) - _MOST_NAMED} more" if len(columns) > _MOST_NAMED else ""
    return [
        Note(
            "not_understood",
            normalizing.not_understood(named, more, column_option(f"{first.name}={option}")),
        )
    ]


def _values_like(values: pl.Series) -> str:
    filled = values.drop_nulls()
    middle = filled[filled.len() // 2]
    return f"values like {middle:.6g}" if isinstance(middle, float) else f"texts like {str(middle)[:16]!r}"
