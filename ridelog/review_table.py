"""What the kept results of many rides say, as columns: one entry a ride, for sums over any set of rides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.advice import KINDS
from ridelog.kept_results import VERDICTS, Found, RideResult
from ridelog.results import FloatArray

IntArray = np.ndarray[tuple[int], np.dtype[np.int64]]

FOLLOWED_SHARE, LITTLE_SHARE = 0.8, 0.2
"""Share of the advised seconds from which on the advice was followed on a ride, and up to which hardly at all."""

KNOWN_SHARE = 0.8
"""A ride is put into a band of shares, or called followed, only where the map is known for so much of what was
advised."""

BANDS = ("80-100", "20-80", "0-20", "unknown", "not_advised")
"""Bands of the share followed, in percent; rides on which it is not known, and those on which nothing was advised."""

UNDATED, NO_BIKE = "undated", "no bike"


@dataclass(frozen=True)
class Table:
    """Columns over rides, in seconds. `advised_s`, `unknown_s`, `conservative_s` are (rides, kinds), `counts` (rides,
    kinds, verdicts), in the order of KINDS and VERDICTS. `above_s` (rides, thresholds, 3) holds time above, its least
    and its most, NaN where the ride's bike has no such threshold or its coolant was not logged. `band` indexes BANDS.
    """

    found: Sequence[Found]
    advised_s: FloatArray
    unknown_s: FloatArray
    conservative_s: FloatArray
    counts: np.ndarray[tuple[int, int, int], np.dtype[np.int64]]
    riding_s: FloatArray
    air_c: FloatArray
    thresholds: tuple[tuple[float, str], ...]
    above_s: FloatArray
    one_map: np.ndarray[tuple[int], np.dtype[np.bool_]]
    estimated_map: np.ndarray[tuple[int], np.dtype[np.bool_]]
    judged: np.ndarray[tuple[int], np.dtype[np.bool_]]
    faulty: np.ndarray[tuple[int], np.dtype[np.bool_]]
    band: IntArray

    @property
    def known_s(self) -> FloatArray:
        """Advised seconds in which the map is known, (rides, kinds)."""
        return self.advised_s - self.unknown_s


NOTHING = RideResult((), (), 0.0, None, one_map=False, estimated_map=False, reason=None, prior=None)


def table(found: Sequence[Found]) -> Table:
    """The columns of these rides."""
    rides = len(found)
    advised, unknown, conservative = (np.zeros((rides, len(KINDS))) for _ in range(3))
    counts = np.zeros((rides, len(KINDS), len(VERDICTS)), dtype=np.int64)
    results = [one.result or NOTHING for one in found]
    # Rows of numbers first, then whole columns at once.
    kinds = [(at, KINDS.index(k.kind), *k[1:4], *k.counts) for at, one in enumerate(results) for k in one.kinds]
    if kinds:
        rows = np.array(kinds, dtype=np.float64)
        where = rows[:, 0].astype(np.int64), rows[:, 1].astype(np.int64)
        advised[where], unknown[where] = rows[:, 2], rows[:, 3]
        # Each was rounded by itself: a share must not pass 1 by that.
        conservative[where] = np.minimum(rows[:, 4], rows[:, 2] - rows[:, 3])
        counts[where] = rows[:, 5:].astype(np.int64)
    names = {(row.threshold_c, row.name) for one in results for row in one.above}
    thresholds = tuple(sorted(names))
    above = np.full((rides, len(thresholds), 3), np.nan)
    column = {key: at for at, key in enumerate(thresholds)}
    passed = [(at, column[row[:2]], *row[2:]) for at, one in enumerate(results) for row in one.above]
    if passed:
        rows = np.array(passed, dtype=np.float64)
        above[rows[:, 0].astype(np.int64), rows[:, 1].astype(np.int64)] = rows[:, 2:]
    told = np.array([one.reason is None for one in found], dtype=np.bool_)
    return Table(
        found=found,
        advised_s=advised,
        unknown_s=unknown,
        conservative_s=conservative,
        counts=counts,
        riding_s=np.array([one.riding_s for one in results]),
        air_c=np.array([np.nan if one.air_c is None else one.air_c for one in results], dtype=np.float64),
        thresholds=thresholds,
        above_s=above,
        estimated_map=np.array([one.estimated_map for one in results], dtype=np.bool_),
        one_map=np.array([one.one_map for one in results], dtype=np.bool_),
        judged=told,
        faulty=np.array([one.row.condition == "faulty" for one in found], dtype=np.bool_),
        band=_band(advised.sum(axis=1), unknown.sum(axis=1), conservative.sum(axis=1), told),
    )


def _band(
    advised_s: FloatArray,
    unknown_s: FloatArray,
    conservative_s: FloatArray,
    told: np.ndarray[tuple[int], np.dtype[np.bool_]],
) -> IntArray:
    known_s = advised_s - unknown_s
    with np.errstate(divide="ignore", invalid="ignore"):
        share = conservative_s / known_s
    band = np.full(advised_s.size, BANDS.index("20-80"), dtype=np.int64)
    band[share >= FOLLOWED_SHARE] = BANDS.index("80-100")
    band[share <= LITTLE_SHARE] = BANDS.index("0-20")
    band[~told | (known_s < KNOWN_SHARE * advised_s) | (known_s <= 0.0)] = BANDS.index("unknown")
    band[told & (advised_s <= 0.0)] = BANDS.index("not_advised")
    return band
