"""Fields of many NMEA 0183 sentences at once: numbers, times of day, dates, coordinates, read digit by digit.

A number is kept as a whole number and a count of decimals, and divided once: the result is the float nearest to what is
written, as a text parser would give it. What the standard does not allow (two points, a letter, minute 60) is not good.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

IntArray = npt.NDArray[np.int64]
FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
ByteArray = npt.NDArray[np.uint8]

NO_DAY = np.iinfo(np.int32).min
"""In place of a day where a sentence has no date that can be believed."""

_MOST_DIGITS = 15
"""A float holds any whole number of 15 digits exactly."""
_POWER = 10 ** np.arange(_MOST_DIGITS + 1, dtype=np.int64)
_ZERO, _POINT, _MINUS = b"0.-"
_YEAR_LOW, _YEAR_HIGH = 1980, 2079
"""Satellite time began in January 1980; two digits can't say more than a century."""


@dataclass(frozen=True)
class Fields:
    """Where the fields of some sentences are. `edges[k]`: the position in `data` of each sentence's `$` (k = 0), of
    its k-th comma, and from there on of its `*`, so that field k lies between edges k and k + 1.
    """

    data: ByteArray
    edges: IntArray

    @classmethod
    def between(cls, data: ByteArray, marks: IntArray, first: IntArray, commas: IntArray, most: int) -> Fields:
        """Fields 0 (the address) to `most`: `first` is where in `marks` each sentence's `$` is, its commas follow."""
        return cls(data, marks[first + np.minimum(np.arange(most + 2)[:, np.newaxis], commas + 1)])

    def span(self, number: int) -> tuple[IntArray, IntArray]:
        """First byte and end of field `number`; empty where a sentence is too short for it."""
        start = self.edges[number] + 1
        return start, np.maximum(self.edges[number + 1], start)

    def is_one_of(self, number: int, letters: bytes) -> BoolArray:
        """True where a field is exactly one of some letters."""
        start, end = self.span(number)
        char = self.data[start]
        found = np.zeros(start.size, dtype=np.bool_)
        for letter in letters:
            found |= char == letter
        found &= end - start == 1
        return found


@dataclass(frozen=True)
class Decimals:
    """Numbers as `mantissa` / 10**`places`, `whole_digits` before the point. `present`: the field is not empty; `good`:
    it is empty or a plain number."""

    mantissa: IntArray
    places: IntArray
    whole_digits: IntArray
    present: BoolArray
    good: BoolArray

    def values(self) -> FloatArray:
        """As floats, NaN where empty or no number."""
        return np.where(self.present & self.good, self.mantissa / _POWER[self.places], np.nan)


def decimals(data: ByteArray, start: IntArray, end: IntArray, *, signed: bool = False) -> Decimals:
    """The unsigned (or signed) decimal numbers in `data[start[i]:end[i]]`, at most 15 digits each."""
    present = end > start
    negative = present & (data[start] == _MINUS) if signed else None
    if negative is not None and negative.any():
        start = start + negative
    width = end - start
    mantissa, places, whole = (np.zeros(width.size, dtype=np.int64) for _ in range(3))
    good = ~present
    widths = np.flatnonzero(np.bincount(np.minimum(width, _MOST_DIGITS + 2), minlength=1))
    for size in widths[(widths > 0) & (widths < _MOST_DIGITS + 2)].tolist():
        rows = np.flatnonzero(width == size)
        chars = data[start[rows] + np.arange(size)[:, np.newaxis]]
        digits, points = chars - _ZERO, chars == _POINT
        pointed = points.sum(axis=0, dtype=np.uint8)
        total = np.zeros(rows.size, dtype=np.int64)
        at = np.full(rows.size, size)
        for column, (digit, point) in enumerate(zip(digits, points, strict=True)):
            if not point.any():
                total *= 10
                total += digit
            else:
                total = np.where(point, total, total * 10 + digit)
                at[point] = column
        digits_in = size - pointed
        fits = ((digits < 10) | points).all(axis=0)
        good[rows] = fits & (pointed < 2) & (digits_in >= 1) & (digits_in <= _MOST_DIGITS)
        mantissa[rows] = total
        whole[rows] = at
        places[rows] = np.maximum(size - 1 - at, 0)
    if not good.all():
        mantissa[~good], places[~good], whole[~good] = 0, 0, 0
    if negative is not None and negative.any():
        mantissa = np.where(negative, -mantissa, mantissa)
    return Decimals(mantissa, places, whole, present, good)


