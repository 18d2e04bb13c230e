"""What a bike's other rides tell of its heat balance before a ride is analyzed.

Chosen are rides of the same bike that nobody marked faulty, nearest in date first. Where there are too few on the
ride's own side of the work listed in the bike file, those of the other side are heard as those of a bike of the same
build, and so are rides of other bikes of the build. Each ride's own fit is kept in the library, with a hash of all it
rests on, so that it is worked out once.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from ridelog.analysis.thermal import NAMES
from ridelog.analysis.thermal_prior import ACROSS_SERVICE, RideFit
from ridelog.analyze import heat_fit
from ridelog.analyze_settings import fit_hash
from ridelog.errors import LibraryError, NotInLibrary
from ridelog.results import FloatArray
from ridelog.ride import day_of, ride_day
from ridelog.store.catalogue import content_key
from ridelog.store.fits import FitRow, KeptFit
from ridelog.words import progress as doing

if TYPE_CHECKING:
    from ridelog.bike import Bike
    from ridelog.ride import Ride
    from ridelog.store.library import Library
    from ridelog.store.rows import RideRow

MOST_RIDES = 12
"""More rides of a bike hardly sharpen what is known of it, and each costs its fit once."""

ENOUGH_RIDES = 3
"""From so many of the bike's own rides on, no other bike of the build is asked."""

MOST_TRIED = 24
"""Rides that can't be fitted are passed over, but not without end."""

NEEDED = ("engine_rpm", "coolant_c")
"""Channels without which a ride can't be fitted."""


@dataclass(frozen=True)
class Subject:
    """The ride that is to be analyzed, of the library or a file's: a stored ride of the same files is never heard."""

    ride_id: str
    day: date | None
    files: str

    @classmethod
    def of(cls, ride: Ride) -> Subject:
        """From a loaded ride."""
        return cls(ride.id, ride_day(ride), content_key([source.sha256 for source in ride.sources]))

    @classmethod
    def listed(cls, row: RideRow) -> Subject:
        """From a ride of the library that is not loaded."""
        day = day_of(row.start_utc, row.timezone, row.start_local)
        return cls(row.id, day, content_key([file.sha256 for file in row.files]))


def learned(
    library: Library, subject: Subject, bike: Bike | None, progress: Callable[[str], None] | None = None
) -> tuple[RideFit, ...]:
    """Fits of the rides that the analysis goes by, nearest in date first; empty without a bike. Raises
    LibraryError."""
    if bike is None:
        return ()
    search = _Search(library, subject, progress)
    near, far = search.sides(bike)
    found = list(search.fits(near, bike, None, MOST_RIDES))
    if len(found) < ENOUGH_RIDES:
        found += search.fits(far, bike, ACROSS_SERVICE, MOST_RIDES - len(found))
    if len(found) < ENOUGH_RIDES:
        for other in sorted(library.bikes(), key=lambda one: one.id):
            if other.id != bike.id and _alike(other, bike):
                rows = search.rows(other)
                found += search.fits(rows, other, other.id, MOST_RIDES - len(found))
    return tuple(found)


def fits_of(
    library: Library, subject: Subject, bike: Bike, most: int, progress: Callable[[str], None] | None = None
) -> tuple[RideFit, ...]:
    """Fits of a bike's own rides but the subject's, nearest in date first, whatever work lies between. Raises
    LibraryError."""
    search = _Search(library, subject, progress)
    return tuple(search.fits(search.rows(bike), bike, None, most))


