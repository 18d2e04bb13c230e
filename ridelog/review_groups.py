"""Sums over sets of rides with their bands: the share of the advised time on the map, and time above a threshold for
each hour ridden.

Bands come from drawing whole rides anew (`analysis.bootstrap`): rides differ from each other far more than the seconds
of one ride do. Of fewer than `FEWEST` rides the smallest and the largest are told instead.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ridelog.advice import KINDS
from ridelog.analysis.bootstrap import drawn_sums, middle_95
from ridelog.analysis.proportion import wilson
from ridelog.kept_results import VERDICTS
from ridelog.results import FloatArray
from ridelog.review_table import BANDS, FOLLOWED_SHARE, KNOWN_SHARE, IntArray, Table

FEWEST = 10
"""Nine rides can be drawn in 24,310 ways, five in 126: below so many a band says more of the drawing than of the
rides."""

DRAWS = 600
"""By chance of the drawing each end of a band is off by a twentieth of the band's half, far less than a band tells."""

SEED = 20260101
Z_95 = 1.959963984540054
HOUR_S = 3600.0

Method = Literal["cluster_bootstrap", "range", "none_above", "unknown"]


@dataclass(frozen=True)
class RidesFollowed:
    """Rides followed, of those on which the map is known for most of what was advised; Wilson's band, each ride a case.
    None in place of the shares without a ride."""

    followed: int
    of: int
    share: float | None
    low: float | None
    high: float | None
    method: str = "wilson"


@dataclass(frozen=True)
class Group:
    """A set of rides. `rides` are those the share rests on, `all_rides` all of them; `segments` the advised stretches,
    their verdicts in `counts`. `share`: of the advised seconds with a known map, those on the conservative one;
    `unknown_s` of `advised_s` stand beside it, never in it."""

    key: str
    rides: int
    segments: int
    advised_s: float
    unknown_s: float
    share: float | None
    low: float | None
    high: float | None
    method: Method
    all_rides: int
    counts: dict[str, int]
    rides_followed: RidesFollowed


@dataclass(frozen=True)
class Outcome:
    """Seconds above a threshold for each hour ridden, over a set of rides: `rides` of them have a coolant channel, this
    threshold and no known fault, `rides_above` were above it at some time. `sensor_low`, `sensor_high`: what the steps
    of the sensors allow the figure to be. Where no ride was above, drawing them anew can't tell how rare it is: `high`
    is None. `per_advised_hour`: the same seconds for each hour the map was advised, None where it never was."""

    rides: int
    rides_above: int
    hours: float
    seconds_per_hour: float | None
    low: float | None
    high: float | None
    method: Method
    sensor_low: float | None
    sensor_high: float | None
    per_advised_hour: float | None


@dataclass(frozen=True)
class Difference:
    """One figure less another, with its band; None where either side is too few rides for one."""

    value: float | None
    low: float | None
    high: float | None

    @property
    def clear(self) -> bool:
        """The band lies on one side of nought."""
        return self.low is not None and self.high is not None and (self.low > 0.0 or self.high < 0.0)


