"""A ride's track by the way covered: one mark every ten metres, whatever the speed, the sampling and the stops.

What lies behind a mark (when it was passed, where, in which direction) no longer depends on how fast it was ridden, so
that a slow pass and a fast one give the same marks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ridelog.analysis.geodesy import FLATTENING, SEMI_MAJOR_M, short_steps_m
from ridelog.results import BoolArray, FloatArray

IndexArray = npt.NDArray[np.int64]

MARK_M = 10.0
"""Spacing of the marks: a receiver's errors of 2 to 5 m leave a direction over four of them."""

BLOCK_S = 1.0
MEAN_S = 3.0
"""Positions are averaged over three seconds: at 10 m/s through a bend of 10 m radius that cuts it by 4 m."""

REST_MPS = 0.7
"""Slower than this by the speed channel is standing: a receiver at rest reports up to half a metre a second."""

REST_MEAN_S, REST_MOVE_M = 10.0, 5.0
"""Without a speed: standing where the means of ten seconds before and after a moment lie less than this apart."""

FASTEST_MPS = 70.0
"""Positions further apart than this allows are a jump of the receiver: no line is drawn across."""

HEADING_MARKS = 2
"""The direction at a mark is that of the chord from two marks before to two after, 40 m."""


@dataclass(frozen=True)
class Origin:
    """Where plane metres are counted from."""

    lat_deg: float
    lon_deg: float

    def plane_m(self, lat_deg: FloatArray, lon_deg: FloatArray) -> tuple[FloatArray, FloatArray]:
        """East and north, m: each parallel at its true length, so that neighbouring places keep their distance."""
        squared = FLATTENING * (2.0 - FLATTENING)
        width = 1.0 - squared * np.sin(np.radians(lat_deg)) ** 2
        across_deg = (lon_deg - self.lon_deg + 180.0) % 360.0 - 180.0
        east = SEMI_MAJOR_M / np.sqrt(width) * np.cos(np.radians(lat_deg)) * np.radians(across_deg)
        middle = 1.0 - squared * np.sin(np.radians(self.lat_deg)) ** 2
        north = SEMI_MAJOR_M * (1.0 - squared) / middle**1.5 * np.radians(lat_deg - self.lat_deg)
        return np.asarray(east), np.asarray(north)


@dataclass(frozen=True)
class Way:
    """Marks of one ride, in the order they were passed.

    `t_s` when (rising), `at_m` the way covered so far (holes add their straight line), `lat_deg`, `lon_deg` where.
    `piece` counts unbroken pieces of the track: no line is drawn from one to the next.
    """

    t_s: FloatArray
    at_m: FloatArray
    lat_deg: FloatArray
    lon_deg: FloatArray
    piece: IndexArray

    @property
    def size(self) -> int:
        """Number of marks."""
        return int(self.t_s.size)

    @property
    def covered_m(self) -> float:
        """Way between marks of unbroken pieces, m."""
        same = self.piece[1:] == self.piece[:-1]
        return float(np.diff(self.at_m)[same].sum()) if self.size > 1 else 0.0

    def heading(self, origin: Origin) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """East and north of the marks, m, and their direction as a unit vector (0, 0 where a piece has one mark)."""
        east, north = origin.plane_m(self.lat_deg, self.lon_deg)
        index = np.arange(self.size)
        first, past = piece_ends(self.piece)
        before = np.maximum(index - HEADING_MARKS, first)
        after = np.minimum(index + HEADING_MARKS, past - 1)
        x, y = east[after] - east[before], north[after] - north[before]
        length = np.hypot(x, y)
        known = length > 1e-6
        length = np.where(known, length, 1.0)
        return east, north, np.where(known, x / length, 0.0), np.where(known, y / length, 0.0)


def piece_ends(piece: IndexArray) -> tuple[IndexArray, IndexArray]:
    """For each entry the first index of its piece and the one past its last."""
    if piece.size == 0:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    starts = np.concatenate([[0], np.flatnonzero(np.diff(piece)) + 1])
    sizes = np.diff(np.concatenate([starts, [piece.size]]))
    return np.repeat(starts, sizes), np.repeat(starts + sizes, sizes)


def way(
    t_s: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray, joined: BoolArray, speed_mps: FloatArray | None = None
) -> Way:
    """Marks of a track.

    `t_s` rising, `lat_deg`, `lon_deg` of the same length, `joined` (one less): whether a line may be drawn from a
    position to the next. `speed_mps`: ground speed at the positions, NaN where not known. A track of under two
    positions has no marks.
    """
    if t_s.size < 2:
        empty = np.zeros(0)
        return Way(empty, empty, empty, empty, np.zeros(0, dtype=np.int64))
    # Over the 180th meridian the numbers jump, the bike does not.
    lon_deg = lon_deg[0] + ((lon_deg - lon_deg[0] + 180.0) % 360.0 - 180.0)
    piece = np.concatenate([[0], np.cumsum(~joined)]).astype(np.int64)
    t_s, lat_deg, lon_deg, speed, piece = _seconds(t_s, lat_deg, lon_deg, speed_mps, piece)
    still = _standing(t_s, lat_deg, lon_deg, speed, piece)
    lat_deg, lon_deg = _mean(t_s, piece, MEAN_S, lat_deg), _mean(t_s, piece, MEAN_S, lon_deg)
    kept = _thinned(lat_deg, lon_deg, still, piece)
    return _marked(t_s[kept], lat_deg[kept], lon_deg[kept], piece[kept])


