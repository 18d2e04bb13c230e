"""The hottest places of many rides: cells where it got hot, joined to places, and who else went there.

"The same place is hot for other bikes as well" is the first sign that the ground asks for it and not the bike.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.analysis.bootstrap import drawn_sums, middle_95
from ridelog.analysis.passes_grid import CELL_M, HOT, METRES_A_DEGREE, NUMBERS, Visits, middles, most_of
from ridelog.analysis.passes_way import IndexArray
from ridelog.analysis.proportion import wilson, witnesses
from ridelog.results import Band, BoolArray, FloatArray

NEXT_M = 115.0
"""Hot cells whose middles lie this near touch each other, at a corner at least."""

ALIKE = 0.5
"""Hot cells beside the surest one belong to its place while they are at least so sure, and of no other kind of
ground."""

LONGEST_M = 1500.0
"""A place reaches no further than this from its surest cell, or a hot day would be one place."""

SAME_PASS_S = 30.0
"""Back in a place within so long is still the same pass."""

HOT_SHARE = 0.25
"""A pass is hot where so much of its known time in the place was."""

Z_95 = 1.959963984540054
ENOUGH_RIDES = 10
"""Under ten rides a band by drawing rides anew means little: the range of the rides is told."""

DRAWS = 2000
SEED = 5


@dataclass(frozen=True)
class RideVisits:
    """A ride's visits, its bike, and the names of the thresholds that `above_s` counts."""

    ride: str
    bike: str | None
    thresholds: tuple[str, ...]
    visits: Visits


@dataclass(frozen=True)
class PlacePass:
    """One ride through a place: `hot` None where it can't be told."""

    ride: str
    bike: str | None
    start_s: float
    at_m: float
    seconds: float
    hot: bool | None


@dataclass(frozen=True)
class BikeShare:
    """Passes of one bike through a place, and how many of them were hot."""

    bike: str | None
    passes: int
    hot: int


@dataclass(frozen=True)
class HotPlace:
    """A place where it got hot.

    `long_m`: how far its longest pass leads through it. `passes` of `rides` rides went there in the direction of its
    hottest pass, `hot` of them were hot, on `unknown` it
    can't be told; `other_way` passes went another way. `share` is `hot` over those told, with Wilson's 95 % band for as
    many witnesses as there are rides: laps of one ride, on one day and by one bike, are taken as one.
    `settle`: mean over rides of the settle temperature, its band by drawing rides anew ("bootstrap") or, under ten
    rides, from the lowest to the highest end of their own bands ("range"). `above_s`: seconds over each threshold, by
    name, all passes. `ride`, `at_m`, `start_s`: where it is, told by its hottest pass. `place_deg`: latitude and
    longitude.
    """

    kind: int
    long_m: float
    rides: int
    hot_rides: int
    passes: int
    hot: int
    unknown: int
    other_way: int
    share: Band | None
    settle: Band | None
    method: str
    above_s: dict[str, float]
    by_bike: tuple[BikeShare, ...]
    ride: str
    at_m: float
    start_s: float
    place_deg: tuple[float, float]
    listed: tuple[PlacePass, ...]


def hottest(rides: Sequence[RideVisits], most: int, *, of: Sequence[bool] | None = None) -> list[HotPlace]:
    """The hottest places, those first of which it is surest that rides get hot there. `of`: the rides that are asked
    for; the others are counted by bike only."""
    if not rides:
        return []
    sizes = [one.visits.size for one in rides]
    ride = np.repeat(np.arange(len(rides)), sizes)
    joined = {name: np.concatenate([getattr(one.visits, name) for one in rides]) for name in (*NUMBERS, "cell")}
    is_hot = joined["hot"] == HOT
    asked = np.repeat(np.ones(len(rides), dtype=np.bool_) if of is None else np.asarray(of, dtype=np.bool_), sizes)
    seeds = np.unique(joined["cell"][is_hot & asked])
    if seeds.size == 0:
        return []
    surest = _sureness(joined, ride, seeds, asked)
    lat, lon = middles(seeds)
    left = np.ones(seeds.size, dtype=np.bool_)
    found: list[HotPlace] = []
    for k in surest.order.tolist():
        if len(found) >= most:
            break
        if not left[k]:
            continue
        north = (lat - lat[k]) * METRES_A_DEGREE
        east = ((lon - lon[k] + 180.0) % 360.0 - 180.0) * METRES_A_DEGREE * np.cos(np.radians(lat[k]))
        kind = (surest.kind == surest.kind[k]) | (surest.kind < 0) | (surest.kind[k] < 0)
        alike = left & (surest.low >= ALIKE * surest.low[k]) & kind
        near = _grown(k, east, north, alike & (np.hypot(north, east) <= LONGEST_M))
        left[near] = False
        found.append(_place(rides, joined, ride, seeds[near], asked))
    return found


