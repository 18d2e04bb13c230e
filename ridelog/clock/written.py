"""Two ways of writing a clock that read as something else: HHMMSS as a plain number, and milliseconds without their
leading zeros."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import polars as pl

from ridelog.errors import InputRefused
from ridelog.results import FloatArray
from ridelog.ride import Note, RawColumn
from ridelog.units import fold
from ridelog.words import clocks

_LABEL = re.compile(r"hh:?mm:?ss.*|h:m:s")
_USUAL_STEP_S = 20.0
"""A log with rarer rows can't show how its numbers run over a minute."""

_SURE_MINUTES = 3
"""So many minutes that all run from 59 on to 100 are no chance; fewer need a date beside them, or no unit at all."""

_LOOKED_AT = 20_000
_DAY = 1_000_000.0
_SIX_DIGITS = r"^\s*\d{6}(?:\.\d+)?\s*$"
_FRACTION = r"\d:\d{2}:\d{2}[.,:](\d{1,9})"


@dataclass(frozen=True)
class ClockNumbers:
    """HHMMSS numbers as texts, and whether the numbers held the date in front (YYYYMMDDHHMMSS)."""

    texts: pl.Series
    dated: bool
    note: Note


def digits_as_numbers(time: RawColumn, *, is_clock: bool) -> RawColumn:
    """A column of texts such as '093000.25' (a table that kept the leading zeros) as numbers, any other unchanged.

    `is_clock`: the user told the order of the dates beside it, so its numbers are times of day and no counter.
    """
    values = time.values
    if values.dtype == pl.String and values.null_count() < values.len():
        few = values.head(100).drop_nulls()
        if few.str.contains(_SIX_DIGITS).all() and values.drop_nulls().str.contains(_SIX_DIGITS).all():
            values = values.str.strip_chars().cast(pl.Float64)
    unit = "hhmmss" if is_clock and values.dtype == pl.Float64 else time.unit
    return RawColumn(time.name, unit, values)


