"""Times of any spelling as numbers to put rows in order by. What the times mean is the clock's business, later."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from ridelog.results import FloatArray

DAY_S = 86_400.0

_CLOCK = (
    r"(?:^|[T ,])(?:(?P<hour>\d{1,2}):)?(?P<minute>\d{1,3}):(?P<second>\d{2})(?:[.,:](?P<fraction>\d{1,9}))?"
    r"\s*(?P<half>[AaPp])?"
)
_YEAR_FIRST = r"^\s*(?P<a>\d{4})[-/.](?P<b>\d{1,2})[-/.](?P<c>\d{1,2})"
_YEAR_LAST = r"^\s*(?P<a>\d{1,2})[-/.](?P<b>\d{1,2})[-/.](?P<c>\d{4}|\d{2})"
_OFFSET = r"([+-])(\d{2}):?(\d{2})\s*$"


@dataclass(frozen=True)
class Keys:
    """A number a row, NaN where there is no time; `clock` tells times of day without a date, which start again."""

    values: FloatArray
    clock: bool


def sort_keys(times: pl.Series) -> Keys | None:
    """Keys of a column of times: numbers as they are, clock times and dates by their digits; None where fewer than half
    of its cells can be read. Equal times have equal keys; a month counts 31 days, which keeps the order."""
    if times.dtype == pl.Float64:
        values = times.fill_null(float("nan")).to_numpy()
        return Keys(values, clock=False) if np.isfinite(values).any() else None
    text = times.str.strip_chars()
    clock = _fields(text, _CLOCK)
    hour, minute, second = (_numbers(clock, name) for name in ("hour", "minute", "second"))
    digits = clock.struct.field("fraction").str.len_chars().cast(pl.Float64).fill_null(1.0).to_numpy()
    fraction = _numbers(clock, "fraction") / 10.0**digits
    half = clock.struct.field("half").str.to_lowercase().fill_null("")
    hour = np.where((half != "").to_numpy(), hour % 12 + 12.0 * (half == "p").to_numpy(), hour)
    seconds = np.nan_to_num(hour) * 3600 + minute * 60 + second + np.nan_to_num(fraction)
    if 2 * np.isfinite(seconds).sum() < max(1, text.len() - text.null_count()):
        return None
    days = _days(text)
    if days is None:
        return Keys(seconds, clock=bool(np.isfinite(hour).any()))
    return Keys(days * DAY_S + seconds - _offset_s(text), clock=False)


def _fields(text: pl.Series, pattern: str) -> pl.Series:
    return text.str.extract_groups(pattern)


def _numbers(fields: pl.Series, name: str) -> FloatArray:
    return fields.struct.field(name).cast(pl.Float64, strict=False).fill_null(float("nan")).to_numpy()


def _days(text: pl.Series) -> FloatArray | None:
    """Days since the first, None where the texts hold no dates. Where day and month can't be told apart, either
    reading keeps the order."""
    dated = _fields(text, _YEAR_FIRST)
    if dated.struct.field("a").null_count() < text.len():
        year, month, day = (_numbers(dated, name) for name in "abc")
    else:
        dated = _fields(text, _YEAR_LAST)
        if dated.struct.field("a").null_count() == text.len():
            return None
        day, month, year = (_numbers(dated, name) for name in "abc")
        if np.nanmax(month) > 12:
            day, month = month, day
    days = (year * 12 + month) * 31 + day
    return days - np.nanmin(days)


def _offset_s(text: pl.Series) -> FloatArray | float:
    if not text.str.contains(r"[+-]\d{2}:?\d{2}\s*$").any():
        return 0.0
    sign = np.where((text.str.extract(_OFFSET, 1) == "-").fill_null(value=False).to_numpy(), -1.0, 1.0)
    hours, minutes = (text.str.extract(_OFFSET, n).cast(pl.Float64).fill_null(0.0).to_numpy() for n in (2, 3))
    return np.asarray(sign * (hours * 3600 + minutes * 60), dtype=np.float64)
