"""Marks of several ways set against each other: which of them run where one ran before, in the same direction.

Every way is gone through once, in order. Where nobody was before, its marks become ground of their own; where somebody
was, the earlier marks are followed one after the other, as one follows a road on a map. What is followed for less than
LEAST_M is a crossing or chance and no repeat. So each mark is looked up once, however many laps and rides there are.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.analysis.passes_way import MARK_M, IndexArray, Origin, Way
from ridelog.results import FloatArray

LEAST_M = 200.0
"""Ways that run together for less than this are no repeat: tracks cross, and share a gate or a bridge."""

NEAR_M, KEEP_M = 20.0, 27.0
"""Marks this near are the same ground: two passes with a receiver's wander of 5 m each lie that far apart once in
twenty. Followed ground is let go a little later."""

ALIKE_COS, KEEP_COS = math.cos(math.radians(50.0)), math.cos(math.radians(70.0))
"""Directions that far apart are a crossing, or another way."""

LOST_MARKS = 6
"""Followed ground is given up after so many marks without it."""

BRIDGE_M, BRIDGE_ODD_M, HOLE_M = 400.0, 200.0, 1000.0
"""Ground may be lost over so long (a way round an obstacle; a hole in the log may be longer), if both ways are alike in
length to within the second."""

TRIED = 4
"""Grounds side by side that are tried where a way comes onto ground: the one it follows furthest is meant."""

OTHER_MARKS = 8
"""Marks of one ground that lie so far apart along it are tried as two: a loop's end lies beside its beginning."""

AHEAD_MARKS = 4
"""Looked ahead by so many marks for the next one: the same way measures a little longer or shorter every time."""

_GUARD_MARKS = round(LEAST_M / MARK_M)
_CELL_M = NEAR_M


@dataclass(frozen=True)
class Chain:
    """A run of marks that follows earlier ones.

    `way` rides over its marks `first`..`last`; `ground` is the way that was there before, over its marks `from_`..`to`
    (both inclusive). `matched` of its own marks lie on them.
    """

    way: int
    first: int
    last: int
    ground: int
    from_: int
    to: int
    matched: int


@dataclass(frozen=True)
class Followed:
    """All ways against each other. Marks are numbered through: way w begins at `offset[w]`.

    `ground`: for each mark the mark it follows, itself where it is new ground; `opposed`: the mark of new ground it
    runs against, -1 where none.
    """

    chains: tuple[Chain, ...]
    ground: IndexArray
    opposed: IndexArray
    offset: IndexArray


def middle(ways: Sequence[Way]) -> Origin:
    """An origin amid the marks of all ways."""
    lat = np.concatenate([one.lat_deg for one in ways])
    lon = np.concatenate([one.lon_deg for one in ways])
    # As directions: a mean of longitudes would lie on the wrong side of the earth at the 180th meridian.
    turn = np.radians(lon)
    return Origin(float(lat.mean()), math.degrees(math.atan2(float(np.sin(turn).mean()), float(np.cos(turn).mean()))))


def follow(ways: Sequence[Way]) -> Followed:
    """Go through the ways in order. Ways without marks are allowed."""
    offset = np.concatenate([[0], np.cumsum([one.size for one in ways])]).astype(np.int64)
    if not offset[-1]:
        none = np.zeros(0, dtype=np.int64)
        return Followed((), none, none, offset)
    origin = middle([one for one in ways if one.size])
    columns = [one.heading(origin) for one in ways]
    east, north, x, y = (np.concatenate([one[k] for one in columns]) for k in range(4))
    search = _Search(east, north, x, y, offset)
    for number, one in enumerate(ways):
        search.take(number, one)
    ground = np.array(search.ground, dtype=np.int64)
    opposed = np.array(search.opposed, dtype=np.int64)
    return Followed(tuple(search.chains), ground, opposed, offset)