@dataclass(frozen=True)
class _Sureness:
    """Of each hot cell: the low end of Wilson's band of the share of rides that were hot there, the flagged kind of
    ground most of its hot visits lay in (-1: none), and the order, the surest first."""

    low: FloatArray
    kind: FloatArray
    order: IndexArray


def _sureness(joined: dict[str, FloatArray], ride: IndexArray, seeds: IndexArray, asked: BoolArray) -> _Sureness:
    here = np.flatnonzero(np.isin(joined["cell"], seeds) & np.isfinite(joined["hot"]) & asked)
    at, is_hot, who = np.searchsorted(seeds, joined["cell"][here]), joined["hot"][here] == HOT, ride[here]
    # Each ride counts once: ten laps of one ride are no ten witnesses.
    base = int(ride.max()) + 1
    told = np.bincount(np.unique(at * base + who) // base, minlength=seeds.size)
    hot_rides = np.bincount(np.unique((at * base + who)[is_hot]) // base, minlength=seeds.size)
    ends = (wilson(int(h), int(n), Z_95) for h, n in zip(hot_rides, told, strict=True))
    low = np.array([band[0] if band is not None else 0.0 for band in ends])
    settle = joined["settle_c"][here]
    warm = np.where(np.isfinite(settle), settle, np.nan_to_num(joined["peak_c"][here]))
    mean = np.bincount(at, weights=warm, minlength=seeds.size) / np.maximum(np.bincount(at, minlength=seeds.size), 1)
    flagged = is_hot & (joined["kind"][here] >= 0)
    kind = most_of(joined["kind"][here][flagged].astype(np.int64), at[flagged], seeds.size)
    return _Sureness(low, kind, np.lexsort((seeds, -mean, -np.round(low, 6))))


def _grown(k: int, east: FloatArray, north: FloatArray, allowed: BoolArray) -> IndexArray:
    """Cells that hang together with cell `k`, itself among them."""
    inside = np.zeros(east.size, dtype=np.bool_)
    inside[k] = True
    edge = [k]
    while edge:
        one = edge.pop()
        new = allowed & ~inside & (np.hypot(east - east[one], north - north[one]) <= NEXT_M)
        inside |= new
        edge += np.flatnonzero(new).tolist()
    return np.flatnonzero(inside)


def _place(
    rides: Sequence[RideVisits], joined: dict[str, FloatArray], ride: IndexArray, near: IndexArray, asked: BoolArray
) -> HotPlace:
    here = np.flatnonzero(np.isin(joined["cell"], near))
    warmth = np.where(np.isfinite(joined["settle_c"]), joined["settle_c"], joined["peak_c"])
    among = here[(joined["hot"][here] == HOT) & asked[here]]
    top = int(among[np.argmax(warmth[among])])
    groups = _groups(joined, ride, here)
    lead = next(group for group in groups if top in group)
    led = [group for group in groups if _runs_along(joined, lead, group)]
    bikes: dict[str | None, list[int]] = {}
    for each in (_pass(rides, joined, ride, group) for group in led):
        if each.hot is not None:
            counts = bikes.setdefault(each.bike, [0, 0])
            counts[0] += 1
            counts[1] += each.hot
    along = [group for group in led if asked[group[0]]]
    visits = np.concatenate(along)
    passes = [_pass(rides, joined, ride, group) for group in along]
    told = [one for one in passes if one.hot is not None]
    hot_passes = [one for one in told if one.hot]
    settle, method = _settle(joined, ride, visits)
    lat, lon = middles(joined["cell"][[top]].astype(np.int64))
    kinds = joined["kind"][visits[(joined["hot"][visits] == HOT) & (joined["kind"][visits] >= 0)]]
    return HotPlace(
        kind=int(np.bincount(kinds.astype(np.int64)).argmax()) if kinds.size else -1,
        long_m=max(float(np.ptp(joined["at_m"][group])) for group in along) + CELL_M,
        rides=len({one.ride for one in passes}),
        hot_rides=len({one.ride for one in hot_passes}),
        passes=len(passes),
        hot=len(hot_passes),
        unknown=len(passes) - len(told),
        other_way=sum(bool(asked[group[0]]) for group in groups) - len(along),
        share=_share(told),
        settle=settle,
        method=method,
        above_s=_above(rides, visits, ride),
        by_bike=tuple(BikeShare(bike, *counts) for bike, counts in bikes.items()),
        ride=rides[int(ride[top])].ride,
        at_m=float(joined["at_m"][lead[0]]),
        start_s=float(joined["start_s"][lead[0]]),
        place_deg=(float(lat[0]), float(lon[0])),
        listed=tuple(passes),
    )


def _share(told: Sequence[PlacePass]) -> Band | None:
    """Share of hot passes, its band by rides: ten laps of one ride are no ten witnesses."""
    if not told:
        return None
    number = witnesses(list(Counter(one.ride for one in told).values()))
    share = sum(bool(one.hot) for one in told) / len(told)
    ends = wilson(min(share * number, number), number, Z_95)
    return Band(share, min(ends[0], share), max(ends[1], share)) if ends is not None else None


def _groups(joined: dict[str, FloatArray], ride: IndexArray, here: IndexArray) -> list[IndexArray]:
    """Visits that follow each other within seconds are one pass, in the order of rides and time."""
    start, end = joined["start_s"][here], joined["end_s"][here]
    new = (np.diff(ride[here]) != 0) | (start[1:] - end[:-1] > SAME_PASS_S)
    return np.split(here, np.flatnonzero(new) + 1)


def _runs_along(joined: dict[str, FloatArray], lead: IndexArray, group: IndexArray) -> bool:
    """Does a pass lead through a place as the leading one does: by the directions in the cells both were in, else by
    their mean directions."""
    cells_, at, other = np.intersect1d(joined["cell"][lead], joined["cell"][group], return_indices=True)
    one, two = (lead[at], group[other]) if cells_.size else (lead, group)
    if cells_.size:
        return bool(
            (joined["east"][one] * joined["east"][two] + joined["north"][one] * joined["north"][two]).sum() > 0.0
        )
    return bool(
        joined["east"][one].mean() * joined["east"][two].mean()
        + joined["north"][one].mean() * joined["north"][two].mean()
        > 0.0
    )


def _pass(rides: Sequence[RideVisits], joined: dict[str, FloatArray], ride: IndexArray, group: IndexArray) -> PlacePass:
    told, seconds = joined["hot"][group], joined["seconds"][group]
    known = np.isfinite(told)
    number = int(ride[group[0]])
    spent = float(seconds[known].sum())
    warm = float(seconds[told == HOT].sum()) >= HOT_SHARE * spent if known.any() else None
    return PlacePass(
        ride=rides[number].ride,
        bike=rides[number].bike,
        start_s=float(joined["start_s"][group[0]]),
        at_m=float(joined["at_m"][group[0]]),
        seconds=float(seconds.sum()),
        hot=warm and bool((told == HOT).any()),
    )


def _settle(joined: dict[str, FloatArray], ride: IndexArray, here: IndexArray) -> tuple[Band | None, str]:
    """Mean over rides of the settle temperature there, weighted by time within each."""
    known = here[np.isfinite(joined["settle_c"][here])]
    if known.size == 0:
        return None, "none"
    numbers, at = np.unique(ride[known], return_inverse=True)
    weight = np.maximum(joined["seconds"][known], 1e-3)

    def means(name: str) -> FloatArray:
        total = np.bincount(at, weights=joined[name][known] * weight)
        return np.asarray(total / np.bincount(at, weights=weight))

    value = means("settle_c")
    mean = float(value.mean())
    if numbers.size < ENOUGH_RIDES:
        return Band(mean, float(means("settle_low_c").min()), float(means("settle_high_c").max())), "range"
    sums = drawn_sums(np.column_stack([value, np.ones(value.size)]), DRAWS, np.random.default_rng(SEED))
    ends = middle_95(sums[:, 0] / sums[:, 1])
    return (Band(mean, min(ends[0], mean), max(ends[1], mean)) if ends is not None else None), "bootstrap"


def _above(rides: Sequence[RideVisits], here: IndexArray, ride: IndexArray) -> dict[str, float]:
    """Seconds over each threshold by its name: bikes may have different ones."""
    first = np.searchsorted(ride, np.arange(len(rides)))
    totals: dict[str, float] = {}
    for number in np.unique(ride[here]).tolist():
        rows = here[ride[here] == number] - int(first[number])
        sums = rides[number].visits.above_s[rows].sum(axis=0)
        for name, seconds in zip(rides[number].thresholds, sums.tolist(), strict=True):
            totals[name] = totals.get(name, 0.0) + seconds
    return totals
