"""What each kind of NMEA 0183 sentence says: RMC, GGA, GLL, VTG, ZDA, from fields to arrays.

A sentence that says it has no fix gives no position and no speed, whatever stands in those fields. A sentence whose
fields break the standard although its checksum is right is given back as not good and nothing of it is used.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from ridelog.readers.nmea_fields import (
    NO_DAY,
    BoolArray,
    ByteArray,
    Fields,
    FloatArray,
    IntArray,
    among,
    clock_us,
    coordinate,
    dates,
    days,
    decimals,
    numbers,
)
from ridelog.units import NAUTICAL_MILE_M

KINDS = ("RMC", "GGA", "GLL", "VTG", "ZDA")
RMC, GGA, GLL, VTG, ZDA = range(5)

# Commas up to the last field that is needed; newer editions of the standard add fields at the end.
_LEAST_COMMAS = (9, 9, 6, 8, 4)
_LAST_FIELD = (12, 10, 7, 9, 4)
_NO_MODE = b"NMS"
"""Mode letters that are no measurement: no fix, entered by hand, simulator."""
_NO_QUALITY = b"078"
"""The same as quality digits of GGA."""


@dataclass
class Sentences:
    """Verified sentences of the five kinds in the order of the file, one array a property.

    `void`: the sentence says there is no fix. `tod_us`: microseconds of the UTC day, -1 without a time. `day`: days
    since 1970-01-01 as written, NO_DAY without one; `odd_date` marks a date that is none. The rest is NaN where a
    sentence has no such value: degrees, m/s, metres above mean sea level, and `counter`, the number before it on its
    line.
    """

    kind: npt.NDArray[np.int8]
    void: BoolArray
    odd_date: BoolArray
    tod_us: IntArray
    day: npt.NDArray[np.int32]
    lat_deg: FloatArray
    lon_deg: FloatArray
    speed_mps: FloatArray
    elevation_m: FloatArray
    hdop: FloatArray
    fix: FloatArray
    satellites: FloatArray
    counter: FloatArray

    @classmethod
    def of(cls, kind: npt.NDArray[np.int8]) -> Sentences:
        """Sentences of these kinds that say nothing yet."""
        size = kind.size
        no, yes = np.zeros(size, np.bool_), np.zeros(size, np.bool_)
        nothing = [np.full(size, np.nan) for _ in range(8)]
        return cls(kind, no, yes, np.full(size, -1), np.full(size, NO_DAY, np.int32), *nothing)

    @property
    def size(self) -> int:
        """Number of sentences."""
        return int(self.kind.size)

    def where(self, keep: BoolArray) -> Sentences:
        """Some of them."""
        return Sentences(*(getattr(self, item.name)[keep] for item in fields(self)))


def joined(parts: list[Sentences]) -> Sentences:
    """The sentences of all blocks as one. Takes the parts apart on the way, so that little is held twice."""
    whole = Sentences.of(np.zeros(0, np.int8))
    for item in fields(Sentences):
        if parts:
            setattr(whole, item.name, np.concatenate([getattr(part, item.name) for part in parts]))
        for part in parts:
            setattr(part, item.name, None)
    return whole


def read_fields(
    data: ByteArray, marks: IntArray, first: IntArray, commas: IntArray, kind: npt.NDArray[np.int8]
) -> tuple[Sentences, BoolArray]:
    """What verified sentences say, and which of them fit the standard.

    `first` is where in `marks` (positions in `data`) each sentence's `$` is, `commas` how many of them follow it.
    """
    out = Sentences.of(kind)
    good = commas >= np.array(_LEAST_COMMAS)[kind]
    for number, read in enumerate((_rmc, _gga, _gll, _vtg, _zda)):
        rows = np.flatnonzero(kind == number)
        if rows.size:
            places = Fields.between(data, marks, first[rows], commas[rows], _LAST_FIELD[number])
            good[rows] &= read(places, rows, out)
    return out, good


def _position(places: Fields, number: int, void: BoolArray, rows: IntArray, out: Sentences) -> BoolArray:
    """Latitude and longitude from four fields; a fix without them is no fix. Not looked at where void."""
    lat, lat_good = coordinate(places, number, 90, b"NS")
    lon, lon_good = coordinate(places, number + 2, 180, b"EW")
    out.lat_deg[rows] = np.where(void, np.nan, lat)
    out.lon_deg[rows] = np.where(void, np.nan, lon)
    without = np.isnan(lat) & np.isnan(lon)
    out.void[rows] = void | (without & lat_good & lon_good)
    return void | (lat_good & lon_good & (without | ~(np.isnan(lat) | np.isnan(lon))))


def _time(places: Fields, number: int, void: BoolArray, rows: IntArray, out: Sentences) -> BoolArray:
    out.tod_us[rows], good = clock_us(places, number)
    return good | void


def _knots(knots: FloatArray) -> FloatArray:
    return knots * NAUTICAL_MILE_M / 3600.0


def _rmc(places: Fields, rows: IntArray, out: Sentences) -> BoolArray:
    status = places.letter(2)
    void = among(status, b"V")
    good = void | among(status, b"A")
    void |= among(places.letter(12), _NO_MODE)
    good &= _time(places, 1, void, rows, out)
    good &= _position(places, 3, void, rows, out)
    nothing = out.void[rows]
    knots, knots_good = numbers(places, 7)
    out.speed_mps[rows] = np.where(nothing, np.nan, _knots(knots))
    day, odd = dates(places, 9)
    out.day[rows] = np.where(nothing, np.int32(NO_DAY), day)
    out.odd_date[rows] = odd & ~nothing
    return good & (void | knots_good)


def _gga(places: Fields, rows: IntArray, out: Sentences) -> BoolArray:
    quality = places.letter(6)
    start, end = places.span(6)
    void: BoolArray = among(quality, _NO_QUALITY) | (start == end)
    good = void | among(quality, b"1234569")
    good &= _time(places, 1, void, rows, out)
    good &= _position(places, 2, void, rows, out)
    void = out.void[rows]
    out.fix[rows] = np.where(void, np.nan, quality - float(ord("0")))
    columns = ((7, out.satellites, False), (8, out.hdop, False), (9, out.elevation_m, True))
    for number, target, signed in columns:
        values, fine = numbers(places, number, signed=signed)
        target[rows] = np.where(void, np.nan, values)
        good &= fine | void
    good &= void | np.isnan(out.elevation_m[rows]) | among(places.letter(10), b"M")
    return good


def _gll(places: Fields, rows: IntArray, out: Sentences) -> BoolArray:
    status = places.letter(6)
    void = among(status, b"V")
    good = void | among(status, b"A")
    void |= among(places.letter(7), _NO_MODE)
    good &= _time(places, 5, void, rows, out)
    return good & _position(places, 1, void, rows, out)


def _vtg(places: Fields, rows: IntArray, out: Sentences) -> BoolArray:
    """Knots before km/h: they are the unit of the receiver's own RMC. No mode letter below edition 2.3."""
    knots, knots_good = numbers(places, 5)
    kmh, kmh_good = numbers(places, 7)
    speed = np.where(np.isnan(knots), kmh / 3.6, _knots(knots))
    speed[among(places.letter(9), _NO_MODE)] = np.nan
    out.speed_mps[rows] = speed
    units = (np.isnan(knots) | among(places.letter(6), b"N")) & (np.isnan(kmh) | among(places.letter(8), b"K"))
    return knots_good & kmh_good & units


def _zda(places: Fields, rows: IntArray, out: Sentences) -> BoolArray:
    nothing = np.zeros(rows.size, dtype=np.bool_)
    good = _time(places, 1, nothing, rows, out)
    parts = [decimals(places.data, *places.span(number)) for number in (2, 3, 4)]
    day, month, year = (part.whole for part in parts)
    written = np.all([part.present & part.good & (part.places == 0) for part in parts], axis=0)
    found = days(year, month, day)
    out.day[rows] = np.where(written, found, np.int32(NO_DAY))
    out.odd_date[rows] = written & (found == NO_DAY)
    for part in parts:
        good &= part.good
    return good
