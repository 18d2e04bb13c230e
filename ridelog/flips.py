"""What would be told otherwise of rides that are there, were a bike file or an advice sheet changed.

Looked at before the change is saved.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from ridelog.advice import in_force
from ridelog.diagnose import diagnose
from ridelog.errors import RidelogError
from ridelog.ride import day_of
from ridelog.study import Known, Study, known_of, study
from ridelog.words import flips as words
from ridelog.words import progress as doing

if TYPE_CHECKING:
    from ridelog.advice import Advice
    from ridelog.bike import Bike
    from ridelog.results import Analysis, Segment
    from ridelog.store.library import Library
    from ridelog.store.rows import RideRow

Span = tuple[float, float]

MOST_RIDES = 20
"""So many rides are looked at, latest first: each is analyzed twice."""

SAME_OVERLAP = 0.5
"""Two stretches are one where what they share is so much of what they cover together."""

LEAST_S = 0.5
"""Times above a threshold that differ by less are told alike."""


@dataclass(frozen=True)
class Flip:
    """A ride of which something would be told otherwise: sentences of what, from what, to what. `spans`, one a
    sentence: the seconds of the ride it speaks of, None where it speaks of all of it."""

    ride: str
    day: date | None
    said: tuple[str, ...]
    spans: tuple[Span | None, ...] = ()


@dataclass(frozen=True)
class Flips:
    """Over the rides that were looked at. `left`: rides that the change concerns beyond those; `failed`: rides that
    could not be analyzed, with the reason."""

    looked: int
    left: int
    flips: tuple[Flip, ...]
    failed: tuple[tuple[str, str], ...] = ()


def with_bike(
    library: Library, bike: Bike, progress: Callable[[str], None] | None = None, most: int = MOST_RIDES
) -> Flips:
    """What a changed bike file would make of this bike's rides. Raises LibraryError."""
    rows = [row for row in library.list_rides() if row.bike == bike.id]
    return _look(library, rows, lambda known, _: replace(known, bike=bike), progress, most)


def with_sheet(
    library: Library, sheet: Advice, progress: Callable[[str], None] | None = None, most: int = MOST_RIDES
) -> Flips:
    """What a new or changed sheet would make of the rides of the days on which another would be in force. Raises
    LibraryError."""
    before = library.advice_sheets()
    after = sorted([*(one for one in before if one.version != sheet.version), sheet], key=lambda one: one.valid_from)
    rows = [row for row in library.list_rides() if in_force(before, _day(row)) != in_force(after, _day(row))]
    days = {row.id: _day(row) for row in rows}
    return _look(library, rows, lambda known, ride: replace(known, advice=in_force(after, days[ride])), progress, most)


def _day(row: RideRow) -> date | None:
    return day_of(row.start_utc, row.timezone, row.start_local)


def _look(
    library: Library,
    rows: Sequence[RideRow],
    change: Callable[[Known, str], Known],
    progress: Callable[[str], None] | None,
    most: int,
) -> Flips:
    flips, failed = [], []
    for number, row in enumerate(rows[:most], start=1):
        if progress is not None:
            progress(doing.looking_at(number, min(most, len(rows))))
        try:
            known = known_of(library, row)
            ride = library.load(row.id)
            told = _told(study(ride, known), study(ride, change(known, row.id)))
        except RidelogError as error:
            failed.append((row.id, error.one_line()))
            continue
        if told:
            flips.append(Flip(row.id, _day(row), tuple(text for text, _ in told), tuple(span for _, span in told)))
    return Flips(min(most, len(rows)), max(0, len(rows) - most), tuple(flips), tuple(failed))


def differences(before: Study, after: Study) -> tuple[str, ...]:
    """What is told otherwise of one ride: time above thresholds, verdicts of stretches, share of the advised time, the
    diagnosis."""
    return tuple(text for text, _ in _told(before, after))


def _told(before: Study, after: Study) -> list[tuple[str, Span | None]]:
    was, now = before.found.analysis, after.found.analysis
    of_all = [*_share(was, now)]
    causes = diagnose(before).conclusion, diagnose(after).conclusion
    if causes[0] != causes[1]:
        of_all.append(words.cause(*causes))
    return [
        *((text, None) for text in _above(was, now)),
        *_stretches(was, now),
        *((text, None) for text in of_all),
    ]


def _above(was: Analysis, now: Analysis) -> list[str]:
    """Thresholds go by their names; one that is new or gone is told as such."""
    old = {row.name: row for row in was.exposure}
    new = {row.name: row for row in now.exposure}
    said = []
    for name in dict.fromkeys([*old, *new]):
        a, b = old.get(name), new.get(name)
        if a is None or b is None:
            one = a or b
            if one is not None and one.peak_c is not None:
                said.append(words.threshold_gone(one) if b is None else words.threshold_new(one))
        elif a.peak_c is not None and (abs(a.observed_s - b.observed_s) >= LEAST_S):
            said.append(words.above(a, b))
    return said


def _stretches(was: Analysis, now: Analysis) -> list[tuple[str, Span]]:
    said = []
    left = list(now.segments)
    for one in was.segments:
        at = (one.start_s, one.end_s)
        same = max(left, key=lambda other: _overlap(one, other), default=None)
        if same is None or _overlap(one, same) < SAME_OVERLAP:
            said.append((words.stretch_gone(one), at))
            continue
        left.remove(same)
        if same.kind != one.kind:
            said.append((words.stretch_kind(one, same), at))
        elif (one.verdict, one.certainty) != (same.verdict, same.certainty):
            said.append((words.stretch_verdict(one, same), at))
    return [*said, *((words.stretch_new(one), (one.start_s, one.end_s)) for one in left)]


def _overlap(one: Segment, other: Segment) -> float:
    """Shared time over time covered by either."""
    shared = min(one.end_s, other.end_s) - max(one.start_s, other.start_s)
    return max(0.0, shared) / max(max(one.end_s, other.end_s) - min(one.start_s, other.start_s), 1e-9)


def _share(was: Analysis, now: Analysis) -> list[str]:
    a, b = was.adherence, now.adherence
    if abs(a.advised_s - b.advised_s) < LEAST_S and a.share == b.share:
        return []
    return [words.advised(a, b)]