def clock_numbers(
    column: pl.Series, unit: str | None, *, name: str, has_date: bool, unit_certain: bool = False
) -> ClockNumbers | None:
    """Numbers such as 93000.25 as the texts 09:30:00.25, None where they are a counter.

    Seconds and minutes then never pass 59, and where a minute ends the number goes up by 41 (by 4041 with the hour),
    which no counter does. `has_date`: a date column stands beside them. `unit_certain`: the user named the unit.
    """
    values = column.drop_nulls().to_numpy()
    label = fold(unit or "").strip("[]() .")
    said = _LABEL.fullmatch(label) is not None
    if values.size < 2 or (unit_certain and not said):
        return None
    few = values[:: values.size // _LOOKED_AT + 1]
    if not said and not all(((few / 10.0**digits % 100) < 60).all() for digits in _minutes_and_seconds(few)):
        return None  # a counter shows 60 to 99 in two rows of five, so this spares the work on long logs
    dated = bool(values.min() >= 1.9e13 and values.max() < 2.2e13)
    clock = values % _DAY if dated else values
    scale = 1.0
    if not dated and clock.max() >= 240_000 and clock.max() < 240_000_000 and (clock == np.floor(clock)).all():
        scale = 1000.0  # HHMMSS with three digits of milliseconds behind
    clock = clock / scale
    if clock.min() < 0 or clock.max() >= 240_000:
        return None
    hour, minute, second = np.floor(clock / 10_000), np.floor(clock / 100) % 100, clock % 100
    if (minute >= 60).any() or (second >= 60).any():
        return None
    seconds = hour * 3600 + minute * 60 + second
    if not (said or dated or _evident(clock, seconds, label, has_date=has_date)):
        return None
    what = "YYYYMMDDHHMMSS" if dated else "HHMMSS"
    if unit and label and not said and label not in ("utc", "gmt", "z", "local", "lokal"):
        note = Note(
            "unit_contradicted",
            clocks.clock_numbers_labelled(name, unit, what),
        )
    else:
        note = Note("clock_numbers", clocks.clock_numbers(name, what))
    us = pl.Series(column.name, np.round(seconds * 1e6).astype(np.int64))
    texts = us.cast(pl.Datetime("us")).dt.strftime("%H:%M:%S%.6f")
    if dated:
        days = pl.Series(np.floor(values / _DAY).astype(np.int64)).cast(pl.String)
        texts = days.str.slice(0, 4) + "-" + days.str.slice(4, 2) + "-" + days.str.slice(6, 2) + " " + texts
    if column.null_count():
        place = np.flatnonzero(column.is_not_null().to_numpy())
        whole = pl.Series(column.name, [None], dtype=pl.String).new_from_index(0, column.len())
        texts = whole.scatter(place, texts)
    return ClockNumbers(texts.rename(column.name), dated, note)


def _minutes_and_seconds(values: FloatArray) -> tuple[int, int]:
    """How many digits stand behind the minutes and the seconds of a clock written as one number."""
    behind = 3 if values.max() >= 240_000 and values.max() < 240_000_000 else 0
    return 2 + behind, behind


def _evident(clock: FloatArray, seconds: FloatArray, label: str, *, has_date: bool) -> bool:
    """Do the numbers run over the ends of minutes as clock times do?"""
    steps = np.diff(seconds)
    forward = steps[steps > 0]
    if not forward.size or float(np.median(forward)) > _USUAL_STEP_S:
        return False
    usual = 5.0 * float(np.median(forward)) + 1.0
    turned = np.floor(clock[1:] / 100) != np.floor(clock[:-1] / 100)
    over = turned & (steps > 0) & (steps <= usual)
    # Within a minute both readings step alike; over its end the number steps by 40 (by 4040) more than the time.
    odd = np.round(np.diff(clock) - steps, 6)
    run = int((over & ((odd == 40.0) | (odd == 4040.0))).sum())
    others = int((turned & ~over & (steps > 0)).sum())
    if not run or others > run:
        return False
    if label:
        return run >= _SURE_MINUTES
    return has_date or run >= _SURE_MINUTES or float(clock.min()) >= 10_000.0


def unpadded(text: pl.Series, us: pl.Series, *, name: str) -> tuple[pl.Series, Note] | None:
    """Microseconds where '.50' means 50 milliseconds, None where fractions are decimals. `us` is the decimal reading.

    Leading zeros that are missing show in two ways: the fractions have different widths, and read as decimals the time
    runs back, or limps, inside the seconds. Raises InputRefused where it runs back all the time and no unit mends that.
    """
    if not _may_vary(text):
        return None
    fraction = text.str.extract(_FRACTION, 1)
    width = fraction.str.len_chars().fill_null(0)
    shown = width.filter(width > 0)
    if shown.n_unique() < 2 or fraction.str.contains(r"^0\d").any():
        return None
    decimal = (fraction + "0" * 9).str.slice(0, 6).cast(pl.Int64).fill_null(0)
    second = us - decimal
    digits = fraction.cast(pl.Int64, strict=False).fill_null(0)
    back, limp = _roughness(us)
    widest = max(int(one) for one in shown.unique().to_list())
    for digits_of_unit, factor, what in ((3, 1000, "milliseconds"), (6, 1, "microseconds")):
        # In the right unit the fractions fill the second; in a finer one they would all sit at its beginning.
        if widest > digits_of_unit or int(digits.max() or 0) * factor < 500_000:  # type: ignore[arg-type]
            continue
        other = second + digits * factor
        other_back, other_limp = _roughness(other)
        mends = other_back < back and other_back <= 0.1 * back and other_limp < limp
        if mends or (other_back <= min(back, 0.01 * us.len()) and other_limp < 0.5 * limp):
            example = str(text.filter(width < widest).drop_nulls()[0]).strip()
            return other, Note(
                "unpadded_fraction",
                clocks.unpadded(name, what),
                rows=int((shown < widest).sum()),
                example=example,
            )
    if back > max(3, 0.01 * us.len()):
        first = int(np.flatnonzero(np.diff(us.fill_null(strategy="forward").to_numpy()) < 0)[0]) + 1
        raise InputRefused(
            f"its fractions of a second have different widths, and time runs back inside the seconds {back:,} times, "
            f"first at {str(text[first]).strip()!r} after {str(text[first - 1]).strip()!r}",
            where=f"column {name}",
            expected="fractions that rise inside each second",
            to_do="export the log with fractions of one width, such as 10:00:00.050",
        )
    return None


def _may_vary(text: pl.Series) -> bool:
    """A quick look: do the fractions of some rows, following each other, differ in width?"""
    some = pl.concat([text.head(400), text.slice(text.len() // 2, 400)])
    width = some.str.extract(_FRACTION, 1).str.len_chars().drop_nulls()
    return width.len() > 1 and width.n_unique() > 1


def _roughness(us: pl.Series) -> tuple[int, float]:
    """How often time runs back by less than a second, and how far its steps are from the usual one, in all."""
    steps = np.diff(us.drop_nulls().to_numpy()).astype(np.float64)
    if not steps.size:
        return 0, 0.0
    usual = float(np.median(steps))
    near = np.abs(steps - usual)
    return int(((steps < 0) & (steps > -1e6)).sum()), float(near[near < 2e6].sum())
