"""Over many rides: is the map advice followed, and does following it go with less time above the thresholds.

Each ride is judged by the sheet in force on its day. Rides that can't be judged are listed with the reason and are in
no share. That two figures go together is all this can show: riders switch where the ground is hard and the day is hot,
so a difference is told with what else differs, and as no more than it is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np

from ridelog.kept_results import VERDICTS, Found, results
from ridelog.review_groups import DRAWS, FEWEST, SEED, Difference, Group, Outcome, Rides, difference
from ridelog.review_table import BANDS, NO_BIKE, UNDATED, IntArray, Table, table
from ridelog.words import review as words

if TYPE_CHECKING:
    from ridelog.store.library import Library

METHODS = words.methods(DRAWS, SEED, FEWEST)


class RideEntry(NamedTuple):
    """One ride. `band`: into which band of shares it falls (review_table.BANDS); `reason`: why it could not be judged.
    Seconds are None where the ride could not be analyzed at all."""

    ride: str
    bike: str | None
    start_utc: str | None
    advised_s: float | None
    share: float | None
    counts: dict[str, int]
    day: str | None
    sheet: str
    unknown_s: float | None
    band: str
    air_c: float | None
    reason: str | None


@dataclass(frozen=True)
class OutcomeRow:
    """Time above one threshold on the rides of one band of shares, or under one sheet."""

    threshold_c: float
    name: str
    key: str
    outcome: Outcome


@dataclass(frozen=True)
class Side:
    """One side of a comparison: its figure, and how warm its days were (middle value over `air_rides` rides)."""

    key: str
    outcome: Outcome
    air_rides: int
    air_c: float | None


@dataclass(frozen=True)
class Comparison:
    """Time above one threshold, one set of rides beside another: `difference` is `first` less `second` for each hour
    ridden, `per_advised_hour` the same for each hour the map was advised, which leaves out how much of the riding was
    hard."""

    threshold_c: float
    name: str
    first: Side
    second: Side
    difference: Difference
    per_advised_hour: Difference

    @property
    def answer(self) -> Literal["less", "more", "cannot_tell"]:
        """Whether the first has clearly less or more time above it than the second. Not told where either side was
        never above it, or fewer than FEWEST rides were: then the band rests on next to nothing."""
        passed = (self.first.outcome.rides_above, self.second.outcome.rides_above)
        if min(passed) == 0 or sum(passed) < FEWEST:
            return "cannot_tell"
        if not self.difference.clear or self.difference.value is None:
            return "cannot_tell"
        return "less" if self.difference.value < 0.0 else "more"


@dataclass(frozen=True)
class SheetChange:
    """From one sheet to the next: the share followed and the time above each threshold, the later less the earlier."""

    earlier: str
    later: str
    share: Difference
    outcome: tuple[Comparison, ...]


@dataclass(frozen=True)
class Review:
    """All that `review --json` tells but the record of closed cases.

    `logged_map` is `overall` without the `estimated_map_rides`, on which notes or the ignition angle told the map: they
    can count as followed and hardly as not. `one_map_rides` show a single map all through; `faulty_rides`, marked so by
    hand, are in no outcome; `undated_left_out` counts those that `since` leaves out.
    """

    rides: tuple[RideEntry, ...]
    by_bike: tuple[Group, ...]
    by_kind: tuple[Group, ...]
    by_month: tuple[Group, ...]
    by_sheet: tuple[Group, ...]
    overall: Group
    outcome: tuple[OutcomeRow, ...]
    outcome_by_sheet: tuple[OutcomeRow, ...]
    followed_or_not: tuple[Comparison, ...]
    sheet_changes: tuple[SheetChange, ...]
    logged_map: Group
    estimated_map_rides: int
    one_map_rides: int
    faulty_rides: int
    undated_left_out: int

    @property
    def unjudged(self) -> tuple[RideEntry, ...]:
        """Rides that could not be judged; each says why."""
        return tuple(one for one in self.rides if one.reason is not None)

    def to_json(self) -> dict[str, Any]:
        """The document of `review --json`; `cases` is left to whoever knows them."""
        return {
            "schema": 1,
            "rides": [one._asdict() for one in self.rides],
            "by_bike": [asdict(one) for one in self.by_bike],
            "by_kind": [asdict(one) for one in self.by_kind],
            "by_month": [asdict(one) for one in self.by_month],
            "by_sheet": [asdict(one) for one in self.by_sheet],
            "overall": asdict(self.overall),
            "outcome": [_row(one, "share_band") for one in self.outcome],
            "outcome_by_sheet": [_row(one, "sheet") for one in self.outcome_by_sheet],
            "followed_or_not": [_compared(one) for one in self.followed_or_not],
            "sheet_changes": [
                {
                    "earlier": one.earlier,
                    "later": one.later,
                    "share": asdict(one.share),
                    "outcome": [_compared(row) for row in one.outcome],
                }
                for one in self.sheet_changes
            ],
            "unjudged_rides": len(self.unjudged),
            "unjudged": [{"ride": one.ride, "bike": one.bike, "reason": one.reason} for one in self.unjudged],
            "logged_map": asdict(self.logged_map),
            "estimated_map_rides": self.estimated_map_rides,
            "one_map_rides": self.one_map_rides,
            "faulty_rides": self.faulty_rides,
            "undated_left_out": self.undated_left_out,
            "methods": METHODS,
        }


def _row(one: OutcomeRow, key: str) -> dict[str, Any]:
    return {"threshold_c": one.threshold_c, "name": one.name, key: one.key, **asdict(one.outcome)}


def _compared(one: Comparison) -> dict[str, Any]:
    return {**asdict(one), "answer": one.answer}


def review(
    library: Library,
    *,
    bike: str | None = None,
    since: date | None = None,
    progress: Callable[[str], None] | None = None,
) -> Review:
    """Review the rides of a library, or of one bike, or from a day on. Rides without a kept result are analyzed, which
    takes its time; the next review has them. Raises LibraryError where the catalogue fails."""
    found = results(library, library.review_rows(bike), progress)
    undated = 0
    if since is not None:
        undated = sum(one.day is None for one in found)
        found = [one for one in found if one.day is not None and one.day >= since]
    return reviewed(found, undated_left_out=undated)


def reviewed(found: Sequence[Found], *, undated_left_out: int = 0) -> Review:
    """From the results of rides to the review."""
    # Oldest first, undated last: the order in which months and sheets come.
    found = sorted(found, key=lambda one: (one.day is None, one.day or date.min, one.row.id))
    columns = table(found)
    everything = np.arange(len(found))
    whole = Rides(columns, everything, "overall", by_kind=True)
    # Rides of which something is in the share.
    estimated = columns.estimated_map & columns.judged & (columns.known_s.sum(axis=1) > 0.0)
    logged = Rides(columns, np.flatnonzero(~estimated) if estimated.any() else everything[:0], "logged map")
    sheets = _parts([one.sheet for one in found])
    by_sheet = {key: Rides(columns, which, f"sheet {key}", outcome=True) for key, which in sheets.items()}
    bands = {
        key: Rides(columns, np.flatnonzero(columns.band == at), f"band {key}", outcome=True)
        for at, key in enumerate(BANDS)
    }
    return Review(
        rides=_entries(columns),
        by_bike=_groups(columns, "bike", dict(sorted(_parts([one.row.bike or NO_BIKE for one in found]).items()))),
        by_kind=tuple(whole.kinds()),
        by_month=_groups(columns, "month", _parts([_month(one.day) for one in found])),
        by_sheet=tuple(rides.group(key) for key, rides in by_sheet.items()),
        overall=whole.group("all"),
        outcome=_outcomes(columns, bands),
        outcome_by_sheet=_outcomes(columns, by_sheet),
        followed_or_not=_followed_or_not(columns, bands["80-100"]),
        sheet_changes=_changes(columns, by_sheet),
        logged_map=logged.group("logged_map") if estimated.any() else whole.group("logged_map"),
        estimated_map_rides=int(np.count_nonzero(estimated)),
        one_map_rides=int(np.count_nonzero(columns.one_map & columns.judged & (columns.advised_s.sum(axis=1) > 0.0))),
        faulty_rides=int(np.count_nonzero(columns.faulty)),
        undated_left_out=undated_left_out,
    )


def _parts(labels: Sequence[str]) -> dict[str, IntArray]:
    """Which rides bear each label, in the order of their first one."""
    parts: dict[str, list[int]] = {}
    for at, label in enumerate(labels):
        parts.setdefault(label, []).append(at)
    return {label: np.array(which, dtype=np.int64) for label, which in parts.items()}


def _month(day: date | None) -> str:
    return f"{day.year:04d}-{day.month:02d}" if day is not None else UNDATED


def _groups(columns: Table, what: str, parts: dict[str, IntArray]) -> tuple[Group, ...]:
    return tuple(Rides(columns, which, f"{what} {key}").group(key) for key, which in parts.items())


def _entries(columns: Table) -> tuple[RideEntry, ...]:
    advised, unknown = columns.advised_s.sum(axis=1).tolist(), columns.unknown_s.sum(axis=1).tolist()
    conservative, known = columns.conservative_s.sum(axis=1).tolist(), columns.known_s.sum(axis=1).tolist()
    counts = columns.counts.sum(axis=1).tolist()
    entries = []
    for at, one in enumerate(columns.found):
        row, result = one.row, one.result
        entries.append(
            RideEntry(
                ride=row.id,
                bike=row.bike,
                start_utc=row.start_utc.isoformat() if row.start_utc is not None else None,
                advised_s=advised[at] if result is not None else None,
                share=conservative[at] / known[at] if known[at] > 0.0 else None,
                counts=dict(zip(VERDICTS, counts[at], strict=True)) if result is not None else {},
                day=one.day.isoformat() if one.day is not None else None,
                sheet=one.sheet,
                unknown_s=unknown[at] if result is not None else None,
                band=BANDS[columns.band[at]],
                air_c=result.air_c if result is not None else None,
                reason=one.reason,
            )
        )
    return tuple(entries)


def _outcomes(columns: Table, parts: dict[str, Rides]) -> tuple[OutcomeRow, ...]:
    return tuple(
        OutcomeRow(threshold_c, name, key, rides.outcome(at))
        for at, (threshold_c, name) in enumerate(columns.thresholds)
        for key, rides in parts.items()
    )


def _side(key: str, rides: Rides, threshold: int) -> Side:
    return Side(key, rides.outcome(threshold), *rides.air_c())


def _compare(columns: Table, first: tuple[str, Rides], second: tuple[str, Rides]) -> tuple[Comparison, ...]:
    compared = []
    for at, (threshold_c, name) in enumerate(columns.thresholds):
        sides = _side(*first, at), _side(*second, at)
        one, other = sides[0].outcome, sides[1].outcome
        ridden = [rides.rates(at) for _, rides in (first, second)]
        called = [rides.rates(at, per_advised=True) for _, rides in (first, second)]
        compared.append(
            Comparison(
                threshold_c,
                name,
                *sides,
                difference(one.seconds_per_hour, other.seconds_per_hour, *ridden),
                difference(one.per_advised_hour, other.per_advised_hour, *called),
            )
        )
    return tuple(compared)


def _followed_or_not(columns: Table, followed: Rides) -> tuple[Comparison, ...]:
    """Rides on which the advice was followed beside those on which the map is known and it was not, or in part."""
    others = np.flatnonzero((columns.band == BANDS.index("20-80")) | (columns.band == BANDS.index("0-20")))
    return _compare(columns, ("followed", followed), ("others", Rides(columns, others, "others", outcome=True)))


def _changes(columns: Table, by_sheet: dict[str, Rides]) -> tuple[SheetChange, ...]:
    changes = []
    sides = list(by_sheet.items())
    for earlier, later in pairwise(sides):
        before, after = (rides.group(key) for key, rides in (earlier, later))
        share = difference(after.share, before.share, later[1].shares(), earlier[1].shares())
        changes.append(SheetChange(earlier[0], later[0], share, _compare(columns, later, earlier)))
    return tuple(changes)
