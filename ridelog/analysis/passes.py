"""Stretches of ground that were ridden more than once in the same direction, and each pass over them.

A stretch that leads back to its own beginning is a loop, and its passes are laps, counted for each ride from where it
first came onto it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from ridelog.analysis.passes_follow import LEAST_M, Chain, Followed, follow
from ridelog.analysis.passes_way import MARK_M, IndexArray, Way

FULL_SHARE = 0.8
"""A pass over at least so much of a stretch is held against others; a shorter one is listed only."""

COMMON_SHARE = 0.97
"""So much of the ground that all full passes have in common is all of it, to a mark or two at its ends."""

LAP_SHARE = 0.95
"""So much of a loop is a whole lap: it is joined and left a little before or behind the gate."""

LIST_SHARE = 0.1
"""Shorter parts of a stretch are not listed."""

ROUND_MARKS, ROUND_SHARE = 12, 0.06
"""A pass that begins so near the beginning, right after one that ended so near the end, goes round: so many marks, or
the share of the stretch (tracks end before the gate, or begin behind it)."""

OUT_AND_BACK_SHARE = 0.35
"""Where so much of a stretch runs back along its own beginning (at most half of it can), it is cut at the turn."""

JOIN_MARKS = 10
"""Repeated ground with so little in between that only one rode is one stretch."""


@dataclass(frozen=True)
class Pass:
    """One pass: marks `first`..`last` of way `way`, seconds `start_s`..`end_s` of its ride.

    `from_m`..`to_m`: the part of the stretch (a lap may run over the loop's gate, then `to_m` is beyond its length).
    `compared_m`: way of it that lies on the others' ground. `number` counts the passes of this way from 1. `full`:
    fit to be held against others.
    """

    way: int
    first: int
    last: int
    start_s: float
    end_s: float
    from_m: float
    to_m: float
    compared_m: float
    number: int
    full: bool


@dataclass(frozen=True)
class Stretch:
    """Repeated ground: marks `first`..`last` of way `way`, which was there first. `passes` are in the order of the ways
    and of time. `loop`: it leads back to its beginning, and passes are laps. `against_m`: how much of it was ridden the
    other way as well."""

    way: int
    first: int
    last: int
    length_m: float
    loop: bool
    passes: tuple[Pass, ...]
    against_m: float


@dataclass(frozen=True)
class Repeats:
    """What several ways repeat of each other and of themselves. `opposed_m`: for each way, what it rode on ground that
    was ridden the other way before."""

    ways: tuple[Way, ...]
    stretches: tuple[Stretch, ...]
    opposed_m: tuple[float, ...]


@dataclass(frozen=True)
class _Part:
    """Marks of a way on a stretch: own marks and where on it they lie, in marks from its beginning, both rising."""

    way: int
    own: IndexArray
    at: IndexArray
    matched: IndexArray


def repeats(ways: Sequence[Way]) -> Repeats:
    """Repeated stretches of all ways, the longest way on them first."""
    found = follow(ways)
    stretches = []
    for way, first, last in _grounds(found):
        one = _stretch(ways, found, way, first, last)
        if sum(each.full for each in one.passes) >= 2:
            stretches.append(one)
    kept = _without_doubles(stretches)
    opposed = tuple(
        MARK_M * float(np.count_nonzero(found.opposed[found.offset[w] : found.offset[w + 1]] >= 0))
        for w in range(len(ways))
    )
    return Repeats(tuple(ways), tuple(sorted(kept, key=_ridden_m, reverse=True)), opposed)


def _ridden_m(stretch: Stretch) -> float:
    return sum(one.compared_m for one in stretch.passes)


def _grounds(found: Followed) -> list[tuple[int, int, int]]:
    """Way, first and last mark of each stretch of ground that was followed, cut so that some pass covers each."""
    by_way: dict[int, list[Chain]] = {}
    for chain in found.chains:
        by_way.setdefault(chain.ground, []).append(chain)
    grounds = []
    for way, chains in by_way.items():
        spans: list[list[int]] = []
        for first, last in sorted((chain.from_, chain.to) for chain in chains):
            if spans and first <= spans[-1][1] + JOIN_MARKS:
                spans[-1][1] = max(spans[-1][1], last)
            else:
                spans.append([first, last])
        for first, last in spans:
            inside = [(one.from_, one.to) for one in chains if first <= one.from_ and one.to <= last]
            turn = _turn(found, way, first, last)
            for part in [(first, last)] if turn is None else [(first, turn), (turn, last)]:
                within = [(max(a, part[0]), min(b, part[1])) for a, b in inside if a < part[1] and b > part[0]]
                grounds += [(way, a, b) for a, b in _cut(*part, within)] if within else []
    return grounds


def _turn(found: Followed, way: int, first: int, last: int) -> int | None:
    """Where a way out turns into the way back along it; None where it is no such way."""
    base = int(found.offset[way])
    marks = np.arange(base + first, base + last + 1)
    against = found.opposed[marks]
    own = against >= base + first
    if np.count_nonzero(own) < OUT_AND_BACK_SHARE * marks.size:
        return None
    # Either side of the turn runs against the other, so their middle is the turn.
    return int(np.median((marks[own] + against[own]) // 2)) - base


def _cut(first: int, last: int, spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """A stretch as it is where one pass covers it, else cut where passes begin and end."""
    if max(b - a for a, b in spans) >= FULL_SHARE * (last - first):
        return [(first, last)]
    least = round(LEAST_M / MARK_M)
    edges = [first]
    for edge in sorted({edge for span in spans for edge in span}):
        if edge - edges[-1] >= least and last - edge >= least:
            edges.append(edge)
    return list(zip(edges, [*edges[1:], last], strict=True))


def _stretch(ways: Sequence[Way], found: Followed, way: int, first: int, last: int) -> Stretch:
    parts = _parts(found, way, first, last)
    length, loop = last - first, False
    passes = _laps_of(ways, parts, length)
    if passes is not None:
        loop, length = True, max(length, round(max(one.to_m - one.from_m for one in passes if one.full) / MARK_M))
    else:
        passes = [_pass(ways, part, length, FULL_SHARE) for part in parts]
        full = [one for one in passes if one.full]
        if len(full) >= 2:
            # Passes are held against each other on the ground that all of them rode.
            begin = first + round(max(one.from_m for one in full) / MARK_M)
            end = first + round(min(one.to_m for one in full) / MARK_M)
            if (begin, end) != (first, last) and (end - begin) * MARK_M >= LEAST_M:
                first, last, length = begin, end, end - begin
                passes = [_pass(ways, part, length, COMMON_SHARE) for part in _parts(found, way, first, last)]
    # Ground against which this ran, and ground that ran against this.
    base = int(found.offset[way])
    against = int(np.count_nonzero(found.opposed[base + first : base + last + 1] >= 0))
    behind = np.unique(found.opposed[found.opposed >= 0])
    against += int(np.count_nonzero((behind >= base + first) & (behind <= base + last)))
    listed = [one for one in passes if one.to_m - one.from_m >= LIST_SHARE * MARK_M * length]
    against_m = min(MARK_M * against, MARK_M * length)
    return Stretch(way, first, last, MARK_M * length, loop, _numbered(listed), against_m)


def _parts(found: Followed, way: int, first: int, last: int) -> list[_Part]:
    """Who rode on a stretch, in the order of ways and marks; whoever was there first is among them."""
    own = np.arange(first, last + 1)
    parts = [_Part(way, own, own - first, np.ones(own.size, dtype=np.int64))]
    parts += [
        part
        for chain in found.chains
        if chain.ground == way and chain.from_ < last and chain.to > first
        if (part := _clipped(found, chain, first, last)) is not None
    ]
    return sorted(parts, key=lambda part: (part.way, int(part.own[0])))


def _laps_of(ways: Sequence[Way], parts: list[_Part], length: int) -> list[Pass] | None:
    """Laps where the stretch is a loop that was ridden round at least twice in all, else None."""
    rounds = [
        int(b.own[0]) - int(a.own[-1]) + int(a.at[-1]) - int(b.at[0])
        for a, b in pairwise(parts)
        if _goes_round(a, b, length)
    ]
    if not rounds:
        return None
    around = max(length, int(np.median(rounds)))
    laps = [one for run in _runs(parts, length) for one in _laps(ways, run, around)]
    return laps if sum(one.full for one in laps) >= 2 else None


def _clipped(found: Followed, chain: Chain, first: int, last: int) -> _Part | None:
    """The marks of a chain on one stretch; None where fewer than two are."""
    base, ground = int(found.offset[chain.way]), int(found.offset[chain.ground])
    own = np.arange(chain.first, chain.last + 1)
    there = found.ground[base + own] - ground
    on = (there >= chain.from_) & (there <= chain.to) & (there >= first) & (there <= last)
    # Of ground that was new in a bridge, the way's own marks may have such numbers too.
    on &= found.ground[base + own] != base + own
    if np.count_nonzero(on) < 2:
        return None
    own, there = own[on], np.maximum.accumulate(there[on])
    fresh = np.concatenate([[1], (np.diff(there) > 0).astype(np.int64)])
    return _Part(chain.way, own, there - first, fresh)


def _goes_round(one: _Part, then: _Part, length: int) -> bool:
    near = max(ROUND_MARKS, round(ROUND_SHARE * length))
    return (
        one.way == then.way
        and 0 <= int(then.own[0]) - int(one.own[-1]) <= near
        and int(one.at[-1]) >= length - near
        and int(then.at[0]) <= near
    )


def _runs(parts: list[_Part], length: int) -> list[list[_Part]]:
    runs: list[list[_Part]] = []
    for part in parts:
        if runs and _goes_round(runs[-1][-1], part, length):
            runs[-1].append(part)
        else:
            runs.append([part])
    return runs


def _laps(ways: Sequence[Way], run: list[_Part], length: int) -> list[Pass]:
    """A run round and round a loop, cut each time it comes by where it came onto the loop."""
    own = np.concatenate([part.own for part in run])
    # Each time round, the ground is counted on from where the last part ended.
    at = np.maximum.accumulate(np.concatenate([part.at + k * length for k, part in enumerate(run)]))
    matched = np.concatenate([part.matched for part in run])
    start, laps = int(at[0]), []
    count = max(1, int(np.floor((int(at[-1]) - start) / length + 1.0 - LAP_SHARE + 1e-9)))
    for k in range(count + 1):
        low = int(np.searchsorted(at, start + k * length, "left"))
        high = int(np.searchsorted(at, start + (k + 1) * length, "left"))
        # A lap ends where the next one begins; what is left after the last whole lap is a part of one.
        high = min(high, own.size - 1)
        if k == count - 1 and int(at[-1]) - int(at[high]) <= (1.0 - LAP_SHARE) * length:
            high = own.size - 1
        if high - low < 2:
            break
        part = _Part(run[0].way, own[low : high + 1], at[low : high + 1], matched[low : high + 1])
        laps.append(_pass(ways, part, length, LAP_SHARE))
        if high == own.size - 1:
            break
    return laps


def _pass(ways: Sequence[Way], part: _Part, length: int, share: float) -> Pass:
    times = ways[part.way].t_s
    first, last = int(part.own[0]), int(part.own[-1])
    low, high = int(part.at[0]), int(part.at[-1])
    return Pass(
        way=part.way,
        first=first,
        last=last,
        start_s=float(times[first]),
        end_s=float(times[last]),
        from_m=MARK_M * low,
        to_m=MARK_M * high,
        compared_m=MARK_M * min(int(part.matched.sum()), high - low),
        number=0,
        full=high - low >= share * length,
    )


def _numbered(passes: list[Pass]) -> tuple[Pass, ...]:
    counts: dict[int, int] = {}
    done = []
    for one in passes:
        counts[one.way] = counts.get(one.way, 0) + 1
        done.append(replace(one, number=counts[one.way]))
    return tuple(done)


def _without_doubles(stretches: list[Stretch]) -> list[Stretch]:
    """Ground beside ground: a stretch all of whose passes lie within passes of a longer one tells nothing more."""
    kept: list[Stretch] = []
    for one in sorted(stretches, key=lambda stretch: stretch.length_m, reverse=True):
        if not any(all(_within(each, other) for each in one.passes) for other in kept):
            kept.append(one)
    return kept


def _within(one: Pass, stretch: Stretch) -> bool:
    shared = sum(
        max(0, min(one.last, other.last) - max(one.first, other.first))
        for other in stretch.passes
        if other.way == one.way
    )
    return shared >= FULL_SHARE * (one.last - one.first)
