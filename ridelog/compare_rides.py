"""Which rides a comparison is made of: named ones, those before and after work on a bike, or a build's other bikes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from ridelog.baseline import Subject, fits_of
from ridelog.compare_heat import alike
from ridelog.errors import UsageError
from ridelog.ride import day_of, ride_day
from ridelog.study import Known, Progress, Study, study
from ridelog.words import compare as words
from ridelog.words import progress as doing

if TYPE_CHECKING:
    from ridelog.analysis.thermal_prior import RideFit
    from ridelog.bike import Bike
    from ridelog.store.library import Library
    from ridelog.store.rows import RideRow

MOST_A_SIDE = 12
"""Rides a side, nearest to the day of the work: more hardly sharpen the answer."""

MOST_A_BIKE = 6
"""Rides of each other bike of a build."""


@dataclass(frozen=True)
class Chosen:
    """Rides of both sides, analyzed each by itself, and what is said of the choice."""

    first: tuple[Study, ...]
    others: tuple[Study, ...]
    first_name: str
    others_name: str
    service: str | None = None
    left_out: tuple[str, ...] = ()


def named(library: Library, texts: Sequence[str], progress: Progress | None = None) -> Chosen:
    """The first ride against the others. Raises UsageError for one named twice, NotInLibrary, LibraryError."""
    ids = _resolved(library, texts)
    if len(ids) < 2:
        raise UsageError(
            "one ride alone has nothing to be compared with",
            where="RIDE",
            expected="two rides or more, or --build, or --bike with --service",
            to_do="name another ride: ridelog rides lists them",
        )
    first, *others = [_alone(library, name, progress) for name in ids]
    name = f"ride {ids[1]}" if len(ids) == 2 else f"the {len(ids) - 1} other rides"
    return Chosen((first,), tuple(others), f"ride {ids[0]}", name)


def _resolved(library: Library, texts: Sequence[str]) -> list[str]:
    ids: list[str] = []
    for text in texts:
        name = library.resolve(text)
        if name in ids:
            raise UsageError(f"{name} is named twice", where="RIDE", expected="different rides", to_do="name it once")
        ids.append(name)
    return ids


def _alone(library: Library, ride_id: str, progress: Progress | None, bike: Bike | None = None) -> Study:
    """A ride analyzed without the bike's other rides: what they told must not come back as what it tells. `bike` in
    place of the one it belongs to."""
    if progress is not None:
        progress(doing.analyzing(ride_id))
    ride = library.load(ride_id)
    if bike is None and ride.bike is not None:
        bike = library.bike(ride.bike)
    sheet = library.sheets().on(ride_day(ride))
    return study(ride, Known(bike, sheet))


def around_service(library: Library, bike: Bike, day: date, progress: Progress | None = None) -> Chosen:
    """Rides after the work of a day against those before it, up to the next work on either side. Raises UsageError
    where the bike file lists no work on that day, or where no ride lies on one side of it."""
    works = sorted({service.day for service in bike.services})
    if day not in works:
        listed = ", ".join(f"{one.day} ({one.what})" for one in bike.services)
        raise UsageError(
            f"the bike file lists no work on {day}",
            where=f"--service {day}",
            expected=f"one of: {listed}" if listed else "a day with a [[service]] in the bike file, and there is none",
            to_do="name a listed day, or add the work to the bike file (ridelog bikes add)",
        )
    what = "; ".join(one.what for one in bike.services if one.day == day)
    place = works.index(day)
    dated, undated = _dated(library, bike)
    before = [(when, name) for when, name in dated if sum(when >= work for work in works) == place]
    after = [(when, name) for when, name in dated if sum(when >= work for work in works) == place + 1]
    left_out = [words.no_date(name) for name in undated]
    beyond = len(dated) - len(before) - len(after)
    if beyond:
        left_out.append(words.beyond_other_work(beyond))
    if not before or not after:
        side = "before" if not before else "after"
        raise UsageError(
            f"the library holds no ride of {bike.id} {side} the work of {day} (up to the next work)",
            where=f"--service {day}",
            expected="dated rides on both sides",
            to_do="import them, or correct their dates: ridelog edit RIDE --start",
        )
    sides = []
    for rows in (before, after):
        nearest = sorted(rows, key=lambda row: (abs((row[0] - day).days), row[1]))
        left_out += [words.far_from_work(name, MOST_A_SIDE) for _, name in nearest[MOST_A_SIDE:]]
        sides.append(tuple(_alone(library, name, progress, bike) for _, name in nearest[:MOST_A_SIDE]))
    return Chosen(
        sides[1], sides[0], f"{bike.id} after the work", f"{bike.id} before it", f"{day}: {what}", tuple(left_out)
    )


def _dated(library: Library, bike: Bike) -> tuple[list[tuple[date, str]], list[str]]:
    dated, undated = [], []
    for row in library.list_rides(bike=bike.id, limit=None):
        when = _day(row)
        if when is None:
            undated.append(row.id)
        else:
            dated.append((when, row.id))
    return dated, undated


def _day(row: RideRow) -> date | None:
    return day_of(row.start_utc, row.timezone, row.start_local)


@dataclass(frozen=True)
class Build:
    """Rides of one bike, and the fits of the other bikes of its build: bike -> fits, none where it has no usable
    ride."""

    bike: Bike
    first: tuple[Study, ...]
    others: dict[str, tuple[RideFit, ...]]


def among_build(library: Library, texts: Sequence[str], progress: Progress | None = None) -> Build:
    """The named rides of one bike against its build. Raises UsageError where they are of several bikes or of none."""
    ids = _resolved(library, texts)
    first = tuple(_alone(library, name, progress) for name in ids)
    bikes = {one.known.bike.id: one.known.bike for one in first if one.known.bike is not None}
    if len(bikes) != 1 or any(one.known.bike is None for one in first):
        raise UsageError(
            "the rides are not all of one bike" if bikes else "the ride belongs to no bike",
            where="--build",
            expected="rides of one bike of the library",
            to_do="name rides of one bike, or say whose they are: ridelog edit RIDE --bike BIKE",
        )
    bike = next(iter(bikes.values()))
    others: dict[str, tuple[RideFit, ...]] = {}
    for other in sorted(library.bikes(), key=lambda one: one.id):
        if other.id != bike.id and alike(other, bike):
            others[other.id] = fits_of(library, Subject.of(first[0].ride), other, MOST_A_BIKE, progress)
    return Build(bike, first, others)