@dataclass(frozen=True)
class _Search:
    library: Library
    subject: Subject
    progress: Callable[[str], None] | None

    def rows(self, bike: Bike) -> list[FitRow]:
        """Rides of a bike but this one, nearest in date first, undated ones last."""
        found = self.library.fit_rows(bike.id, NEEDED)
        return sorted(
            (row for row in found if row.id != self.subject.ride_id and row.files != self.subject.files), key=self._away
        )

    def sides(self, bike: Bike) -> tuple[list[FitRow], list[FitRow]]:
        """Rides on this ride's side of all work on the bike, and the others; where a day is not known, it counts as on
        this side only if there was no work."""
        rows = self.rows(bike)
        works = [service.day for service in bike.services]

        def side(day: date | None) -> int | None:
            return sum(day >= work for work in works) if day is not None else None

        here = side(self.subject.day)
        near = [row for row in rows if not works or (here is not None and side(_day(row)) == here)]
        return near, [row for row in rows if row not in near]

    def fits(self, rows: list[FitRow], bike: Bike, other: str | None, most: int) -> Iterator[RideFit]:
        """The first `most` of the rides that can be fitted."""
        basis_of_bike = fit_hash(bike)
        rows = rows[:MOST_TRIED]
        kept = self.library.kept_fits([row.id for row in rows])
        for row in rows:
            if most <= 0:
                return
            basis = _basis(basis_of_bike, row)
            known, fit = _read(row.id, kept.get(row.id), basis)
            if not known:
                if self.progress is not None:
                    self.progress(doing.LEARNING_BIKE)
                fit = self._made(row, bike, basis)
            if isinstance(fit, RideFit):
                most -= 1
                yield replace(fit, other=other, day=_day(row), air_c=row.ambient_c)

    def _made(self, row: FitRow, bike: Bike, basis: str) -> RideFit | None:
        try:
            ride = self.library.load(row.id)
        except (LibraryError, NotInLibrary):
            # Damaged, or removed meanwhile: told when that ride is asked for, and no reason to fail this one.
            return None
        # The air's temperature as the row has it: another command may have changed it since, and the fit is kept under
        # a hash that speaks of the row.
        made = heat_fit(replace(ride, ambient_c=row.ambient_c), bike)
        numbers = _numbers(made) if made is not None else None
        # A full disk, or one that can only be read, costs the time to make the fit again and no answer.
        with suppress(LibraryError):
            self.library.keep_fit(row.id, KeptFit(basis, "it can't be fitted" if made is None else None, numbers))
        return made

    def _away(self, row: FitRow) -> tuple[bool, int, str]:
        day, own = _day(row), self.subject.day
        if day is None or own is None:
            return (True, 0, row.id)
        return (False, abs((day - own).days), row.id)


def _alike(other: Bike, bike: Bike) -> bool:
    """Bikes of one build that both have a fan or both none, and so for a thermostat: a fit with one holds figures that
    mean nothing without it."""
    return (
        other.build == bike.build
        and (other.fan_on_c is None) == (bike.fan_on_c is None)
        and (other.thermostat_c is None) == (bike.thermostat_c is None)
    )


def _day(row: FitRow) -> date | None:
    return day_of(row.start_utc, row.timezone, row.start_local)


def _basis(of_bike: str, row: FitRow) -> str:
    """A hash over all that a ride's own fit rests on."""
    start = row.start_utc.isoformat() if row.start_utc is not None else ""
    return hashlib.sha256("\n".join((of_bike, row.content, repr(row.ambient_c), start)).encode()).hexdigest()


def _numbers(fit: RideFit) -> bytes:
    parts = (fit.theta, fit.information, fit.prior_mean, fit.prior_covariance)
    return np.concatenate([np.ravel(part) for part in parts]).astype("<f8").tobytes()


def _read(ride: str, kept: KeptFit | None, basis: str) -> tuple[bool, RideFit | None]:
    """Whether something is kept that rests on what holds now, and the fit, None where the ride can't be fitted."""
    if kept is None or kept.basis != basis:
        return False, None
    if kept.numbers is None:
        return True, None
    count = len(NAMES)
    if len(kept.numbers) != 8 * 2 * count * (count + 1):
        return False, None
    values = np.frombuffer(kept.numbers, dtype="<f8").astype(np.float64)
    if not np.isfinite(values).all():
        return False, None
    theta, information, mean, covariance = np.split(values, np.cumsum([count, count * count, count]))
    information, covariance = information.reshape(count, count), covariance.reshape(count, count)
    if not (_sound(information, -1e-6) and _sound(covariance, 1e-9)):
        return False, None
    return True, RideFit(ride, theta, information, mean, covariance)


def _sound(matrix: FloatArray, least: float) -> bool:
    """Symmetric, and each of its directions, on the scale of its diagonal, above `least`: a precision may be without
    knowledge in one, a prior's covariance must be invertible. Rows of zero stand for what was held fixed."""
    sizes = np.sqrt(np.maximum(np.diag(matrix), 0.0))
    used = sizes > 0.0
    if matrix[~used].any() or matrix[:, ~used].any():
        return False
    scaled = matrix[np.ix_(used, used)] / np.outer(sizes[used], sizes[used])
    return bool(np.allclose(scaled, scaled.T, atol=1e-6) and (np.linalg.eigvalsh(scaled) > least).all())
