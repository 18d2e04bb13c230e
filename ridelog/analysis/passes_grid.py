"""Rides on one fixed grid over the earth: who was in a cell, how long, how hot it was there, and where it is hottest.

A cell is about CELL_M wide and high everywhere: rows of equal latitude, each parted into columns of about that width.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from ridelog.analysis.passes_way import IndexArray, Way, piece_ends
from ridelog.results import BoolArray, FloatArray

CELL_M = 75.0
"""Wider than what a receiver strays, narrower than a sand bed or a climb."""

METRES_A_DEGREE = 111_195.0
_ROW_DEG = CELL_M / METRES_A_DEGREE
_ROW_STEP = 1 << 20
"""A row has fewer than 2**20 columns, so that one whole number names a cell."""

HOT, NOT_HOT, UNKNOWN = 1.0, 0.0, np.nan


@dataclass(frozen=True)
class Visits:
    """A ride's visits to cells in the order of time, arrays of one length; NaN where not known.

    `cell` the cell's number, `start_s`, `end_s`, `at_m` how far along the ride, `east`, `north` the direction as a unit
    vector, `seconds` with positions known, `above_s` (visits, thresholds) seconds over each threshold of the bike,
    `peak_c`, `settle_c` with `settle_low_c`, `settle_high_c` the mean settle temperature, `hot` 1, 0 or NaN, `kind` the
    flagged kind of stretch it lies in by number (-1: none).
    """

    cell: IndexArray
    start_s: FloatArray
    end_s: FloatArray
    at_m: FloatArray
    east: FloatArray
    north: FloatArray
    seconds: FloatArray
    above_s: FloatArray
    peak_c: FloatArray
    settle_c: FloatArray
    settle_low_c: FloatArray
    settle_high_c: FloatArray
    hot: FloatArray
    kind: FloatArray

    @property
    def size(self) -> int:
        """Number of visits."""
        return int(self.cell.size)


NUMBERS = tuple(field.name for field in fields(Visits) if field.name not in ("cell", "above_s"))
"""Names of the columns of one number a visit."""


@dataclass(frozen=True)
class Signals:
    """What is looked up along a ride, on a uniform grid of times (`t_s`, `step_s`), NaN where not known; `kind` by
    number, -1 where none. `thresholds_c` of the bike, `limit_c` the highest of them."""

    t_s: FloatArray
    step_s: float
    coolant_c: FloatArray
    settle_c: FloatArray
    settle_low_c: FloatArray
    settle_high_c: FloatArray
    kind: IndexArray
    thresholds_c: tuple[float, ...]
    limit_c: float


def cells(lat_deg: FloatArray, lon_deg: FloatArray) -> IndexArray:
    """The number of each place's cell."""
    row = np.floor((np.asarray(lat_deg) + 90.0) / _ROW_DEG).astype(np.int64)
    column = np.floor(((np.asarray(lon_deg) + 180.0) % 360.0) / 360.0 * _columns(row)).astype(np.int64)
    return np.asarray(row * _ROW_STEP + column)


def _columns(row: IndexArray) -> FloatArray:
    lat = np.radians((row + 0.5) * _ROW_DEG - 90.0)
    return np.asarray(np.maximum(1.0, np.floor(360.0 / _ROW_DEG * np.maximum(np.cos(lat), 0.0))), dtype=np.float64)


def middles(cell: IndexArray) -> tuple[FloatArray, FloatArray]:
    """Latitude and longitude of the middle of each cell, degrees."""
    row, column = cell // _ROW_STEP, cell % _ROW_STEP
    lat_deg = (row.astype(np.float64) + 0.5) * _ROW_DEG - 90.0
    return lat_deg, np.asarray((column + 0.5) / _columns(row) * 360.0 - 180.0)


def visits(track: Way, at_m: FloatArray, told: Signals) -> Visits:
    """A ride's visits to cells; `at_m`: how far along the ride each mark of the track lies."""
    cell = cells(track.lat_deg, track.lon_deg)
    starts = np.concatenate([[0], np.flatnonzero((np.diff(cell) != 0) | (np.diff(track.piece) != 0)) + 1])
    lasts = np.concatenate([starts[1:], [cell.size]]) - 1
    first, past = piece_ends(track.piece)
    # A visit ends where the next one begins, within one piece of the track.
    ends = track.t_s[np.minimum(lasts + 1, past[lasts] - 1)]
    begins = track.t_s[starts]
    number = np.searchsorted(begins, told.t_s, "right") - 1
    inside = (number >= 0) & (told.t_s < ends[np.maximum(number, 0)])
    number, count = number[inside], starts.size

    def summed(values: FloatArray) -> FloatArray:
        return np.bincount(number, weights=np.nan_to_num(values[inside]), minlength=count).astype(np.float64)

    def mean(values: FloatArray) -> FloatArray:
        known = summed(np.isfinite(values).astype(np.float64))
        return np.asarray(np.where(known > 0.0, summed(values) / np.maximum(known, 1.0), np.nan))

    warm = np.nan_to_num(told.coolant_c)
    above = [summed((warm > level).astype(np.float64)) * told.step_s for level in told.thresholds_c]
    settle, peak = mean(told.settle_c), _highest(told.coolant_c[inside], number, count)
    lat, lon = np.radians(track.lat_deg), np.radians(track.lon_deg)
    # From the mark before to the mark after, so that a corner of a cell has a direction too.
    before, after = np.maximum(starts - 1, first[starts]), np.minimum(lasts + 1, past[lasts] - 1)
    north, east = lat[after] - lat[before], (lon[after] - lon[before]) * np.cos(lat[before])
    length = np.hypot(north, east)
    known = length > 0.0
    length = np.where(known, length, 1.0)
    return Visits(
        cell=cell[starts],
        start_s=begins,
        end_s=ends,
        at_m=at_m[starts],
        east=np.where(known, east / length, 0.0),
        north=np.where(known, north / length, 0.0),
        seconds=summed(np.ones(told.t_s.size)) * told.step_s,
        above_s=np.column_stack(above) if above else np.zeros((count, 0)),
        peak_c=peak,
        settle_c=settle,
        settle_low_c=mean(told.settle_low_c),
        settle_high_c=mean(told.settle_high_c),
        hot=hot(settle, peak, told.limit_c),
        kind=most_of(told.kind[inside], number, count),
    )


def hot(settle_c: FloatArray, peak_c: FloatArray, limit_c: float) -> FloatArray:
    """1 where the coolant passed the limit or would have settled above it, 0 where neither, NaN where neither is
    known."""
    with np.errstate(invalid="ignore"):
        over: BoolArray = (settle_c > limit_c) | (peak_c > limit_c)
    return np.where(over, HOT, np.where(np.isfinite(settle_c) | np.isfinite(peak_c), NOT_HOT, UNKNOWN))


def _highest(values: FloatArray, number: IndexArray, count: int) -> FloatArray:
    peak = np.full(count, -np.inf)
    known = np.isfinite(values)
    np.maximum.at(peak, number[known], values[known])
    return np.where(np.isfinite(peak), peak, np.nan)


def most_of(kind: IndexArray, number: IndexArray, count: int) -> FloatArray:
    """The kind that most of each visit lies in."""
    kinds = int(kind.max(initial=-1)) + 2
    table = np.bincount(number * kinds + kind + 1, minlength=count * kinds).reshape(count, kinds)
    return np.asarray(table.argmax(axis=1) - 1, dtype=np.float64)
