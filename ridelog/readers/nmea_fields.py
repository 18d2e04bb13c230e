"""Fields of many NMEA 0183 sentences at once: numbers, times of day, dates, coordinates.

Digits are read eight at a time: eight characters are one 64-bit word, in which neighbours are joined three times over,
to pairs, to fours, to eight. A number is kept as a whole part, decimals and their count, and divided once: the result
is the float nearest to what is written, as a text parser would give it. What the standard does not allow (two points, a
letter, minute 60) is not good.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

IntArray = npt.NDArray[np.int64]
FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
ByteArray = npt.NDArray[np.uint8]
WordArray = npt.NDArray[np.uint64]

NO_DAY = np.iinfo(np.int32).min
"""In place of a day where a sentence has no date that can be believed."""

WORD = 8
"""Characters in a word; `data` must go on for as many bytes after its last field."""

_MOST_DIGITS = 15
"""A float holds any whole number of 15 digits exactly."""
_POWER = 10 ** np.arange(2 * WORD + 1, dtype=np.int64)
_ZERO, _POINT, _MINUS = b"0.-"
_YEAR_LOW, _YEAR_HIGH = 1980, 2079
"""Satellite time began in January 1980; two digits can't say more than a century."""


def words_of(data: ByteArray) -> WordArray:
    """The eight bytes from each place on as a word, the first byte lowest. Nothing is copied."""
    return np.ndarray((data.size - WORD + 1,), dtype="<u8", buffer=data, strides=(1,))


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

    def letter(self, number: int) -> ByteArray:
        """The one character of field `number`, 0 where it has none or more."""
        start = self.edges[number] + 1
        return np.where(self.edges[number + 1] - start == 1, self.data[start], np.uint8(0))


def among(letters: ByteArray, allowed: bytes) -> BoolArray:
    """True where a letter is one of the allowed ones."""
    found = np.zeros(letters.size, dtype=np.bool_)
    for one in allowed:
        found |= letters == one
    return found


@dataclass(frozen=True)
class Decimals:
    """Numbers as `whole` and `part` / 10**`places`, with the count of `digits` before the point. `present`: the field
    is not empty; `good`: it is empty or a plain number."""

    whole: IntArray
    part: IntArray
    places: IntArray
    digits: IntArray
    present: BoolArray
    good: BoolArray

    def with_whole(self, whole: IntArray) -> FloatArray:
        """The numbers as floats, with another whole part."""
        scale = _POWER[self.places]
        return (whole * scale + self.part) / scale

    def values(self) -> FloatArray:
        """As floats, NaN where empty or no number."""
        found = self.with_whole(self.whole)
        found[~(self.present & self.good)] = np.nan
        return found


def decimals(data: ByteArray, start: IntArray, end: IntArray) -> Decimals:
    """The unsigned decimal numbers in `data[start[i]:end[i]]`: up to eight digits, or up to seven before a point and
    eight after it, 15 together."""
    words = words_of(data)
    width = end - start
    head = words[start]
    # A byte is zero where the point is; the subtraction borrows into the top bit of the first zero byte, and only above
    # it can it be wrong. Counting the bits below that one gives its place, 8 where there is no point.
    zero = head ^ _POINTS
    zero = (zero - _ONES) & ~zero & _TOPS
    place = (np.bitwise_count((zero & (~zero + _ONE)) - _ONE) >> 3).astype(np.int64)
    digits = np.minimum(place, width)
    places = np.maximum(width - place - 1, 0)
    whole, whole_good = _eight_digits(head, digits)
    part, part_good = _eight_digits(words[start + digits + 1], places)
    written = digits + places
    good = whole_good & part_good & (places <= WORD) & (written > 0) & (written <= _MOST_DIGITS)
    good &= (place < WORD) | (width <= WORD)
    bad = np.flatnonzero(~good)
    for column in (whole, part, places, digits):
        column[bad] = 0
    present = width > 0
    return Decimals(whole, part, places, digits, present, good | ~present)


_ONE = np.uint64(1)
_ONES = np.uint64(0x0101010101010101)
_TOPS = np.uint64(0x8080808080808080)
_POINTS = np.uint64(_POINT * 0x0101010101010101)
_ZEROS = np.uint64(_ZERO * 0x0101010101010101)
_PAST_NINE = np.uint64(0x7676767676767676)
"""Added to a byte, it sets the top bit from ten on."""
_JOIN = ((2561, 8, 0x00FF00FF00FF00FF), (6553601, 16, 0x0000FFFF0000FFFF), (42949672960001, 32, 0xFFFFFFFF))
"""To join neighbours: multiplying by 1 + 10 x 2^8 adds ten times each byte to the byte above it, and so on for pairs
and fours; then shift down and mask."""