def _seconds(
    t_s: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray, speed_mps: FloatArray | None, piece: IndexArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, IndexArray]:
    """Means of each second, piece by piece; a slower track stays as it is."""
    second = np.floor(t_s / BLOCK_S + 1e-6).astype(np.int64)
    starts = np.concatenate([[0], np.flatnonzero((np.diff(second) > 0) | (np.diff(piece) > 0)) + 1])
    number = np.diff(np.concatenate([starts, [t_s.size]]))

    def mean(values: FloatArray) -> FloatArray:
        return np.asarray(np.add.reduceat(values, starts) / number)

    speed = mean(np.full(t_s.size, np.nan) if speed_mps is None else speed_mps)
    t_s, lat_deg, lon_deg, piece = mean(t_s), mean(lat_deg), mean(lon_deg), piece[starts]
    if t_s.size > 1:
        jumps = short_steps_m(lat_deg, lon_deg) > FASTEST_MPS * np.maximum(np.diff(t_s), BLOCK_S)
        piece = piece + np.concatenate([[0], np.cumsum(jumps & (np.diff(piece) == 0))])
    return t_s, lat_deg, lon_deg, speed, piece


def _mean(t_s: FloatArray, piece: IndexArray, width_s: float, values: FloatArray) -> FloatArray:
    """Running mean over `width_s` around each entry, as wide to one side as to the other, within its piece."""
    first, past = piece_ends(piece)
    index = np.arange(t_s.size)
    half = 0.5 * width_s + 1e-6
    reach = np.minimum(
        index - np.maximum(np.searchsorted(t_s, t_s - half, "left"), first),
        np.minimum(np.searchsorted(t_s, t_s + half, "right"), past) - 1 - index,
    )
    # About the first value, so that hours of sums do not eat up digits.
    total = np.concatenate([[0.0], np.cumsum(values - values[0])])
    low, high = index - reach, index + reach + 1
    return np.asarray((total[high] - total[low]) / (high - low) + values[0])


def _standing(
    t_s: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray, speed_mps: FloatArray, piece: IndexArray
) -> BoolArray:
    """Where the bike stands: by its speed, else by positions that stay where they were for twenty seconds."""
    still: BoolArray = np.nan_to_num(speed_mps, nan=np.inf) < REST_MPS
    unknown = ~np.isfinite(speed_mps)
    if not unknown.any():
        return still
    first, past = piece_ends(piece)
    east, north = Origin(float(lat_deg[0]), float(lon_deg[0])).plane_m(lat_deg, lon_deg)
    index = np.arange(t_s.size)
    low = np.maximum(np.searchsorted(t_s, t_s - REST_MEAN_S, "left"), first)
    high = np.minimum(np.searchsorted(t_s, t_s + REST_MEAN_S, "right"), past)

    def moved(values: FloatArray) -> FloatArray:
        total = np.concatenate([[0.0], np.cumsum(values)])
        after = (total[high] - total[index]) / (high - index)
        before = (total[index + 1] - total[low]) / (index + 1 - low)
        return np.asarray(after - before)

    # Near the ends of a piece one side is short, and a sparse track has nothing to average.
    enough = (high - index >= 5) & (index + 1 - low >= 5)
    rests = enough & (np.hypot(moved(east), moved(north)) < REST_MOVE_M)
    return np.asarray(still | (unknown & rests))


def _thinned(lat_deg: FloatArray, lon_deg: FloatArray, still: BoolArray, piece: IndexArray) -> IndexArray:
    """Positions that lie a mark's spacing from the one kept before them. One by one, because each choice rests on the
    one before; there is one position a second."""
    # At a mark's distance a plane will do, its parallel taken at each latitude.
    origin = Origin(float(lat_deg[0]), float(lon_deg[0]))
    east, north = (values.tolist() for values in origin.plane_m(lat_deg, lon_deg))
    kept: list[int] = []
    last = -1
    least = MARK_M * MARK_M
    x = y = 0.0
    for k, (number, rests) in enumerate(zip(piece.tolist(), still.tolist(), strict=True)):
        dx, dy = east[k] - x, north[k] - y
        if number != last or (not rests and dx * dx + dy * dy >= least):
            kept.append(k)
            last, x, y = number, east[k], north[k]
    return np.array(kept, dtype=np.int64)


def _marked(t_s: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray, piece: IndexArray) -> Way:
    """Marks along straight lines between the kept positions, every MARK_M within each piece."""
    at = np.concatenate([[0.0], np.cumsum(short_steps_m(lat_deg, lon_deg))])
    first, past = piece_ends(piece)
    starts = np.unique(first)
    ends = past[starts] - 1
    marks, numbers = [], []
    for number, (a, b) in enumerate(zip(at[starts].tolist(), at[ends].tolist(), strict=True)):
        count = int(np.floor((b - a) / MARK_M + 1e-9)) + 1
        marks.append(a + MARK_M * np.arange(count))
        numbers.append(np.full(count, number, dtype=np.int64))
    way_m, new_piece = np.concatenate(marks), np.concatenate(numbers)
    # A piece of no length has its one mark where two pieces' ways may meet: rising `at` is all that is needed.
    told = [np.interp(way_m, at, values) for values in (t_s, lat_deg, lon_deg)]
    lat, lon = (_eased(values, new_piece) for values in told[1:])
    return Way(told[0], way_m, lat, lon, new_piece)


def _eased(values: FloatArray, piece: IndexArray) -> FloatArray:
    """Each mark with half its neighbours' mean, ends of pieces as they are: noise of single positions goes, bends
    stay."""
    eased = values.copy()
    inside = (piece[2:] == piece[:-2]) if values.size > 2 else np.zeros(0, dtype=np.bool_)
    smooth = 0.25 * values[:-2] + 0.5 * values[1:-1] + 0.25 * values[2:]
    eased[1:-1][inside] = smooth[inside]
    return eased