def numbers(fields: Fields, number: int, *, signed: bool = False) -> tuple[FloatArray, BoolArray]:
    """Field `number` as floats (NaN where empty), and where it is good."""
    found = decimals(fields.data, *fields.span(number), signed=signed)
    return found.values(), found.good


def clock_us(fields: Fields, number: int) -> tuple[IntArray, BoolArray]:
    """hhmmss.sss as microseconds of the day (-1 where empty), and where it is good. Second 60 is a leap second."""
    found = decimals(fields.data, *fields.span(number))
    scale = _POWER[found.places]
    clock = found.mantissa // scale
    part = found.mantissa - clock * scale
    micros = part * _POWER[np.maximum(6 - found.places, 0)] // _POWER[np.maximum(found.places - 6, 0)]
    minutes, second = clock // 100, clock % 100
    hour, minute = minutes // 100, minutes % 100
    leap = (second == 60) & (minute == 59)
    good = found.good & (
        ~found.present | ((found.whole_digits == 6) & (hour < 24) & (minute < 60) & ((second < 60) | leap))
    )
    micros += (hour * 3600 + minute * 60 + second) * 1_000_000
    return np.where(found.present & good, micros, -1), good


def coordinate(fields: Fields, number: int, limit_deg: int, letters: bytes) -> tuple[FloatArray, BoolArray]:
    """(d)ddmm.mmm and its letter (`letters`: positive, negative) as degrees, NaN where empty; and where it is good."""
    found = decimals(fields.data, *fields.span(number))
    start, end = fields.span(number + 1)
    scale = _POWER[found.places]
    degrees = found.mantissa // (scale * 100)
    minutes = (found.mantissa - degrees * scale * 100) / scale
    value = degrees + minutes / 60.0
    negative = fields.is_one_of(number + 1, letters[1:])
    lettered = negative | fields.is_one_of(number + 1, letters[:1])
    written = (found.whole_digits >= 3) & (found.whole_digits <= 5) & (minutes < 60.0) & (value <= limit_deg) & lettered
    good = found.good & np.where(found.present, written, end == start)
    return np.where(found.present & good, np.where(negative, -value, value), np.nan), good


def dates(fields: Fields, number: int) -> tuple[npt.NDArray[np.int32], BoolArray]:
    """ddmmyy as days since 1970-01-01, NO_DAY where empty or no date; and where one is written that is none.

    Two digits of the year below 69 are 20xx, the rest 19xx (the rule of POSIX).
    """
    found = decimals(fields.data, *fields.span(number))
    year = found.mantissa % 100
    shaped = found.present & found.good & (found.whole_digits == 6) & (found.places == 0)
    day = days(year + np.where(year < 69, 2000, 1900), found.mantissa // 100 % 100, found.mantissa // 10_000)
    day = np.where(shaped, day, np.int32(NO_DAY))
    return day, found.present & (day == NO_DAY)


def days(year: IntArray, month: IntArray, day: IntArray) -> npt.NDArray[np.int32]:
    """Days since 1970-01-01 of dates, NO_DAY where the calendar has no such date or it is before satellite time."""
    possible = (year >= _YEAR_LOW) & (year <= _YEAR_HIGH) & (month >= 1) & (month <= 12) & (day >= 1)
    months = np.where(possible, (year - 1970) * 12 + month - 1, 0).astype("datetime64[M]")
    first = months.astype("datetime64[D]").astype(np.int64)
    length = (months + 1).astype("datetime64[D]").astype(np.int64) - first
    return np.where(possible & (day <= length), first + day - 1, NO_DAY).astype(np.int32)