def _eight_digits(words: WordArray, count: IntArray) -> tuple[IntArray, BoolArray]:
    """The number in the first `count` characters (0 to 8) of each word, and whether they all are digits."""
    # Shifted up, the last digit is the highest byte and what is missing in front are zeros.
    value = (words ^ _ZEROS) << (64 - 8 * np.clip(count, 0, WORD)).astype(np.uint64)
    good = ((value + _PAST_NINE) | value) & _TOPS == 0
    for factor, shift, mask in _JOIN:
        value = value * np.uint64(factor) >> np.uint64(shift) & np.uint64(mask)
    return value.view(np.int64), good


def numbers(fields: Fields, number: int, *, signed: bool = False) -> tuple[FloatArray, BoolArray]:
    """Field `number` as floats (NaN where empty), and where it is good."""
    start, end = fields.span(number)
    if signed:
        negative = (fields.data[start] == _MINUS) & (end > start)
        found = decimals(fields.data, start + negative, end)
        values = found.values()
        return np.where(negative, -values, values), found.good & (found.present | ~negative)
    found = decimals(fields.data, start, end)
    return found.values(), found.good


def clock_us(fields: Fields, number: int) -> tuple[IntArray, BoolArray]:
    """hhmmss.sss as microseconds of the day (-1 where empty), and where it is good. Second 60 is a leap second."""
    found = decimals(fields.data, *fields.span(number))
    minutes = found.whole // 100
    second, hour = found.whole - minutes * 100, minutes // 100
    minute = minutes - hour * 100
    seconds = hour * 3600 + minute * 60 + second
    leap = (second == 60) & (minute == 59)
    shaped = (found.digits == 6) & (hour < 24) & (minute < 60) & ((second < 60) | leap)
    micros = seconds * 1_000_000 + found.part * _MICROS[found.places] // _FINER[found.places]
    micros[~(found.present & found.good & shaped)] = -1
    return micros, found.good & (shaped | ~found.present)


_MICROS = 10 ** np.maximum(6 - np.arange(WORD + 1), 0)
_FINER = 10 ** np.maximum(np.arange(WORD + 1) - 6, 0)


def coordinate(fields: Fields, number: int, limit_deg: int, letters: bytes) -> tuple[FloatArray, BoolArray]:
    """(d)ddmm.mmm and its letter (`letters`: positive, negative) as degrees, NaN where empty; and where it is good."""
    found = decimals(fields.data, *fields.span(number))
    letter = fields.letter(number + 1)
    degrees = found.whole // 100
    minutes = found.with_whole(found.whole - degrees * 100)
    value = degrees + minutes / 60.0
    negative = letter == letters[1]
    shaped = (found.digits >= 3) & (found.digits <= 5) & (minutes < 60.0) & (value <= limit_deg)
    shaped &= negative | (letter == letters[0])
    start, end = fields.span(number + 1)
    good = found.good & np.where(found.present, shaped, end == start)
    np.negative(value, out=value, where=negative)
    value[~(found.present & good)] = np.nan
    return value, good


def dates(fields: Fields, number: int) -> tuple[npt.NDArray[np.int32], BoolArray]:
    """ddmmyy as days since 1970-01-01, NO_DAY where empty or no date; and where one is written that is none.

    Two digits of the year below 69 are 20xx, the rest 19xx (the rule of POSIX).
    """
    found = decimals(fields.data, *fields.span(number))
    # A log has a handful of dates: each run of equal ones is looked up once.
    starts = np.flatnonzero(np.diff(found.whole, prepend=-1))
    written = found.whole[starts]
    year = written % 100
    looked_up = days(year + np.where(year < 69, 2000, 1900), written // 100 % 100, written // 10_000)
    day = np.repeat(looked_up, np.diff(starts, append=found.whole.size))
    day[~(found.present & found.good & (found.digits == 6) & (found.places == 0))] = NO_DAY
    return day, found.present & (day == NO_DAY)


def days(year: IntArray, month: IntArray, day: IntArray) -> npt.NDArray[np.int32]:
    """Days since 1970-01-01 of dates, NO_DAY where the calendar has no such date or it is before satellite time."""
    possible = (year >= _YEAR_LOW) & (year <= _YEAR_HIGH) & (month >= 1) & (month <= 12) & (day >= 1)
    months = np.where(possible, (year - 1970) * 12 + month - 1, 0).astype("datetime64[M]")
    first = months.astype("datetime64[D]").astype(np.int64)
    length = (months + 1).astype("datetime64[D]").astype(np.int64) - first
    return np.where(possible & (day <= length), first + day - 1, NO_DAY).astype(np.int32)