class _Search:
    """The marks so far, by place. Plain lists: each step rests on the one before it, so nothing here is a column."""

    def __init__(self, east: FloatArray, north: FloatArray, x: FloatArray, y: FloatArray, offset: IndexArray) -> None:
        self.east, self.north, self.x, self.y = east.tolist(), north.tolist(), x.tolist(), y.tolist()
        self.cell_e = np.floor(east / _CELL_M).astype(np.int64).tolist()
        self.cell_n = np.floor(north / _CELL_M).astype(np.int64).tolist()
        self.offset = offset.tolist()
        self.ground = [-1] * len(self.east)
        self.opposed = [-1] * len(self.east)
        self.cells: dict[tuple[int, int], list[int]] = {}
        self.chains: list[Chain] = []

    def take(self, number: int, one: Way) -> None:
        """One way more: its repeats of what was there before, its new ground."""
        begin, end = self.offset[number], self.offset[number + 1]
        piece = one.piece.tolist()
        at_m = one.at_m.tolist()
        mark = begin
        last: Chain | None = None
        while mark < end:
            found, against = self._found(mark)
            if not found:
                self._new(mark, against)
                mark += 1
                continue
            past, run = max(
                (self._run(mark, end, each, begin, piece) for each in found), key=lambda tried: len(tried[1])
            )
            chain = self._chain(number, begin, run)
            if self._counts(chain, last, at_m):
                for own, there in run:
                    self.ground[own] = there
                last = self._joined(chain, last, at_m)
                # Marks in between that lie off the ground are part of the pass, and new ground for nobody.
                for own in range(run[0][0], run[-1][0] + 1):
                    if self.ground[own] < 0:
                        self.ground[own] = self.ground[own - 1]
                mark = run[-1][0] + 1
            else:
                self._new(mark, against)
                # What was followed for too short a way is ridden again mark by mark: other ground may lie there too.
                mark += 1
                while mark <= run[-1][0] and mark < past:
                    self._new(mark, self._found(mark)[1])
                    mark += 1

    def _new(self, mark: int, against: int) -> None:
        self.ground[mark] = mark
        self.opposed[mark] = against
        if self.x[mark] or self.y[mark]:
            self.cells.setdefault((self.cell_e[mark], self.cell_n[mark]), []).append(mark)

    def _found(self, mark: int) -> tuple[list[int], int]:
        """Earlier marks that run alike, the nearest of each ground, and the nearest that runs against (-1: none)."""
        east, north, x, y = self.east[mark], self.north[mark], self.x[mark], self.y[mark]
        a, b = self.cell_e[mark], self.cell_n[mark]
        alike: list[tuple[float, int]] = []
        against, against_far = -1, NEAR_M * NEAR_M
        newest = mark - _GUARD_MARKS
        for key in (
            (a, b), (a - 1, b), (a + 1, b), (a, b - 1), (a, b + 1),
            (a - 1, b - 1), (a - 1, b + 1), (a + 1, b - 1), (a + 1, b + 1),
        ):  # fmt: skip
            for other in self.cells.get(key, ()):
                if other > newest:
                    continue
                de, dn = self.east[other] - east, self.north[other] - north
                far = de * de + dn * dn
                turn = self.x[other] * x + self.y[other] * y
                if turn >= ALIKE_COS:
                    if far < NEAR_M * NEAR_M:
                        alike.append((far, other))
                elif turn <= -ALIKE_COS and far < against_far:
                    against, against_far = other, far
        found: list[int] = []
        for _, other in sorted(alike):
            if len(found) < TRIED and all(abs(other - one) > OTHER_MARKS for one in found):
                found.append(other)
        return found, against

    def _run(self, mark: int, end: int, found: int, begin: int, piece: list[int]) -> tuple[int, list[tuple[int, int]]]:
        """Follow ground from a mark on: the mark it ends before, and pairs of own mark and ground mark."""
        run = [(mark, found)]
        there, lost, own = found, 0, mark + 1
        limit = self.offset[self._way(found) + 1]
        while own < end and lost < LOST_MARKS:
            if piece[own - begin] != piece[own - begin - 1]:
                break
            step = self._next(own, there, lost, min(limit, own - _GUARD_MARKS))
            if step < 0:
                lost += 1
            else:
                there, lost = step, 0
                run.append((own, there))
            own += 1
        return own, run

    def _next(self, own: int, there: int, lost: int, limit: int) -> int:
        """The ground mark of the next own mark, from the last one on; -1 where it is not near any."""
        east, north, x, y = self.east[own], self.north[own], self.x[own], self.y[own]
        best, best_far = -1, KEEP_M * KEEP_M
        for other in range(there, min(there + AHEAD_MARKS + lost, limit)):
            if self.ground[other] != other:
                break
            de, dn = self.east[other] - east, self.north[other] - north
            far = de * de + dn * dn
            if far < best_far and self.x[other] * x + self.y[other] * y >= KEEP_COS:
                best, best_far = other, far
        return best

    def _way(self, mark: int) -> int:
        return bisect_right(self.offset, mark) - 1

    def _chain(self, number: int, begin: int, run: list[tuple[int, int]]) -> Chain:
        ground = self._way(run[0][1])
        base = self.offset[ground]
        return Chain(
            number, run[0][0] - begin, run[-1][0] - begin, ground, run[0][1] - base, run[-1][1] - base, len(run)
        )

    def _counts(self, chain: Chain, last: Chain | None, at_m: list[float]) -> bool:
        """Long enough by itself, or going on with what was followed just before."""
        least = min(chain.to - chain.from_, chain.last - chain.first) * MARK_M
        return (least >= LEAST_M and chain.matched * MARK_M >= 0.5 * least) or (
            chain.matched >= 4 and _goes_on(chain, last, at_m)
        )

    def _joined(self, chain: Chain, last: Chain | None, at_m: list[float]) -> Chain:
        if last is not None and _goes_on(chain, last, at_m):
            chain = Chain(
                chain.way, last.first, chain.last, chain.ground, last.from_, chain.to, last.matched + chain.matched
            )
            self.chains[-1] = chain
        else:
            self.chains.append(chain)
        return chain


def _goes_on(chain: Chain, last: Chain | None, at_m: list[float]) -> bool:
    """Does a chain go on with the one before it: the same ground further on, by about as much as was ridden between?"""
    if last is None or last.ground != chain.ground:
        return False
    own_m, ground_m = at_m[chain.first] - at_m[last.last], MARK_M * (chain.from_ - last.to)
    # Over a hole the way is only its straight line.
    hole = own_m > MARK_M * (chain.first - last.last) + MARK_M
    most_m = HOLE_M if hole else BRIDGE_M
    odd_m = 0.5 * most_m if hole else BRIDGE_ODD_M
    return 0.0 <= ground_m <= most_m and own_m <= most_m and abs(own_m - ground_m) <= odd_m