class Rides:
    """A set of rides of a table, drawn anew once for all its figures."""

    def __init__(
        self, table: Table, which: IntArray, name: str, *, outcome: bool = False, by_kind: bool = False
    ) -> None:
        self._table, self._which = table, which
        self._advised = table.advised_s[which]
        self._known = table.known_s[which]
        self._conservative = table.conservative_s[which]
        above = table.above_s[which]
        # What a fault did to the coolant says nothing of the advice.
        useful = (table.riding_s[which] > 0.0) & ~table.faulty[which]
        has = np.isfinite(above[:, :, 0]) & useful[:, None]
        self._air_c = table.air_c[which][useful]
        self._riding = np.where(has, table.riding_s[which][:, None], 0.0)
        self._above = np.where(has[:, :, None], above, 0.0)
        self._called = np.where(has, self._advised.sum(axis=1)[:, None], 0.0)
        extra: list[FloatArray] = []
        if outcome:
            extra = [*self._riding.T, *self._above[:, :, 0].T, *self._called.T]
        elif by_kind:
            extra = [*self._conservative.T, *self._known.T]
        self._drawn = self._draw(name, extra)

    def _draw(self, name: str, extra: list[FloatArray]) -> FloatArray | None:
        values = np.stack([self._conservative.sum(axis=1), self._known.sum(axis=1), *extra], axis=1)
        # Rides that weigh nothing in any figure are no clusters of it.
        values = values[(values > 0.0).any(axis=1)]
        if values.shape[0] < FEWEST:
            return None
        return drawn_sums(values, DRAWS, np.random.default_rng([SEED, zlib.crc32(name.encode())]))

    def group(self, key: str) -> Group:
        """Adherence over these rides."""
        known, conservative = self._known.sum(axis=1), self._conservative.sum(axis=1)
        drawn = self._drawn[:, :2] if self._drawn is not None else None
        counts = self._table.counts[self._which].sum(axis=(0, 1))
        return _group(key, (self._advised.sum(axis=1), known, conservative), counts, drawn, self._followed())

    def kinds(self) -> list[Group]:
        """Adherence by kind of stretch, in the order of KINDS; kinds without a stretch are left out. For sets made
        `by_kind`."""
        groups = []
        for at, kind in enumerate(KINDS):
            counts = self._table.counts[self._which, at]
            on = counts.sum(axis=1) > 0
            if not on.any():
                continue
            seconds = self._advised[on, at], self._known[on, at], self._conservative[on, at]
            drawn = self._drawn[:, [2 + at, 2 + len(KINDS) + at]] if self._drawn is not None else None
            groups.append(_group(kind, seconds, counts[on].sum(axis=0), drawn, _followed(*seconds)))
        return groups

    def _followed(self) -> RidesFollowed:
        band = self._table.band[self._which]
        return _proportion(
            int(np.count_nonzero(band == BANDS.index("80-100"))), int(np.count_nonzero(band < BANDS.index("unknown")))
        )

    def outcome(self, threshold: int) -> Outcome:
        """Time above a threshold for each hour ridden; `threshold` is its column in the table."""
        riding_s, above = self._riding[:, threshold], self._above[:, threshold]
        on = riding_s > 0.0
        rides = int(np.count_nonzero(on))
        if rides == 0:
            return Outcome(0, 0, 0.0, None, None, None, "unknown", None, None, None)
        hours = riding_s[on] / HOUR_S
        rate, least, most = (above[on].sum(axis=0) / hours.sum()).tolist()
        rides_above = int(np.count_nonzero(above[on, 0] > 0.0))
        drawn = self.rates(threshold)
        ends = middle_95(drawn) if drawn is not None else None
        low, high = ends or (None, None)
        method: Method = "cluster_bootstrap"
        if rides_above == 0:
            low, high, method = 0.0, None, "none_above"
        elif ends is None:
            each = above[on, 0] / hours
            low, high, method = float(each.min()), float(each.max()), "range"
        called = float(self._called[:, threshold].sum()) / HOUR_S
        each_called = float(above[:, 0].sum()) / called if called > 0.0 else None
        return Outcome(rides, rides_above, float(hours.sum()), rate, low, high, method, least, most, each_called)

    def rates(self, threshold: int, *, per_advised: bool = False) -> FloatArray | None:
        """Drawn values of time above for each hour ridden, or for each hour the map was advised; NaN in draws without
        one, None of too few rides."""
        hours = self._called if per_advised else self._riding
        if self._drawn is None or np.count_nonzero(hours[:, threshold]) < FEWEST:
            return None
        thresholds = hours.shape[1]
        riding, above, called = (self._drawn[:, 2 + at * thresholds + threshold] for at in range(3))
        return _ratio(above, (called if per_advised else riding) / HOUR_S)

    def shares(self) -> FloatArray | None:
        """Drawn values of the share; None of too few rides."""
        if self._drawn is None or np.count_nonzero(self._known.sum(axis=1) > 0.0) < FEWEST:
            return None
        return _ratio(self._drawn[:, 0], self._drawn[:, 1])

    def air_c(self) -> tuple[int, float | None]:
        """On how many of the rides that have an outcome the air's temperature is known, and its middle value."""
        told = self._air_c[np.isfinite(self._air_c)]
        return int(told.size), float(np.median(told)) if told.size else None


def difference(
    value: float | None, other: float | None, drawn: FloatArray | None, others: FloatArray | None
) -> Difference:
    """`value` less `other`; the band from draws of each side by itself."""
    if value is None or other is None:
        return Difference(None, None, None)
    ends = middle_95(drawn - others) if drawn is not None and others is not None else None
    return Difference(value - other, *(ends or (None, None)))


def _group(
    key: str,
    seconds: tuple[FloatArray, FloatArray, FloatArray],
    counts: Sequence[int],
    drawn: FloatArray | None,
    followed: RidesFollowed,
) -> Group:
    advised, known, conservative = seconds
    on = known > 0.0
    rides = int(np.count_nonzero(on))
    share: float | None = None
    ends: tuple[float, float] | None = None
    method: Method = "unknown"
    if rides:
        share = float(conservative[on].sum() / known[on].sum())
        each = conservative[on] / known[on]
        ends, method = (float(each.min()), float(each.max())), "range"
        if rides >= FEWEST and drawn is not None:
            ends, method = middle_95(_ratio(drawn[:, 0], drawn[:, 1])), "cluster_bootstrap"
    low, high = ends or (None, None)
    return Group(
        key=key,
        rides=rides,
        segments=int(sum(counts)),
        advised_s=float(advised.sum()),
        unknown_s=float((advised - known).sum()),
        share=share,
        low=low,
        high=high,
        method=method,
        all_rides=int(advised.size),
        counts={verdict: int(count) for verdict, count in zip(VERDICTS, counts, strict=True)},
        rides_followed=followed,
    )


def _ratio(part: FloatArray, whole: FloatArray) -> FloatArray:
    ratio = np.full(part.size, np.nan)
    np.divide(part, whole, out=ratio, where=whole > 0.0)
    return ratio


def _followed(advised: FloatArray, known: FloatArray, conservative: FloatArray) -> RidesFollowed:
    told = (known > 0.0) & (known >= KNOWN_SHARE * advised)
    return _proportion(
        int(np.count_nonzero(told & (conservative >= FOLLOWED_SHARE * known))), int(np.count_nonzero(told))
    )


def _proportion(followed: int, of: int) -> RidesFollowed:
    ends = wilson(followed, of, Z_95)
    return RidesFollowed(followed, of, followed / of if of else None, *(ends or (None, None)))
