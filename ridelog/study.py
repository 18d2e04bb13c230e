"""One ride with all a library knows of it: the one place where the two meet.

Commands, report and dashboard come here, so that they can't tell different things of one ride.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

from ridelog import __version__
from ridelog.advice import Advice
from ridelog.analyze import Analyzed, analyzed
from ridelog.analyze_heat import prior_hash
from ridelog.analyze_settings import settings_hash
from ridelog.baseline import Subject, learned
from ridelog.effect import Effect, known_effect
from ridelog.results import TimelineNote
from ridelog.ride import day_of, ride_day

if TYPE_CHECKING:
    from ridelog.analysis.thermal_prior import RideFit
    from ridelog.bike import Bike
    from ridelog.ride import Ride, RideNote
    from ridelog.store.library import Library
    from ridelog.store.rows import RideRow

Progress = Callable[[str], None]


@dataclass(frozen=True)
class Known:
    """What is known of a ride besides its samples: the bike, the sheet in force on its day, the fits of the bike's
    other rides, what was noted on its time line, in order of time, and the conservative map's effect where the
    library's rides tell it."""

    bike: Bike | None
    advice: Advice
    baseline: tuple[RideFit, ...] = ()
    notes: tuple[RideNote, ...] = ()
    effect: Effect | None = None

    @cached_property
    def hash(self) -> str:
        """SHA-256 over all of it, every numeric constant of the analysis and the version: what a kept result rests on
        besides the ride."""
        told = [(note.at_s, note.about, note.text) for note in self.notes]
        ratio = self.effect.hash if self.effect is not None else None
        parts = [settings_hash(self.bike, self.advice), prior_hash(self.baseline), told, ratio, __version__]
        return hashlib.sha256(json.dumps(parts).encode()).hexdigest()


@dataclass(frozen=True)
class Study:
    """A ride, what is known of it, and what the analysis found. `ambient_c`: given by hand for this once."""

    ride: Ride
    known: Known
    found: Analyzed
    ambient_c: float | None = None


def known_of(library: Library, row: RideRow, progress: Progress | None = None) -> Known:
    """What the library knows of a ride that is not loaded. Raises NotInLibrary for a bike it does not hold,
    ProfileError for a stored bike file or sheet that can't be used, LibraryError."""
    bike = library.bike(row.bike) if row.bike is not None else None
    sheet = library.sheets().on(day_of(row.start_utc, row.timezone, row.start_local))
    others = learned(library, Subject.listed(row), bike, progress)
    return Known(bike, sheet, others, _notes(library, row.id), known_effect(library, bike, progress))


def known_of_ride(
    library: Library,
    ride: Ride,
    bike: Bike | None = None,
    progress: Progress | None = None,
    *,
    others: Callable[[Advice], bool] | None = None,
) -> Known:
    """The same for a ride that is loaded, stored or not; `bike` in place of the one the ride belongs to. `others` says,
    by the sheet in force, whether other rides are asked at all: much of an analysis does not rest on them."""
    if bike is None and ride.bike is not None:
        bike = library.bike(ride.bike)
    sheet = library.sheets().on(ride_day(ride))
    if others is not None and not others(sheet):
        return Known(bike, sheet, notes=_notes(library, ride.id))
    heard = learned(library, Subject.of(ride), bike, progress)
    return Known(bike, sheet, heard, _notes(library, ride.id), known_effect(library, bike, progress))


def _notes(library: Library, ride_id: str) -> tuple[RideNote, ...]:
    return tuple(row.note() for row in library.notes_of(ride_id))


def study(ride: Ride, known: Known, *, ambient_c: float | None = None) -> Study:
    """Analyze a ride by what is known of it."""
    found = analyzed(
        ride,
        known.bike,
        known.advice,
        ambient_c=ambient_c,
        baseline=known.baseline,
        notes=known.notes,
        effect=known.effect.heat_ratio if known.effect is not None else None,
    )
    told = tuple(TimelineNote(note.at_s, note.about, note.text) for note in known.notes)
    return Study(ride, known, replace(found, analysis=replace(found.analysis, notes=told)), ambient_c)
