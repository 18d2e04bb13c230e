"""Meanings that an earlier import confirmed for a bike and a header: used again where the values allow it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from ridelog.channels import CHANNELS
from ridelog.normalize.channel_units import unit_for
from ridelog.normalize.fitting import TEXT_CHANNELS, sample
from ridelog.normalize.plan import ColumnChoice, Settled
from ridelog.ride import Note, RawColumn
from ridelog.units import Unit
from ridelog.words import normalizing
from ridelog.words.terms import column_words

_LEAST_POSSIBLE = 0.5
"""Share of values that must be possible: sentinels and dropouts are no reason to ask anew, another unit is."""

_ORDERS = ("dmy", "mdy", "ymd")
_SIGNS = r"^\s*\d{1,4}[/.-]\d{1,2}[/.-]\d{1,4}"
_BARE = r"^\s*\d{6}(?:\d{2})?(?:\.0+)?\s*$"

_DAY_MONTH = r"^\s*(\d{1,2})[/-](\d{1,2})[/-]"


def apply(
    columns: Sequence[RawColumn], settled: Sequence[Settled], said: Sequence[ColumnChoice], bike: str
) -> tuple[list[ColumnChoice], list[Note]]:
    """The meanings to use, less those of columns of which the user speaks now, and what to tell of them.

    `settled` are those of this header. One that the values contradict is not used: the ordinary way decides, or asks.
    """
    used: list[ColumnChoice] = []
    told: list[str] = []
    notes: list[Note] = []
    for one in settled:
        column = next((column for column in columns if one.choice.fits(column)), None)
        if column is None or any(choice.fits(column) for choice in said):
            continue
        meant = f"{column.name!r} as {column_words(one.choice.channel, one.choice.unit)}"
        if why := _contradicted(column, one.choice) or _other_form(columns, one.choice):
            text = normalizing.remembered_not_used(bike, meant, one.day, why)
            notes.append(Note("remembered_not_used", text))
            continue
        used.append(one.choice)
        told.append(f"{meant} ({one.choice.option().rpartition('=')[2]}, {normalizing.confirmed(one.day)})")
    if told:
        text = normalizing.remembered(bike, "; ".join(told))
        notes.insert(0, Note("remembered", text))
    return used, notes


def _contradicted(column: RawColumn, choice: ColumnChoice) -> str | None:
    """Why the values can't be what is remembered; None where they can."""
    text = column.values.dtype == pl.String
    if choice.channel in ("time", "date"):
        return _other_order(column.values, choice.unit) if text else None
    if choice.channel not in CHANNELS:
        return None
    if text:
        return None if choice.channel in TEXT_CHANNELS else normalizing.HOLDS_TEXT
    limits = CHANNELS[choice.channel]
    unit = unit_for(choice.channel, choice.unit if choice.unit is not None else column.unit)[1]
    if unit is None:
        return None  # without a unit the ordinary way looks at the values, or asks
    values = _in(unit, column.values)
    if not values.size or float(np.mean((values >= limits.low) & (values <= limits.high))) >= _LEAST_POSSIBLE:
        return None
    return normalizing.mostly_outside(limits.low, limits.high, limits.unit)


def _other_form(columns: Sequence[RawColumn], choice: ColumnChoice) -> str | None:
    """An order of day and month was confirmed for dates with signs between their numbers; six bare digits are another
    way of writing, in which the same maker may keep another order."""
    if choice.channel not in ("time", "date") or choice.unit not in _ORDERS:
        return None
    shown = [column.values.drop_nulls().head(50).cast(pl.String) for column in columns]
    digits = any(text.len() and text.str.contains(_BARE).all() for text in shown)
    if not digits and any(text.len() and text.str.contains(_SIGNS).all() for text in shown):
        return None
    return normalizing.BARE_DATES


def _in(unit: Unit, values: pl.Series) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return sample(values) * unit.factor + unit.offset


def _other_order(texts: pl.Series, unit: str | None) -> str | None:
    """A number over 12 where the month should stand."""
    group = {"dmy": 2, "mdy": 1}.get(unit or "")
    if group is None:
        return None
    month = texts.str.extract(_DAY_MONTH, group).cast(pl.Int32, strict=False).max()
    return normalizing.no_month(month) if isinstance(month, int) and month > 12 else None
